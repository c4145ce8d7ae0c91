// Links and nets of a job, as photographs propose them and as readings leave them.
#pragma once

#include <vector>

#include "eyelet/bench/store.h"

namespace eyelet {

struct LinksOfJob {
    Assembly map;
    std::vector<Link> links;  // likeliest first; standing after the readings
};
[[nodiscard]] Result<LinksOfJob> links_of(Store& store, const JobName& job);

// The partition that photographs alone make likeliest, or what the readings so far prove.
enum class NetsFrom { photographs, readings };

struct NetsOfJob {
    Assembly map;
    std::vector<Net> nets;  // every pad in exactly one; largest first, then by name
};
[[nodiscard]] Result<NetsOfJob> nets_of(Store& store, const JobName& job, NetsFrom from = NetsFrom::readings);

// Names the nets of a partition of joints; vias tie, but only pads are listed. Standing: proposed.
[[nodiscard]] std::vector<Net> nets_from_partition(const Assembly& map,
                                                   const std::vector<std::vector<JointIndex>>& groups);

}  // namespace eyelet
