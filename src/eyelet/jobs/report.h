// Everything that the report of a job shows, as plain values.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "eyelet/bench/store.h"
#include "eyelet/jobs/nets.h"
#include "eyelet/jobs/ring_session.h"

namespace eyelet {

struct JobReport {
    Job job;
    Assembly map;
    struct Picture {
        Photograph photograph;
        StoredAlignment alignment;
        std::vector<std::byte> bytes;  // the original photograph
    };
    std::vector<Picture> pictures;     // one a side and board: the best aligned one
    std::vector<Link> links;
    std::vector<Net> nets;
    RingState ring;
    std::vector<Entry> journal;        // readings among them
    std::vector<std::string> cautions;
    std::string made_at;
};

[[nodiscard]] Result<JobReport> report_of(Store& store, const JobName& job);

}  // namespace eyelet
