#include "eyelet/ringout/rehearsal.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <map>
#include <numeric>
#include <set>

namespace eyelet {
namespace {

double uniform(std::mt19937_64& random, double low = 0, double high = 1) {
    return low + (high - low) * (static_cast<double>(random() >> 11) * 0x1p-53);
}

double log_uniform(std::mt19937_64& random, double low, double high) {
    return low * std::pow(high / low, uniform(random));
}

bool can_share_a_side(const Joint& a, const Joint& b) {
    return a.board == b.board && ((a.on(Side::component) && b.on(Side::component)) || (a.on(Side::solder) && b.on(Side::solder)));
}

std::optional<Side> shared_side(const Joint& a, const Joint& b) {
    if (a.on(Side::solder) && b.on(Side::solder)) return Side::solder;
    return Side::component;
}

// A joint near another, by a density falling as the square of the distance.
class Vicinity {
  public:
    explicit Vicinity(const Assembly& assembly) : assembly_(assembly) {}
    std::uint32_t draw(std::uint32_t from, std::mt19937_64& random) {
        const std::size_t n = assembly_.joints.size();
        std::vector<double>& sum = sums_[from];
        if (sum.empty()) {
            double total = 0;
            for (std::size_t k = 0; k < n; ++k) {
                if (k != from && can_share_a_side(assembly_.joints[from], assembly_.joints[k])) {
                    const double d = distance(assembly_.joints[from].hole, assembly_.joints[k].hole) / 4;
                    total += 1 / (1 + d * d);
                }
                sum.push_back(total);
            }
        }
        const double want = uniform(random) * sum.back();
        return static_cast<std::uint32_t>(std::upper_bound(sum.begin(), sum.end() - 1, want) - sum.begin());
    }

  private:
    const Assembly& assembly_;
    std::map<std::uint32_t, std::vector<double>> sums_;
};

std::vector<std::pair<std::uint32_t, std::uint32_t>> shortest_trees(const Assembly& assembly, const Truth& truth) {
    std::map<std::uint32_t, std::vector<std::uint32_t>> nets;
    for (std::uint32_t i = 0; i < truth.size(); ++i) nets[truth[i]].push_back(i);
    std::vector<std::pair<std::uint32_t, std::uint32_t>> links;
    for (const auto& [net, joints] : nets) {
        std::vector<std::pair<double, std::uint32_t>> nearest(joints.size(), {1e18, 0});
        std::vector<char> in(joints.size(), 0);
        std::size_t now = 0;
        in[0] = 1;
        for (std::size_t step = 1; step < joints.size(); ++step) {
            std::size_t best = joints.size();
            for (std::size_t k = 0; k < joints.size(); ++k) {
                if (in[k]) continue;
                const Joint &a = assembly.joints[joints[now]], &b = assembly.joints[joints[k]];
                const double d = distance(a.hole, b.hole) + (can_share_a_side(a, b) ? 0 : 1e4);
                if (d < nearest[k].first) nearest[k] = {d, joints[now]};
                if (best == joints.size() || nearest[k].first < nearest[best].first) best = k;
            }
            links.emplace_back(nearest[best].second, joints[best]);
            in[best] = 1;
            now = best;
        }
    }
    return links;
}

}  // namespace

Proposals rehearsed_proposals(const Assembly& assembly, const Truth& truth, const RehearsedSight& sight,
                              std::mt19937_64& random) {
    Proposals proposals;
    Vicinity vicinity(assembly);
    std::set<std::pair<std::uint32_t, std::uint32_t>> listed;
    const auto list = [&](std::uint32_t a, std::uint32_t b, double p) {
        if (!listed.insert({std::min(a, b), std::max(a, b)}).second) return;
        Link link;
        link.from = JointIndex(a);
        link.to = JointIndex(b);
        link.side = shared_side(assembly.joints[a], assembly.joints[b]);
        link.probability = p;
        proposals.links.push_back(link);
    };
    const auto flag = [&](std::uint32_t joint, double p) {
        Lead lead;
        lead.joint = JointIndex(joint);
        lead.side = assembly.joints[joint].on(Side::solder) ? Side::solder : Side::component;
        lead.probability = p;
        proposals.leads.push_back(lead);
    };
    // For each true thing given p, (1 - p) / p false ones keep the calibration.
    const auto false_ones = [&](double p) { return static_cast<int>((1 - p) / p + uniform(random)); };
    const auto any_joint = [&] { return static_cast<std::uint32_t>(uniform(random) * static_cast<double>(truth.size()) * 0.999999); };
    for (const auto& [a, b] : shortest_trees(assembly, truth)) {
        const double kind = uniform(random);
        double p = 0;
        if (kind < sight.plain) p = 1 - log_uniform(random, 0.001, 0.1);
        else if (kind < sight.plain + sight.likely) p = uniform(random, 0.3, 0.9);
        else if (kind < sight.plain + sight.likely + sight.weak) p = log_uniform(random, 0.015, 0.3);
        if (p > 0) {
            list(a, b, p);
            for (int k = std::min(false_ones(p), 60); k > 0; --k) {
                const std::uint32_t from = any_joint(), to = vicinity.draw(from, random);
                if (truth[from] != truth[to]) list(from, to, p);
            }
            continue;
        }
        for (std::uint32_t end : {a, b}) {
            if (uniform(random) > sight.lead_found) continue;
            const double q = uniform(random, 0.3, 0.95);
            flag(end, q);
            for (int k = false_ones(q); k > 0; --k) flag(any_joint(), q);
        }
    }
    return proposals;
}

Said RehearsalMeter::read(JointIndex a, JointIndex b) {
    if (truth[a.raw()] != truth[b.raw()] || uniform(random) < miss) return Open{};
    return Ohms{uniform(random, 0.02, 0.4)};
}

Answer RehearsalMeter::answer(const Gesture& gesture) {
    if (gesture.kind == Gesture::Kind::touch) return TouchAnswer{read(gesture.hold, gesture.to())};
    SweepAnswer swept;
    for (JointIndex j : gesture.along) swept.said.push_back(read(gesture.hold, j));
    return swept;
}

std::size_t nets_wrong(const Assembly& assembly, const Truth& truth, const std::vector<Net>& nets) {
    std::map<std::uint32_t, std::set<std::uint32_t>> wanted;
    for (std::uint32_t i = 0; i < truth.size(); ++i)
        if (assembly.joints[i].kind == JointKind::pad) wanted[truth[i]].insert(i);
    std::set<std::set<std::uint32_t>> found;
    for (const Net& net : nets) {
        std::set<std::uint32_t> joints;
        for (JointIndex j : net.joints) joints.insert(j.raw());
        found.insert(std::move(joints));
    }
    std::size_t wrong = 0;
    for (const auto& [net, joints] : wanted) wrong += found.contains(joints) ? 0 : 1;
    return wrong;
}

std::size_t ring_floor(const Assembly& assembly, const Truth& truth) {
    std::set<std::uint32_t> nets;
    std::size_t pads = 0;
    for (std::uint32_t i = 0; i < truth.size(); ++i)
        if (assembly.joints[i].kind == JointKind::pad) ++pads, nets.insert(truth[i]);
    return pads - nets.size();
}

RehearsalResult rehearse(const Assembly& assembly, const Proposals& proposals, const Truth& truth, const RingOptions& options,
                         double miss, std::uint64_t seed, std::size_t most_gestures) {
    using Clock = std::chrono::steady_clock;
    RingOut ring = RingOut::create(assembly, proposals, options).value();
    RehearsalMeter meter{truth, miss, std::mt19937_64(seed)};
    RehearsalResult result;
    result.floor = ring_floor(assembly, truth);
    std::vector<double> waits;
    std::vector<std::uint32_t> parent(truth.size());
    std::iota(parent.begin(), parent.end(), 0U);
    const auto root = [&](std::uint32_t i) {
        while (parent[i] != i) i = parent[i] = parent[parent[i]];
        return i;
    };
    const auto join = [&](std::uint32_t a, std::uint32_t b) {
        const std::uint32_t x = root(a), y = root(b);
        parent[x] = y;
        return x != y;
    };
    while (true) {
        const auto start = Clock::now();
        const std::optional<Gesture> gesture = ring.next();
        waits.push_back(std::chrono::duration<double>(Clock::now() - start).count());
        if (!gesture) break;
        if (result.gestures >= most_gestures) {
            result.ran_out = true;
            break;
        }
        ++result.gestures;
        const Answer answer = meter.answer(*gesture);
        const auto purpose = static_cast<std::size_t>(gesture->purpose);
        ++result.asked[purpose];
        result.expected[purpose] += gesture->expected_joins;
        const auto tie = [&](JointIndex to, const Said& said) {
            if (std::holds_alternative<Ohms>(said) && join(gesture->hold.raw(), to.raw())) ++result.joined[purpose];
        };
        if (const auto* touch = std::get_if<TouchAnswer>(&answer)) tie(gesture->to(), touch->said);
        else
            for (std::size_t i = 0; i < gesture->along.size(); ++i) tie(gesture->along[i], std::get<SweepAnswer>(answer).said[i]);
        (void)ring.answer(answer);
    }
    std::sort(waits.begin(), waits.end());
    result.slowest_s = waits.back();
    result.median_s = waits[waits.size() / 2];
    result.state = ring.state();
    result.nets_wrong = nets_wrong(assembly, truth, result.state.nets);
    return result;
}

}  // namespace eyelet
