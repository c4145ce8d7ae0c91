// Choosing the next gesture: on a made board of 700 joints (as large as the largest known board) and on one of 5,000,
// against a plain scorer that looks at every two groups and every stretch of every row, in the same run.
// Prints the median wait, the plain scorer's time for the same choice, their ratio, and the whole ring-out's time.
#include <algorithm>
#include <chrono>
#include <iostream>
#include <string>

#include <fmt/format.h>

#include "eyelet/ringout/rehearsal.h"

namespace {

using namespace eyelet;
using Clock = std::chrono::steady_clock;

double seconds_since(Clock::time_point start) { return std::chrono::duration<double>(Clock::now() - start).count(); }

// Parts with two rows of pins, side by side, on one board; nets of mostly near joints and two that run everywhere.
std::pair<Assembly, Truth> made_board(std::size_t joints, std::uint64_t seed) {
    std::mt19937_64 random(seed);
    Assembly assembly;
    assembly.name = "made";
    const std::size_t parts = (joints + 15) / 16, across = static_cast<std::size_t>(std::sqrt(static_cast<double>(parts) / 2)) + 1;
    assembly.boards.push_back({BoardName("main"), {12.7 * static_cast<double>(across) + 5, 25.4 * static_cast<double>(parts / across + 1) + 5}, {}});
    for (std::size_t i = 0; i < joints; ++i) {
        const std::size_t part = i / 16, pin = i % 16;
        Joint joint;
        joint.name = JointName(fmt::format("U{}.{}", part + 1, pin + 1));
        joint.board = BoardIndex(0);
        joint.hole = joint.copper_centre = {5 + 12.7 * static_cast<double>(part % across) + (pin < 8 ? 0 : 7.62),
                                            5 + 25.4 * static_cast<double>(part / across) + 2.54 * static_cast<double>(pin < 8 ? pin : 15 - pin)};
        joint.pad_mm = {1.6, 1.6};
        assembly.joints.push_back(joint);
    }
    Truth truth(joints);
    std::vector<std::size_t> loose;
    for (std::size_t i = 0; i < joints; ++i) {
        if (i % 16 == 7) truth[i] = 0;
        else if (i % 16 == 15) truth[i] = 1;
        else loose.push_back(i);
    }
    std::uint32_t net = 2;
    while (!loose.empty()) {
        std::size_t at = random() % loose.size();
        for (std::size_t size = 1 + random() % 5; size > 0 && !loose.empty(); --size) {
            at = std::min(at, loose.size() - 1);
            truth[loose[at]] = net;
            loose.erase(loose.begin() + static_cast<std::ptrdiff_t>(at));
            at = std::min(loose.size() - (loose.empty() ? 0 : 1), at + random() % 12);
        }
        ++net;
    }
    return {assembly, truth};
}

// Every stretch of every row for one held net of given probabilities: what the maximum-ratio search replaces.
double plain_best(const Assembly& assembly, const std::vector<Row>& rows, const std::vector<double>& worth, double base) {
    double best = 0;
    for (const Row& row : rows)
        for (std::size_t first = 0; first < row.joints.size(); ++first) {
            double value = 0, cost = base;
            for (std::size_t last = first; last < row.joints.size(); ++last) {
                value += worth[row.joints[last].raw()];
                if (last > first)
                    cost += 0.1 * (0.4 + 0.01 * distance(assembly.joint(row.joints[last - 1]).hole, assembly.joint(row.joints[last]).hole));
                best = std::max(best, value / cost);
            }
        }
    return best;
}

void run(std::size_t joints, std::size_t most_gestures) {
    const auto [assembly, truth] = made_board(joints, 1);
    std::mt19937_64 random(7);
    const Proposals proposals = rehearsed_proposals(assembly, truth, RehearsedSight::populated(), random);
    auto start = Clock::now();
    RingOut ring = RingOut::create(assembly, proposals, {}).value();
    const double created = seconds_since(start);
    RehearsalMeter meter{truth, 0.01, std::mt19937_64(3)};
    std::vector<double> waits;
    start = Clock::now();
    while (waits.size() < most_gestures) {
        const auto asked = Clock::now();
        const auto gesture = ring.next();
        waits.push_back(seconds_since(asked));
        if (!gesture) break;
        (void)ring.answer(meter.answer(*gesture));
    }
    const double whole = seconds_since(start);
    std::sort(waits.begin(), waits.end());
    const double median = waits[waits.size() / 2];

    const std::vector<Row> rows = find_rows(assembly, 5.08);
    std::vector<double> worth(joints);
    for (double& w : worth) w = static_cast<double>(random() % 1000) * 1e-5;
    start = Clock::now();
    double best = 0;
    constexpr int kSample = 50;  // held nets; the rest of the joints would take the same time each
    for (int held = 0; held < kSample; ++held) {
        worth[static_cast<std::size_t>(held)] += 1e-9;
        best = std::max(best, plain_best(assembly, rows, worth, 1.35));
    }
    const double plain = seconds_since(start) / kSample * static_cast<double>(joints);
    const bool to_the_end = waits.size() < most_gestures;
    std::cout << fmt::format("{} joints, {} links, {} leads: set up {:.0f} ms; next gesture median {:.1f} ms, longest {:.0f} ms over {} gestures; "
                             "plain scorer {:.0f} ms (rows only), ratio {:.3f}; {} {:.1f} s{}\n",
                             joints, proposals.links.size(), proposals.leads.size(), created * 1e3, median * 1e3, waits.back() * 1e3, waits.size(),
                             plain * 1e3, median / plain, to_the_end ? "whole ring-out" : "this part", whole,
                             to_the_end ? fmt::format(", nets wrong {}", nets_wrong(assembly, truth, ring.state().nets)) : std::string())
              << std::flush;
    if (best < 0) std::cout << "\n";
}

}  // namespace

int main(int argc, char** argv) {
    const std::size_t most = argc > 1 ? std::stoul(argv[1]) : 100000;
    run(700, most);
    run(5000, std::min<std::size_t>(most, 400));
}
