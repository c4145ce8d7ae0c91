// The middle of following copper: from evidence about the sides to proposals that the store keeps. Apart from
// follow.h so that the corpus can follow other evidence than what the photographs give.
#pragma once

#include <string>
#include <vector>

#include "eyelet/bench/store.h"
#include "eyelet/jobs/follow.h"
#include "eyelet/jobs/watch.h"
#include "eyelet/photo/follow.h"

namespace eyelet {

struct SeenSides {
    std::vector<SideEvidence> sides;
    std::vector<StoredProposals::Tone> tones;
    std::vector<std::string> remarks;
};

// Follows copper in what was seen, and stores the proposals.
[[nodiscard]] Result<FollowSummary> follow_sides(Store& store, const JobName& job, const Assembly& map,
                                                 SeenSides seen, const Watch& watch);

}  // namespace eyelet
