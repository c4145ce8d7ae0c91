#include "eyelet/jobs/follow.h"

#include <algorithm>

#include <fmt/format.h>

#include "eyelet/jobs/align.h"
#include "eyelet/jobs/follow_sides.h"

namespace eyelet {

namespace {

// Aligns where something is missing or out of date, and gives the alignments of the photographs in use.
Result<std::vector<StoredAlignment>> up_to_date(Store& store, const JobName& job, const Watch& watch) {
    EYELET_ASSIGN(const std::vector<Photograph> photographs, store.photographs(job));
    EYELET_ASSIGN(std::vector<StoredAlignment> alignments, store.alignments(job));
    const auto aligned = [&](const Photograph& photograph) {
        return std::any_of(alignments.begin(), alignments.end(), [&](const StoredAlignment& a) {
            return a.photograph == photograph.name && !a.out_of_date;
        });
    };
    const bool all = std::all_of(photographs.begin(), photographs.end(), [&](const Photograph& photograph) {
        return photograph.withdrawn || photograph.tie_points.empty() || aligned(photograph);
    });
    if (!all || alignments.empty()) {
        EYELET_ASSIGN(const AlignSummary ignored, align_job(store, job, watch));
        (void)ignored;
        EYELET_ASSIGN(alignments, store.alignments(job));
    }
    return alignments;
}

Result<SeenSides> see_sides(Store& store, const JobName& job, const Assembly& map,
                            const std::vector<StoredAlignment>& alignments, const Watch& watch) {
    (void)store, (void)map, (void)alignments, (void)watch;
    return unavailable(fmt::format("job {}: this build has no model that tells copper in a photograph", job.text()));
}

}  // namespace

Result<FollowSummary> follow_job(Store& store, const JobName& job, const FollowOptions& options, const Watch& watch) {
    for (const ToneSettled& settled : options.copper_is) EYELET_TRY(store.settle_tone(job, settled, options.who));
    EYELET_ASSIGN(const MapVersion version, store.map(job));
    EYELET_ASSIGN(const auto alignments, up_to_date(store, job, watch));
    EYELET_ASSIGN(SeenSides seen, see_sides(store, job, version.map, alignments, watch));
    return follow_sides(store, job, version.map, std::move(seen), watch);
}

}  // namespace eyelet
