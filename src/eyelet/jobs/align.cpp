#include "eyelet/jobs/align.h"

#include <fmt/format.h>

#include "eyelet/photo/alignment.h"
#include "eyelet/photo/image.h"

namespace eyelet {

namespace {

StoredAlignment stored_from(const Alignment& alignment, const PhotographName& photograph,
                            const Assembly& map) {
    StoredAlignment stored;
    stored.photograph = photograph;
    stored.camera = alignment.camera;
    for (const TieMisfit& tie : alignment.tie_points)
        stored.tie_points.push_back(
            {map.joint(tie.joint).name, tie.misfit_mm, tie.verdict == TieVerdict::wrong});
    stored.rms_mm = alignment.tie_rms_mm;
    stored.worst_mm = alignment.tie_worst_mm;
    stored.refined = alignment.refined;
    stored.joints_sought = alignment.joints_sought;
    stored.joints_located = alignment.joints_located;
    stored.located_rms_mm = alignment.located_rms_mm;
    stored.located_worst_mm = alignment.located_worst_mm;
    stored.limit_mm = alignment.limit_mm;
    stored.remarks = alignment.remarks;
    return stored;
}

}  // namespace

Result<AlignSummary> align_job(Store& store, const JobName& job, const Watch& watch) {
    EYELET_ASSIGN(const MapVersion version, store.map(job));
    const Assembly& map = version.map;
    EYELET_ASSIGN(const std::vector<Photograph> photographs, store.photographs(job));
    AlignSummary summary;
    std::vector<const Photograph*> wanted;
    for (const Photograph& photograph : photographs) {
        if (photograph.withdrawn) continue;
        if (photograph.tie_points.empty())
            summary.remarks.push_back(
                fmt::format("{}: it has no tie points and was left out", photograph.file_name));
        else
            wanted.push_back(&photograph);
    }
    if (wanted.empty())
        return refused(
            fmt::format("job {}: no photograph has tie points; give at least four to each", job.text()));

    const auto joints = joints_by_name(map);
    std::vector<StoredAlignment> alignments;
    for (std::size_t i = 0; i < wanted.size(); ++i) {
        const Photograph& photograph = *wanted[i];
        watch.tell(static_cast<double>(i) / static_cast<double>(wanted.size()),
                   fmt::format("aligning {}", photograph.file_name));
        if (watch.stop.stop_requested()) return refused("stopped; the alignment is as it was");
        const BoardIndex board = map.find_board(photograph.board);
        if (!board.valid())
            return refused(fmt::format("{}: its board {} is no longer in the map; withdraw the photograph",
                                       photograph.file_name, photograph.board.text()));
        std::vector<TiePoint> tie_points;
        for (const StoredTiePoint& tie : photograph.tie_points) {
            const auto found = joints.find(tie.joint);
            if (found == joints.end())
                return refused(fmt::format(
                    "{}: tie point {} names a joint that is no longer in the map; set its tie points again",
                    photograph.file_name, tie.joint.text()));
            tie_points.push_back({found->second, tie.pixel});
        }
        EYELET_ASSIGN(const auto bytes, store.photograph_bytes(photograph.name));
        EYELET_ASSIGN(const Image image, decode(bytes, photograph.file_name));
        const auto alignment = align(image.bgr, photograph.side, map, board, tie_points);
        if (!alignment.ok())
            return Error{alignment.error().code,
                         fmt::format("{}: {}", photograph.file_name, alignment.error().message)};
        alignments.push_back(stored_from(alignment.value(), photograph.name, map));
        summary.photographs.push_back({photograph, alignments.back()});
    }
    if (watch.stop.stop_requested()) return refused("stopped; the alignment is as it was");
    watch.tell(1, "storing");
    EYELET_TRY(store.keep_alignments(job, alignments));
    return summary;
}

}  // namespace eyelet
