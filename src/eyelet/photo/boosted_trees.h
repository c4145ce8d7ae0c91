// Boosted decision trees for a yes or no question, kept as plain numbers.
// The sum of the leaves reached, put through the logistic function, is the probability of yes.
// Source: J. H. Friedman, "Greedy function approximation: a gradient boosting machine", Annals of Statistics 29 (2001).
#pragma once

#include <cstdint>
#include <span>

namespace eyelet {

struct TreeNode {
    std::int16_t feature = -1;  // -1: a leaf
    std::int16_t low = 0;       // place of the next node, counted from this one, where the feature is at most `value`
    std::int16_t high = 0;      // and where it is above
    float value = 0;            // threshold, or the leaf's addition to the log-odds
};

struct TreeModel {
    std::span<const TreeNode> nodes;   // trees one after another
    std::span<const int> roots;
    double base_log_odds = 0;

    [[nodiscard]] double log_odds(std::span<const float> features) const;
    [[nodiscard]] double probability(std::span<const float> features) const;
};

}  // namespace eyelet
