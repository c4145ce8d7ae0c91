#include "boosting.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace eyelet::fitting {

namespace {

constexpr int kBins = 48;

struct Sums {
    double gradient = 0;
    double curvature = 0;
    double weight = 0;
    void add(const Sums& o) {
        gradient += o.gradient;
        curvature += o.curvature;
        weight += o.weight;
    }
    Sums less(const Sums& o) const { return {gradient - o.gradient, curvature - o.curvature, weight - o.weight}; }
};

struct Grower {
    const std::vector<std::vector<std::uint8_t>>& binned;  // [feature][sample]
    const std::vector<std::vector<float>>& edges;
    const std::vector<double>& gradient;
    const std::vector<double>& curvature;
    const std::vector<double>& weight;
    const BoostingOptions& options;
    const std::vector<int>& features;
    std::vector<TreeNode>& nodes;
    std::vector<double>& gain_of;

    double leaf(const Sums& sums, double low, double high) const {
        return std::clamp(-sums.gradient / (sums.curvature + options.ridge), low, high);
    }
    double score(const Sums& sums, double value) const {
        return -(sums.gradient * value + 0.5 * (sums.curvature + options.ridge) * value * value);
    }

    void grow(std::vector<int> rows, int depth, double low, double high) {
        Sums all;
        for (const int r : rows) all.add({gradient[r], curvature[r], weight[r]});
        const std::size_t here = nodes.size();
        nodes.emplace_back();
        const double value = leaf(all, low, high);
        nodes[here].value = static_cast<float>(options.rate * value);
        if (depth == 0 || all.weight < 2 * options.least_weight) return;
        double best_gain = 1e-3;
        int best_feature = -1;
        int best_bin = 0;
        double best_left = 0;
        double best_right = 0;
        const double before = score(all, value);
        for (const int f : features) {
            std::array<Sums, kBins> bins{};
            for (const int r : rows) bins[binned[f][r]].add({gradient[r], curvature[r], weight[r]});
            Sums left;
            for (int b = 0; b + 1 < kBins && b < static_cast<int>(edges[f].size()); ++b) {
                left.add(bins[b]);
                const Sums right = all.less(left);
                if (left.weight < options.least_weight || right.weight < options.least_weight) continue;
                const double l = leaf(left, low, high);
                const double r = leaf(right, low, high);
                const int direction = options.direction.empty() ? 0 : options.direction[f];
                if (direction * (r - l) < 0) continue;
                const double gain = score(left, l) + score(right, r) - before;
                if (gain > best_gain) {
                    best_gain = gain;
                    best_feature = f;
                    best_bin = b;
                    best_left = l;
                    best_right = r;
                }
            }
        }
        if (best_feature < 0) return;
        gain_of[best_feature] += best_gain;
        std::vector<int> low_rows;
        std::vector<int> high_rows;
        for (const int r : rows) (binned[best_feature][r] <= best_bin ? low_rows : high_rows).push_back(r);
        rows.clear();
        rows.shrink_to_fit();
        const int direction = options.direction.empty() ? 0 : options.direction[best_feature];
        const double middle = (best_left + best_right) / 2;
        nodes[here].feature = static_cast<std::int16_t>(best_feature);
        nodes[here].value = edges[best_feature][best_bin];
        nodes[here].low = 1;
        grow(std::move(low_rows), depth - 1, direction < 0 ? middle : low, direction > 0 ? middle : high);
        nodes[here].high = static_cast<std::int16_t>(nodes.size() - here);
        grow(std::move(high_rows), depth - 1, direction > 0 ? middle : low, direction < 0 ? middle : high);
    }
};

}  // namespace

FittedTrees fit_trees(const std::vector<const Sample*>& samples, const BoostingOptions& options) {
    FittedTrees fitted;
    const int count = static_cast<int>(samples.size());
    const int width = static_cast<int>(samples.front()->features.size());
    std::vector<std::vector<std::uint8_t>> binned(width, std::vector<std::uint8_t>(count));
    std::vector<std::vector<float>> edges(width);
    for (int f = 0; f < width; ++f) {
        std::vector<float> values(count);
        for (int i = 0; i < count; ++i) values[i] = samples[i]->features[f];
        std::vector<float> sorted = values;
        std::sort(sorted.begin(), sorted.end());
        for (int b = 1; b < kBins; ++b) {
            const float edge = sorted[static_cast<std::size_t>(b) * sorted.size() / kBins];
            if (edge < sorted.back() && (edges[f].empty() || edge > edges[f].back())) edges[f].push_back(edge);
        }
        for (int i = 0; i < count; ++i)
            binned[f][i] = static_cast<std::uint8_t>(std::lower_bound(edges[f].begin(), edges[f].end(), values[i]) -
                                                     edges[f].begin());
    }
    double yes = 0;
    double total = 0;
    std::vector<double> weight(count);
    for (int i = 0; i < count; ++i) {
        weight[i] = samples[i]->weight;
        total += weight[i];
        if (samples[i]->yes) yes += weight[i];
    }
    const double share = std::clamp(yes / total, 1e-4, 1 - 1e-4);
    fitted.base_log_odds = std::log(share / (1 - share));
    fitted.gain.assign(width, 0);
    std::vector<double> odds(count, fitted.base_log_odds);
    std::vector<double> gradient(count);
    std::vector<double> curvature(count);
    std::mt19937 random(options.seed);
    std::vector<int> all_features(width);
    std::iota(all_features.begin(), all_features.end(), 0);
    for (int t = 0; t < options.trees; ++t) {
        for (int i = 0; i < count; ++i) {
            const double p = 1 / (1 + std::exp(-odds[i]));
            gradient[i] = weight[i] * (p - (samples[i]->yes ? 1 : 0));
            curvature[i] = weight[i] * p * (1 - p);
        }
        std::vector<int> features = all_features;
        std::shuffle(features.begin(), features.end(), random);
        features.resize(std::max(1, static_cast<int>(options.feature_share * width)));
        std::vector<int> rows;
        std::bernoulli_distribution taken(options.row_share);
        for (int i = 0; i < count; ++i)
            if (taken(random)) rows.push_back(i);
        fitted.roots.push_back(static_cast<int>(fitted.nodes.size()));
        Grower grower{binned, edges, gradient, curvature, weight, options, features, fitted.nodes, fitted.gain};
        grower.grow(std::move(rows), options.depth, -4, 4);
        const TreeModel one{fitted.nodes, std::span<const int>(&fitted.roots.back(), 1), 0};
        for (int i = 0; i < count; ++i) odds[i] += one.log_odds(samples[i]->features);
    }
    return fitted;
}

}  // namespace eyelet::fitting
