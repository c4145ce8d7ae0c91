// Nets from the photographs alone: the partition of joints that the proposed links make likeliest.
//
// Plated joints carry copper from side to side and cable conductors from board to board, so those hold for sure.
// Groups are then joined, the likeliest pair first, as long as joining is likelier than not to gain true pairs. How
// likely that is, is judged on everything that lies between two groups (net_groups.h): a single doubtful bridge between
// two large groups is not enough, least of all where it would bridge parts of two pins.
// Source of the approach: greedy additive joining for correlation clustering, as in M. Keuper et al., "Efficient
// decomposition of image and mesh graphs by lifted multicuts", ICCV 2015.
#pragma once

#include <vector>

#include "eyelet/board/evidence.h"

namespace eyelet {

struct NetOptions {
    double join_above = 0.15;  // groups are joined where that is at least this probable; 0.05 to 1. The pairwise F1 of what comes
                              // out is best somewhat below half of a sure thing: at F / 2 for the F1 reached (Z. C. Lipton et al.,
                              // "Optimal thresholding of classifiers to maximize F1 measure", ECML 2014)
};

// Every joint of the assembly is in exactly one group; groups in the order of their first joint, joints ascending.
[[nodiscard]] std::vector<std::vector<JointIndex>> likeliest_nets(const Assembly& assembly, const std::vector<Link>& links,
                                                                  const NetOptions& options = {});

}  // namespace eyelet
