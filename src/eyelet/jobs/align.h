// Lays every photograph of a job that has tie points on its board, and stores where it lies.
#pragma once

#include <string>
#include <vector>

#include "eyelet/bench/store.h"
#include "eyelet/jobs/watch.h"

namespace eyelet {

struct AlignSummary {
    struct One {
        Photograph photograph;
        StoredAlignment alignment;  // misfit per tie point and overall
    };
    std::vector<One> photographs;
    std::vector<std::string> remarks;  // photographs without tie points, and the like
};

// All or nothing: a photograph that cannot be aligned (wrong side, a fit too poor, too few tie points)
// refuses the whole with its name and the cause, and what was stored before stays.
[[nodiscard]] Result<AlignSummary> align_job(Store& store, const JobName& job, const Watch& watch = {});

}  // namespace eyelet
