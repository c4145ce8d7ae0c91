// Follows copper in the aligned photographs of a job and stores what they propose: links, leads, what was not
// seen.
#pragma once

#include <string>
#include <vector>

#include "eyelet/bench/store.h"
#include "eyelet/jobs/watch.h"

namespace eyelet {

struct FollowOptions {
    std::vector<ToneSettled>
        copper_is;  // a person's word on a tone; stored with the job (an edit) and used from then on
    Who who;
};

struct FollowSummary {
    std::size_t links = 0;
    std::size_t links_likely = 0;  // with a probability of 0.5 or more
    std::size_t links_sure = 0;    // 0.9 or more
    std::size_t leads = 0;
    std::vector<StoredProposals::Tone> tones;
    std::vector<std::string> remarks;  // which tone is not sure, and the option that settles it
};

// Aligns first where an alignment is missing or out of date.
[[nodiscard]] Result<FollowSummary> follow_job(Store& store, const JobName& job, const FollowOptions& options,
                                               const Watch& watch = {});

}  // namespace eyelet
