// Plays a whole job on the invented unit of synthetic/demo.h with a simulated meter: draws its photographs,
// imports, aligns, follows, enters what was found, rings out and writes the report. Every step is what a
// person would do with the same functions; nothing is prepared behind their back.
#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <string>

#include "eyelet/bench/store.h"
#include "eyelet/jobs/watch.h"

namespace eyelet {

struct DemoOptions {
    std::filesystem::path survey_folder;  // the drawn survey goes here; made anew
    std::filesystem::path pdf;            // where the report goes; empty: none
    int width_px = 4200;                  // longer side of a photograph, 1000 to 8000
    double miss = 0.01;                   // share of readings on joined pairs that read open
    Who who;
};

struct DemoResult {
    JobName job;
    std::size_t joints = 0;
    std::size_t nets = 0;
    std::size_t gestures = 0;
    double seconds = 0;           // of the operator, by the cost model
    std::size_t nets_wrong = 0;   // against the drawn truth
    std::size_t misses = 0;       // readings that the simulated needle missed
};

// `say` gets one sentence a step, in order.
[[nodiscard]] Result<DemoResult> play_demo(Store& store, const DemoOptions& options,
                                           const std::function<void(const std::string&)>& say, const Watch& watch = {});

}  // namespace eyelet
