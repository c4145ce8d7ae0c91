#include "eyelet/synthetic/wiring.h"

#include <algorithm>
#include <cmath>

namespace eyelet::synthetic {
namespace {

// A run of pins of one part to a run of pins of another: what makes parallel tracks.
void invent_buses(Theme theme, Random& random, const Placer& placer, Layout& layout, int& nets) {
    std::vector<PartIndex> big;
    for (std::size_t i = 0; i < layout.assembly.parts.size(); ++i) {
        const auto role = placer.role(PartIndex{i});
        if ((role == Footprint::Role::chip || role == Footprint::Role::connector) &&
            layout.assembly.parts[i].joints.size() >= 8)
            big.push_back(PartIndex{i});
    }
    if (big.size() < 2) return;
    const auto most = static_cast<int>(big.size());
    const int count = theme == Theme::digital ? random.integer(most / 2, 2 * most) : random.integer(0, most);
    for (int b = 0; b < count; ++b) {
        const Part& from = layout.assembly.part(random.pick(big));
        const Part& to = layout.assembly.part(random.pick(big));
        if (from.name == to.name) continue;
        const int width = random.pick({4, 6, 8, 8, 12, 16});
        const int turn = random.chance(0.5) ? 1 : -1;
        const auto start_a = static_cast<int>(random.next() % from.joints.size());
        const auto start_b = static_cast<int>(random.next() % to.joints.size());
        for (int i = 0; i < width; ++i) {
            const int a = start_a + i;
            const int c = start_b + turn * i;
            if (a >= static_cast<int>(from.joints.size()) || c < 0 || c >= static_cast<int>(to.joints.size()))
                break;
            int& net_a = layout.wanted_net[from.joints[static_cast<std::size_t>(a)].raw()];
            int& net_c = layout.wanted_net[to.joints[static_cast<std::size_t>(c)].raw()];
            if (net_a == -1 && net_c == -1)
                net_a = net_c = nets++;
            else if (net_c == -1 && net_a > kSupply)
                net_c = net_a;
        }
    }
}

}  // namespace

int invent_nets(const Recipe& recipe, Random& random, const Placer& placer, Layout& layout) {
    Assembly& assembly = layout.assembly;
    int nets = 2;
    const double ground_share = random.uniform(0.08, 0.22);
    const double supply_share = random.uniform(0.03, 0.12);
    for (std::size_t i = 0; i < assembly.parts.size(); ++i) {
        const Part& part = assembly.parts[i];
        const auto wanted = [&](JointIndex joint) -> int& { return layout.wanted_net[joint.raw()]; };
        switch (placer.role(PartIndex{i})) {
            case Footprint::Role::mechanical:
                if (random.chance(0.5) && assembly.joint(part.joints[0]).plated)
                    wanted(part.joints[0]) = kGround;
                break;
            case Footprint::Role::chip:
                wanted(part.joints[part.joints.size() / 2 - 1]) = kGround;
                wanted(part.joints.back()) = kSupply;
                [[fallthrough]];
            case Footprint::Role::connector:
            case Footprint::Role::power:
            case Footprint::Role::passive:
                for (const JointIndex joint : part.joints) {
                    if (wanted(joint) != -1) continue;
                    if (random.chance(ground_share * 0.7))
                        wanted(joint) = kGround;
                    else if (random.chance(supply_share * 0.7))
                        wanted(joint) = kSupply;
                }
                break;
            case Footprint::Role::decoupling:
                if (random.chance(0.7)) wanted(part.joints[1]) = kGround;
                if (random.chance(0.5)) wanted(part.joints[0]) = kSupply;
                break;
        }
    }
    if (recipe.theme != Theme::power) invent_buses(recipe.theme, random, placer, layout, nets);

    // The rest: each free pin takes a few free neighbours of other parts.
    std::vector<JointIndex> free;
    for (std::size_t j = 0; j < assembly.joints.size(); ++j)
        if (layout.wanted_net[j] == -1 && assembly.joints[j].part.valid() &&
            placer.role(assembly.joints[j].part) != Footprint::Role::mechanical)
            free.push_back(JointIndex{j});
    random.shuffle(free);
    const double lonely = random.uniform(0.03, 0.2);
    const double reach_mm = random.uniform(8, 30);
    for (const JointIndex joint : free) {
        if (layout.wanted_net[joint.raw()] != -1 || random.chance(lonely)) continue;
        const int more = 1 + static_cast<int>(random.weighted({5, 3, 1, 0.5}));
        const int net = nets++;
        layout.wanted_net[joint.raw()] = net;
        for (int k = 0; k < more; ++k) {
            JointIndex best;
            double best_score = 1e9;
            for (const JointIndex other : free) {
                if (layout.wanted_net[other.raw()] != -1 ||
                    assembly.joint(other).part == assembly.joint(joint).part)
                    continue;
                const double score = distance(assembly.joint(other).hole, assembly.joint(joint).hole) +
                                     reach_mm * random.unit();
                if (score < best_score) {
                    best_score = score;
                    best = other;
                }
            }
            if (best.valid()) layout.wanted_net[best.raw()] = net;
        }
    }
    return nets;
}

}  // namespace eyelet::synthetic
