#include "eyelet/synthetic/meter.h"

#include <algorithm>

namespace eyelet::synthetic {

Meter::Meter(const std::vector<std::vector<JointIndex>>& nets, std::size_t joints,
             const MeterOptions& options)
    : options_(options), random_(options.seed), net_of_(joints) {
    for (std::size_t j = 0; j < joints; ++j) net_of_[j] = nets.size() + j;  // alone until a net names it
    for (std::size_t n = 0; n < nets.size(); ++n)
        for (const JointIndex joint : nets[n]) net_of_[joint.raw()] = n;
}

bool Meter::joined(JointIndex a, JointIndex b) const {
    return net_of_[a.raw()] == net_of_[b.raw()];
}

Said Meter::read(JointIndex hold, JointIndex to) {
    ++readings_;
    if (!joined(hold, to)) return Open{};
    if (random_.chance(options_.miss)) {
        ++misses_;
        return Open{};
    }
    if (options_.only_beeps) return Beep{};
    // The copper of a pair is always the same; only the reading wavers.
    const auto low = static_cast<std::uint64_t>(std::min(hold.raw(), to.raw()));
    const auto high = static_cast<std::uint64_t>(std::max(hold.raw(), to.raw()));
    Random pair((low << 32 | high) ^ options_.seed);
    const double copper = pair.uniform(options_.least_ohm, options_.most_ohm);
    return Ohms{
        std::clamp(copper + options_.spread_ohm * random_.normal(), options_.least_ohm, options_.most_ohm)};
}

std::vector<Said> Meter::sweep(JointIndex hold, const std::vector<JointIndex>& along) {
    std::vector<Said> answers;
    for (const JointIndex joint : along) answers.push_back(read(hold, joint));
    return answers;
}

}  // namespace eyelet::synthetic
