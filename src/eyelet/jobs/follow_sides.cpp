#include "eyelet/jobs/follow_sides.h"

#include <algorithm>

namespace eyelet {

Result<FollowSummary> follow_sides(Store& store, const JobName& job, const Assembly& map, SeenSides seen,
                                   const Watch& watch) {
    watch.tell(0, "following copper");
    StoredProposals stored;
    EYELET_ASSIGN(stored.proposals, follow_copper(map, seen.sides));
    stored.tones = std::move(seen.tones);
    stored.remarks = std::move(seen.remarks);
    std::stable_sort(stored.proposals.links.begin(), stored.proposals.links.end(),
                     [](const Link& a, const Link& b) { return a.probability > b.probability; });
    if (watch.stop.stop_requested()) return refused("stopped; what was proposed before is as it was");
    watch.tell(0.98, "storing");
    EYELET_TRY(store.keep_proposals(job, stored));

    FollowSummary summary;
    summary.links = stored.proposals.links.size();
    for (const Link& link : stored.proposals.links) {
        summary.links_likely += link.probability >= 0.5 ? 1 : 0;
        summary.links_sure += link.probability >= 0.9 ? 1 : 0;
    }
    std::vector<JointIndex> leading;
    for (const Lead& lead : stored.proposals.leads)
        if (lead.probability >= 0.5) leading.push_back(lead.joint);
    std::sort(leading.begin(), leading.end());
    summary.leads = static_cast<std::size_t>(std::unique(leading.begin(), leading.end()) - leading.begin());
    summary.tones = stored.tones;
    summary.remarks = stored.remarks;
    watch.tell(1, "done");
    return summary;
}

}  // namespace eyelet
