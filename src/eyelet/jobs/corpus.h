// Runs import, align, follow and ring-out over boards whose true nets are known, with a simulated meter that
// answers from them, and measures each step.
#pragma once

#include <array>
#include <cstdint>
#include <filesystem>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "eyelet/core/result.h"
#include "eyelet/jobs/watch.h"

namespace eyelet {

// One ring-out to its end.
struct RingOutcome {
    double miss_rate = 0;  // share of readings on joined pairs that the meter missed
    bool with_photographs = true;
    std::size_t gestures = 0;
    double seconds = 0;                             // of the operator, by the cost model
    std::optional<std::size_t> gestures_confirmed;  // until every proposal was confirmed; none: never reached
    std::optional<double> seconds_confirmed;
    std::size_t nets_wrong = 0;      // nets that are not exactly one of the true ones
    std::size_t wrongly_proven = 0;  // joints that are called proven in a net that is wrong
    std::size_t joints_unproven = 0;
    double expected_mistakes = 0;  // that the engine says remain
    double next_median_ms = 0;     // to choose a gesture, on this machine
    double next_worst_ms = 0;
};

struct CorpusRow {
    std::string board;
    std::string level;                 // bare, populated, poor, damaged, real
    std::string failed;                // the error that ended this row; empty: none
    std::vector<std::string> remarks;  // that following copper made for the person
    std::size_t pads = 0;
    std::size_t nets = 0;  // true ones that hold a pad
    // Distance between where the stored camera and the known one put a joint, over both photographs; none
    // where the truth holds no camera.
    std::optional<double> align_median_mm;
    std::optional<double> align_worst_mm;
    double align_seconds = 0;
    double follow_seconds = 0;

    // Links with a probability of 0.5 or more, true where both joints share a true net.
    std::size_t links = 0;
    std::size_t links_true = 0;
    // True links: pairs of joints that the copper joins directly. Recall counts joins that proposed links of
    // 0.5 or more make, over the joins that the true nets need (pads - nets).
    double recall = 0;
    // Above 0.9.
    std::size_t sure_links = 0;
    std::size_t sure_true = 0;
    double sure_cover = 0;  // share of the joins needed that they make
    struct Tenth {
        std::size_t count = 0;
        double mean_probability = 0;
        std::size_t right = 0;
    };
    std::array<Tenth, 10> calibration;

    double pair_precision = 0;  // same-net pairs of pads, from photographs alone
    double pair_recall = 0;
    double pair_f1 = 0;

    std::vector<RingOutcome> ring_outs;
};

// What copper is followed in: the photographs, or the true copper, which tells how much following could at
// best give.
enum class CorpusEvidence { photographs, true_copper };

struct CorpusOptions {
    CorpusEvidence evidence = CorpusEvidence::photographs;
    std::vector<double> miss_rates{0.0, 0.01};
    bool without_photographs = true;  // one more ring-out that has no proposals, with the first miss rate
    std::uint32_t seed = 1;           // of the simulated meter
    std::vector<std::string> only_levels;  // empty: all
    std::vector<std::string> only_boards;
};

// Each folder is a board folder (it holds board.json) or holds board folders. `each` gets a row as it is
// done; a step that fails ends its row, not the run.
[[nodiscard]] Result<std::vector<CorpusRow>> run_corpus(const std::vector<std::filesystem::path>& folders,
                                                        const CorpusOptions& options,
                                                        const std::function<void(const CorpusRow&)>& each);

// A table for eyes: one row a board and level, means below, then calibration.
[[nodiscard]] std::string corpus_table(const std::vector<CorpusRow>& rows);
[[nodiscard]] std::string corpus_json(const std::vector<CorpusRow>& rows);

}  // namespace eyelet
