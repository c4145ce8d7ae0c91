// One side, looked at: regions, rings round pads, and described candidates. What follow_copper judges, and what its
// models are fitted on (training/follow).
#pragma once

#include <vector>

#include "eyelet/photo/follow.h"
#include "eyelet/photo/link_features.h"
#include "eyelet/photo/region_graph.h"

namespace eyelet {

struct SideExamination {
    std::vector<JointIndex> joints;  // pads and vias on this side; regions, owners and candidates count in this list
    SidePictures pictures;
    RegionGraph regions;
    std::vector<PadRing> rings;
    std::vector<DescribedCandidate> candidates;
};

// REQUIRES: evidence that follow_copper would accept.
[[nodiscard]] SideExamination examine_side(const Assembly& assembly, const SideEvidence& evidence,
                                           const FollowCopperOptions& options);

}  // namespace eyelet
