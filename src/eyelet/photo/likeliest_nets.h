// Nets from the photographs alone: the partition of joints that the proposed links make likeliest.
//
// Plated joints carry copper from side to side and cable conductors from board to board, so those hold for sure.
// Groups are then joined in the order of how probable it is that copper joins them, as long as joining gains more
// true pairs than false ones; one weak bridge between two large groups is asked for more.
// Source of the approach: greedy additive joining for correlation clustering, as in M. Keuper et al., "Efficient
// decomposition of image and mesh graphs by lifted multicuts", ICCV 2015.
#pragma once

#include <vector>

#include "eyelet/board/evidence.h"

namespace eyelet {

struct NetOptions {
    double join_above = 0.5;         // two groups are joined when copper joins them at least this probably
    double bridge_above = 0.5;       // the same between two groups of `large` joints or more
    int large = 4;
};

// Every joint of the assembly is in exactly one group; groups in the order of their first joint, joints ascending.
[[nodiscard]] std::vector<std::vector<JointIndex>> likeliest_nets(const Assembly& assembly, const std::vector<Link>& links,
                                                                  const NetOptions& options = {});

}  // namespace eyelet
