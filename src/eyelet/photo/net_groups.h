// Groups of joints while nets are put together from links: what speaks for and against joining two of them.
#pragma once

#include <array>
#include <functional>
#include <map>
#include <vector>

#include "eyelet/board/evidence.h"

namespace eyelet {

// The order is the order of the numbers in JoinFeatures.
enum class JoinFeature {
    best,            // highest probability of a link between the groups
    second,
    third,
    likely,          // number of links of 0.3 or more
    small_pads,      // pads of the group that has fewer
    small_joints,
    shorted,         // two-pin parts that joining would bridge
    shorted_share,   // the same for each joint of the smaller group
    best_hidden,     // share of the best link that is hidden
    behind_small,    // best link of the smaller group to anything, less this one's best
    behind_large,
    count
};
constexpr std::size_t kJoinFeatureCount = static_cast<std::size_t>(JoinFeature::count);
using JoinFeatures = std::array<float, kJoinFeatureCount>;

class NetGroups {
  public:
    NetGroups(const Assembly& assembly, const std::vector<Link>& links);

    [[nodiscard]] std::size_t root(std::size_t joint) const;
    [[nodiscard]] JoinFeatures features(std::size_t a, std::size_t b) const;
    [[nodiscard]] std::vector<std::size_t> neighbours(std::size_t group) const;
    // Joins b's group into a's. Both must be roots.
    void join(std::size_t a, std::size_t b);
    [[nodiscard]] const std::vector<JointIndex>& members(std::size_t group) const { return members_[group]; }
    // Groups in the order of their first joint.
    [[nodiscard]] std::vector<std::vector<JointIndex>> all() const;

  private:
    struct Between {
        std::vector<float> probabilities;  // falling
        float best_hidden = 0;
    };
    mutable std::vector<std::size_t> parent_;
    std::vector<int> pads_;
    std::vector<std::vector<JointIndex>> members_;
    std::vector<std::map<std::size_t, Between>> between_;
    std::vector<std::map<std::size_t, int>> two_pin_parts_;  // parts that joining two groups would bridge
};

// Joins groups, the likeliest pair first, as long as `judge` gives `least` or more. `before` is told each pair first.
void join_greedily(NetGroups& groups, const std::function<double(const JoinFeatures&)>& judge, double least,
                   const std::function<void(std::size_t, std::size_t, const JoinFeatures&)>& before = {});

}  // namespace eyelet
