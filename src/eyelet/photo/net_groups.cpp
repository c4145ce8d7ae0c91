#include "eyelet/photo/net_groups.h"

#include <algorithm>
#include <numeric>
#include <queue>

namespace eyelet {

NetGroups::NetGroups(const Assembly& assembly, const std::vector<Link>& links) {
    const std::size_t count = assembly.joints.size();
    parent_.resize(count);
    std::iota(parent_.begin(), parent_.end(), std::size_t{0});
    pads_.resize(count);
    members_.resize(count);
    between_.resize(count);
    two_pin_parts_.resize(count);
    for (std::size_t i = 0; i < count; ++i) {
        pads_[i] = assembly.joints[i].kind == JointKind::pad ? 1 : 0;
        members_[i].emplace_back(i);
    }
    for (const Part& part : assembly.parts)
        if (part.joints.size() == 2 && part.joints[0] != part.joints[1]) {
            ++two_pin_parts_[part.joints[0].raw()][part.joints[1].raw()];
            ++two_pin_parts_[part.joints[1].raw()][part.joints[0].raw()];
        }
    for (const Link& link : links) {
        if (link.standing == Standing::refuted || link.from == link.to) continue;
        for (const auto& [a, b] : {std::pair{link.from.raw(), link.to.raw()}, std::pair{link.to.raw(), link.from.raw()}}) {
            Between& between = between_[a][b];
            const float probability = static_cast<float>(link.probability);
            if (between.probabilities.empty() || probability > *std::max_element(between.probabilities.begin(), between.probabilities.end()))
                between.best_hidden = static_cast<float>(link.hidden);
            between.probabilities.push_back(probability);
        }
    }
    for (auto& others : between_)
        for (auto& [other, between] : others)
            std::sort(between.probabilities.begin(), between.probabilities.end(), std::greater<>());
}

std::size_t NetGroups::root(std::size_t joint) const {
    while (parent_[joint] != joint) {
        parent_[joint] = parent_[parent_[joint]];
        joint = parent_[joint];
    }
    return joint;
}

JoinFeatures NetGroups::features(std::size_t a, std::size_t b) const {
    JoinFeatures features{};
    const auto set = [&](JoinFeature feature, double value) {
        features[static_cast<std::size_t>(feature)] = static_cast<float>(value);
    };
    const bool a_small = pads_[a] != pads_[b] ? pads_[a] < pads_[b] : members_[a].size() <= members_[b].size();
    const std::size_t small = a_small ? a : b;
    const std::size_t large = a_small ? b : a;
    const auto best_of = [&](std::size_t group) {
        float best = 0;
        for (const auto& [other, between] : between_[group]) best = std::max(best, between.probabilities.front());
        return best;
    };
    const auto place = between_[a].find(b);
    double best = 0;
    if (place != between_[a].end()) {
        const std::vector<float>& list = place->second.probabilities;
        best = list[0];
        set(JoinFeature::second, list.size() > 1 ? list[1] : 0);
        set(JoinFeature::third, list.size() > 2 ? list[2] : 0);
        set(JoinFeature::likely, static_cast<double>(std::count_if(list.begin(), list.end(), [](float p) { return p >= 0.3F; })));
        set(JoinFeature::best_hidden, place->second.best_hidden);
    }
    set(JoinFeature::best, best);
    set(JoinFeature::small_pads, pads_[small]);
    set(JoinFeature::small_joints, static_cast<double>(members_[small].size()));
    const auto shorted = two_pin_parts_[a].find(b);
    const int bridged = shorted == two_pin_parts_[a].end() ? 0 : shorted->second;
    set(JoinFeature::shorted, bridged);
    set(JoinFeature::shorted_share, bridged / static_cast<double>(members_[small].size()));
    set(JoinFeature::behind_small, best_of(small) - best);
    set(JoinFeature::behind_large, best_of(large) - best);
    return features;
}

std::vector<std::size_t> NetGroups::neighbours(std::size_t group) const {
    std::vector<std::size_t> list;
    for (const auto& [other, between] : between_[group]) list.push_back(other);
    return list;
}

void NetGroups::join(std::size_t a, std::size_t b) {
    parent_[b] = a;
    pads_[a] += pads_[b];
    members_[a].insert(members_[a].end(), members_[b].begin(), members_[b].end());
    members_[b].clear();
    between_[a].erase(b);
    std::map<std::size_t, Between> links;
    links.swap(between_[b]);
    for (auto& [other, between] : links) {
        if (other == a) continue;
        between_[other].erase(b);
        Between& mine = between_[a][other];
        if (mine.probabilities.empty() || between.probabilities.front() > mine.probabilities.front())
            mine.best_hidden = between.best_hidden;
        std::vector<float> merged;
        std::merge(mine.probabilities.begin(), mine.probabilities.end(), between.probabilities.begin(),
                   between.probabilities.end(), std::back_inserter(merged), std::greater<>());
        mine.probabilities = std::move(merged);
        between_[other][a] = mine;
    }
    two_pin_parts_[a].erase(b);
    std::map<std::size_t, int> parts;
    parts.swap(two_pin_parts_[b]);
    for (const auto& [other, count] : parts) {
        if (other == a) continue;
        two_pin_parts_[other].erase(b);
        two_pin_parts_[a][other] += count;
        two_pin_parts_[other][a] += count;
    }
}

std::vector<std::vector<JointIndex>> NetGroups::all() const {
    std::vector<std::vector<JointIndex>> groups;
    for (std::size_t i = 0; i < parent_.size(); ++i) {
        if (parent_[i] != i) continue;
        groups.push_back(members_[i]);
        std::sort(groups.back().begin(), groups.back().end());
    }
    std::sort(groups.begin(), groups.end(), [](const auto& x, const auto& y) { return x.front() < y.front(); });
    return groups;
}

void join_greedily(NetGroups& groups, const std::function<double(const JoinFeatures&)>& judge, double least,
                   const std::function<void(std::size_t, std::size_t, const JoinFeatures&)>& before) {
    struct Offer {
        double probability;
        std::size_t a;
        std::size_t b;
        std::size_t size;  // joints of both when it was made: an offer made before a joining is out of date
        // Equal offers in the order of joints, so that the answer does not depend on the order of links.
        bool operator<(const Offer& o) const {
            if (probability != o.probability) return probability < o.probability;
            if (a != o.a) return a > o.a;
            return b > o.b;
        }
    };
    std::priority_queue<Offer> offers;
    const auto size_of = [&](std::size_t a, std::size_t b) { return groups.members(a).size() + groups.members(b).size(); };
    const auto offer = [&](std::size_t a, std::size_t b) {
        const double probability = judge(groups.features(a, b));
        if (probability >= least) offers.push({probability, std::min(a, b), std::max(a, b), size_of(a, b)});
    };
    std::size_t joints = 0;
    for (const auto& group : groups.all()) joints = std::max(joints, static_cast<std::size_t>(group.back().raw()) + 1);
    for (std::size_t i = 0; i < joints; ++i)
        if (groups.root(i) == i)
            for (const std::size_t other : groups.neighbours(i))
                if (other > i) offer(i, other);
    while (!offers.empty()) {
        const Offer best = offers.top();
        offers.pop();
        if (groups.root(best.a) != best.a || groups.root(best.b) != best.b) continue;  // joined since
        if (size_of(best.a, best.b) != best.size) continue;                            // offered anew since
        if (before) before(best.a, best.b, groups.features(best.a, best.b));
        groups.join(best.a, best.b);
        for (const std::size_t other : groups.neighbours(best.a)) offer(best.a, other);
    }
}

}  // namespace eyelet
