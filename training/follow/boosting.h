// Fits boosted trees for a yes or no question: histograms of feature values, one level of gradient steps at a time, with
// directions that chosen features must keep (more of it never lowers, or never raises, the answer).
// Source: T. Chen and C. Guestrin, "XGBoost: a scalable tree boosting system", KDD 2016 (second-order gain and leaf values).
#pragma once

#include <cstdint>
#include <random>
#include <vector>

#include "eyelet/photo/boosted_trees.h"

namespace eyelet::fitting {

struct Sample {
    std::vector<float> features;
    bool yes = false;
    float weight = 1;
};

struct BoostingOptions {
    int trees = 150;
    int depth = 4;
    double rate = 0.08;
    double least_weight = 8;    // in each leaf
    double ridge = 4;
    double row_share = 0.7;
    double feature_share = 0.6;
    std::vector<int> direction; // per feature: +1 the answer may only rise with it, -1 only fall, 0 free
    unsigned seed = 7;
};

struct FittedTrees {
    std::vector<TreeNode> nodes;
    std::vector<int> roots;
    double base_log_odds = 0;
    std::vector<double> gain;   // per feature
    [[nodiscard]] TreeModel view() const { return {nodes, roots, base_log_odds}; }
};

[[nodiscard]] FittedTrees fit_trees(const std::vector<const Sample*>& samples, const BoostingOptions& options);

}  // namespace eyelet::fitting
