// A board whose truth is known, to rehearse the ring-out on: what photographs might have proposed, and a meter
// that answers from the truth. For tests, benchmarks and trials; nothing that serves a person uses it.
#pragma once

#include <functional>
#include <random>

#include "eyelet/ringout/ring_out.h"

namespace eyelet {

// For each joint the number of its true net.
using Truth = std::vector<std::uint32_t>;

// How well the imagined photographs were read. Shares of the true links (a shortest tree of each net).
struct RehearsedSight {
    double plain = 0.78;       // proposed at 0.9 to 0.999
    double likely = 0.13;      // at 0.3 to 0.9
    double weak = 0.05;        // at 0.01 to 0.3
    // the rest is hidden: in no list, known only by its leads
    double lead_found = 0.99;  // share of the ends of hidden links that are flagged

    [[nodiscard]] static RehearsedSight bare() { return {0.80, 0.12, 0.05, 0.99}; }
    [[nodiscard]] static RehearsedSight populated() { return {0.50, 0.20, 0.12, 0.99}; }
    [[nodiscard]] static RehearsedSight poor() { return {0.25, 0.25, 0.20, 0.985}; }
};

// Calibrated: of the links (and leads) given p, the share p is true; the rest joins (or flags) at random, near by.
[[nodiscard]] Proposals rehearsed_proposals(const Assembly& assembly, const Truth& truth, const RehearsedSight& sight,
                                            std::mt19937_64& random);

struct RehearsalMeter {
    const Truth& truth;
    double miss = 0;  // share of readings on joined pairs that read open
    std::mt19937_64 random;

    [[nodiscard]] Said read(JointIndex a, JointIndex b);
    [[nodiscard]] Answer answer(const Gesture& gesture);
};

struct RehearsalResult {
    RingState state;
    std::size_t gestures = 0;
    std::size_t gestures_to_confirm = 0;  // when every proposal was confirmed; 0 if that was not watched
    std::size_t floor = 0;                // pads - true nets that hold a pad
    std::size_t nets_wrong = 0;           // true nets that are not in the result exactly
    double slowest_s = 0;                 // longest wait for a gesture
    double median_s = 0;
    std::size_t asked[6] = {};            // gestures by Gesture::Purpose
    double expected[6] = {};              // joins expected of them, summed
    std::size_t joined[6] = {};           // joins found by them
    bool ran_out = false;                 // stopped at the limit
};
[[nodiscard]] RehearsalResult rehearse(const Assembly& assembly, const Proposals& proposals, const Truth& truth,
                                       const RingOptions& options, double miss, std::uint64_t seed,
                                       std::size_t most_gestures = 1000000);
[[nodiscard]] std::size_t nets_wrong(const Assembly& assembly, const Truth& truth, const std::vector<Net>& nets);
[[nodiscard]] std::size_t ring_floor(const Assembly& assembly, const Truth& truth);

}  // namespace eyelet
