// A simulated operator with a simulated meter, who answers from known nets. The same seed and the same
// questions give the same answers.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "eyelet/board/evidence.h"
#include "eyelet/board/map.h"
#include "eyelet/synthetic/random.h"

namespace eyelet::synthetic {

struct MeterOptions {
    double miss = 0;  // probability that a needle missed the pad: joined copper reads open, each reading anew
    double least_ohm = 0.05;  // copper between two joints, after lead resistance was taken off
    double most_ohm = 0.4;
    double spread_ohm = 0.01;  // deviation from reading to reading of one pair
    bool only_beeps = false;   // the meter only tells continuity
    std::uint64_t seed = 1;
};

class Meter {
  public:
    // `nets` is a partition of the joints; a joint in none of them stands alone.
    Meter(const std::vector<std::vector<JointIndex>>& nets, std::size_t joints, const MeterOptions& options);

    [[nodiscard]] Said read(JointIndex hold, JointIndex to);
    // One held joint, the needle drawn along the others: one answer each, in their order.
    [[nodiscard]] std::vector<Said> sweep(JointIndex hold, const std::vector<JointIndex>& along);
    [[nodiscard]] bool joined(JointIndex a, JointIndex b) const;
    [[nodiscard]] std::size_t readings() const { return readings_; }
    [[nodiscard]] std::size_t misses() const { return misses_; }

  private:
    MeterOptions options_;
    Random random_;
    std::vector<std::size_t> net_of_;
    std::size_t readings_ = 0;
    std::size_t misses_ = 0;
};

}  // namespace eyelet::synthetic
