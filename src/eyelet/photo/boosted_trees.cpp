#include "eyelet/photo/boosted_trees.h"

#include <cmath>
#include <cstddef>

namespace eyelet {

double TreeModel::log_odds(std::span<const float> features) const {
    double sum = base_log_odds;
    for (const int root : roots) {
        const TreeNode* node = &nodes[static_cast<std::size_t>(root)];
        while (node->feature >= 0)
            node += features[static_cast<std::size_t>(node->feature)] <= node->value ? node->low : node->high;
        sum += node->value;
    }
    return sum;
}

double TreeModel::probability(std::span<const float> features) const { return 1 / (1 + std::exp(-log_odds(features))); }

}  // namespace eyelet
