#include "eyelet/photo/likeliest_nets.h"

#include <algorithm>
#include <map>
#include <numeric>
#include <queue>

namespace eyelet {

namespace {

// Groups of joints with the probabilities of links between them.
class Groups {
  public:
    explicit Groups(const Assembly& assembly) : parent_(assembly.joints.size()), pads_(assembly.joints.size()) {
        std::iota(parent_.begin(), parent_.end(), std::size_t{0});
        for (std::size_t i = 0; i < pads_.size(); ++i)
            pads_[i] = assembly.joints[i].kind == JointKind::pad ? 1 : 0;
        between_.resize(parent_.size());
    }

    [[nodiscard]] std::size_t root(std::size_t joint) {
        while (parent_[joint] != joint) {
            parent_[joint] = parent_[parent_[joint]];
            joint = parent_[joint];
        }
        return joint;
    }
    void add(std::size_t a, std::size_t b, double probability) {
        if (a == b) return;
        between_[a][b].push_back(probability);
        between_[b][a].push_back(probability);
    }
    // Links between the same two groups mostly rest on the same evidence (one spoke, one doubtful gap), so the
    // best one counts, and each further one that is more likely than not only takes away half of its share of doubt.
    [[nodiscard]] double probability(std::size_t a, std::size_t b) const {
        const auto place = between_[a].find(b);
        if (place == between_[a].end()) return 0;
        std::vector<double> list = place->second;
        std::sort(list.begin(), list.end(), std::greater<>());
        double doubt = 1 - list.front();
        for (std::size_t i = 1; i < list.size(); ++i)
            if (list[i] > 0.5) doubt *= 1 - 0.5 * list[i];
        return 1 - doubt;
    }
    [[nodiscard]] int pads(std::size_t root) const { return pads_[root]; }

    // Joins the group of b into the group of a; returns the neighbours of the joined group.
    std::vector<std::size_t> join(std::size_t a, std::size_t b) {
        parent_[b] = a;
        pads_[a] += pads_[b];
        between_[a].erase(b);
        std::map<std::size_t, std::vector<double>> moved;
        moved.swap(between_[b]);
        for (auto& [other, list] : moved) {
            if (other == a) continue;
            between_[other].erase(b);
            auto& mine = between_[a][other];
            mine.insert(mine.end(), list.begin(), list.end());
            between_[other][a] = mine;
        }
        std::vector<std::size_t> neighbours;
        for (const auto& [other, list] : between_[a]) neighbours.push_back(other);
        return neighbours;
    }

  private:
    std::vector<std::size_t> parent_;
    std::vector<int> pads_;
    std::vector<std::map<std::size_t, std::vector<double>>> between_;
};

}  // namespace

std::vector<std::vector<JointIndex>> likeliest_nets(const Assembly& assembly, const std::vector<Link>& links,
                                                    const NetOptions& options) {
    Groups groups(assembly);
    for (const Link& link : links)
        if (link.standing != Standing::refuted) groups.add(link.from.raw(), link.to.raw(), link.probability);
    for (const Cable& cable : assembly.cables)
        for (const Cable::Conductor& conductor : cable.conductors)
            groups.add(conductor.from.raw(), conductor.to.raw(), 1.0);

    struct Offer {
        double probability;
        std::size_t a;
        std::size_t b;
        // Equal offers in the order of joints, so that the answer does not depend on the order of links.
        bool operator<(const Offer& o) const {
            if (probability != o.probability) return probability < o.probability;
            if (a != o.a) return a > o.a;
            return b > o.b;
        }
    };
    std::priority_queue<Offer> offers;
    const auto offer = [&](std::size_t a, std::size_t b) {
        const double probability = groups.probability(a, b);
        const bool bridge = std::min(groups.pads(a), groups.pads(b)) >= options.large;
        if (probability >= (bridge ? options.bridge_above : options.join_above))
            offers.push({probability, std::min(a, b), std::max(a, b)});
    };
    for (const Link& link : links)
        if (link.from != link.to) offer(link.from.raw(), link.to.raw());
    for (const Cable& cable : assembly.cables)
        for (const Cable::Conductor& conductor : cable.conductors) offer(conductor.from.raw(), conductor.to.raw());
    while (!offers.empty()) {
        const Offer best = offers.top();
        offers.pop();
        if (groups.root(best.a) != best.a || groups.root(best.b) != best.b) continue;  // joined since
        if (groups.probability(best.a, best.b) != best.probability) continue;          // offered anew since
        const bool bridge = std::min(groups.pads(best.a), groups.pads(best.b)) >= options.large;
        if (bridge && best.probability < options.bridge_above) continue;
        for (const std::size_t other : groups.join(best.a, best.b)) offer(best.a, other);
    }

    std::map<std::size_t, std::vector<JointIndex>> members;
    for (std::size_t i = 0; i < assembly.joints.size(); ++i) members[groups.root(i)].emplace_back(i);
    std::vector<std::vector<JointIndex>> nets;
    for (auto& [root, joints] : members) nets.push_back(std::move(joints));
    std::sort(nets.begin(), nets.end(), [](const auto& x, const auto& y) { return x.front() < y.front(); });
    return nets;
}

}  // namespace eyelet
