#include "eyelet/jobs/follow.h"

#include <fmt/format.h>

#include <algorithm>

#include "eyelet/jobs/align.h"
#include "eyelet/jobs/follow_sides.h"
#include "eyelet/photo/copper_evidence.h"
#include "eyelet/photo/image.h"
#include "eyelet/photo/rectify.h"

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

// Which photograph of a side is looked at: the one with the most pixels a millimetre.
struct Chosen {
    BoardIndex board;
    Side side = Side::component;
    const Photograph* photograph = nullptr;
    const StoredAlignment* alignment = nullptr;
};
std::vector<Chosen> choose(const Assembly& map, const std::vector<Photograph>& photographs,
                           const std::vector<StoredAlignment>& alignments) {
    std::vector<Chosen> all;
    for (std::size_t b = 0; b < map.boards.size(); ++b)
        for (const Side side : {Side::component, Side::solder}) {
            const Size size = map.boards[b].size_mm;
            Chosen best{BoardIndex(b), side, nullptr, nullptr};
            double sharpest = 0;
            for (const StoredAlignment& alignment : alignments)
                for (const Photograph& photograph : photographs) {
                    if (photograph.name != alignment.photograph || photograph.withdrawn ||
                        photograph.side != side || photograph.board != map.boards[b].name)
                        continue;
                    const double scale = alignment.camera.px_per_mm({size.width / 2, size.height / 2});
                    if (scale > sharpest) {
                        sharpest = scale;
                        best.photograph = &photograph;
                        best.alignment = &alignment;
                    }
                }
            if (best.photograph != nullptr) all.push_back(best);
        }
    return all;
}

std::string side_in_words(const Assembly& map, BoardIndex board, Side side) {
    const std::string words = name_of(side);
    return map.boards.size() == 1 ? words
                                  : fmt::format("{} of board {}", words, map.board(board).name.text());
}

Result<SeenSides> see_sides(Store& store, const JobName& job, const Assembly& map,
                            const std::vector<StoredAlignment>& alignments, const Watch& watch) {
    EYELET_ASSIGN(const std::vector<Photograph> photographs, store.photographs(job));
    EYELET_ASSIGN(const std::vector<ToneSettled> settled, store.tones_settled(job));
    const std::vector<Chosen> chosen = choose(map, photographs, alignments);
    if (chosen.empty())
        return refused(fmt::format("job {}: no photograph is aligned; align the job first", job.text()));
    SeenSides seen;
    for (std::size_t i = 0; i < chosen.size(); ++i) {
        const Chosen& one = chosen[i];
        const double low = static_cast<double>(i) / static_cast<double>(chosen.size());
        const Watch step = watch.stretch(low, low + 1.0 / static_cast<double>(chosen.size()));
        const std::string doing = fmt::format("looking for copper in {}", one.photograph->file_name);
        step.tell(0, doing);
        EvidenceOptions options;
        for (const ToneSettled& tone : settled)
            if (tone.board == map.board(one.board).name && tone.side == one.side)
                options.told = tone.tone == CopperTone::lighter ? Tone::lighter : Tone::darker;
        options.progress = [&](double share) {
            step.tell(0.1 + 0.9 * share, doing);
            return watch.stop.stop_requested() ? KeepLooking::no : KeepLooking::yes;
        };
        EYELET_ASSIGN(const auto bytes, store.photograph_bytes(one.photograph->name));
        EYELET_ASSIGN(const Image image, decode(bytes, one.photograph->file_name));
        const cv::Mat flat =
            rectify(image.bgr, one.alignment->camera, map.board(one.board).size_mm, kEvidencePxPerMm);
        EYELET_ASSIGN(const CopperEvidence evidence,
                      see_copper(flat, kEvidencePxPerMm, map, one.board, one.side, options));
        seen.sides.push_back({one.board, one.side, evidence.px_per_mm, evidence.copper, evidence.hidden});

        StoredProposals::Tone tone{map.board(one.board).name, one.side, CopperTone::lighter, 0.5};
        if (evidence.tone == Tone::darker) tone.tone = CopperTone::darker;
        if (options.told)
            tone.sure = 1;
        else if (evidence.tone != Tone::unsure)
            tone.sure = 0.5 + 0.5 * evidence.tone_certainty;
        if (evidence.tone == Tone::unsure)
            seen.remarks.push_back(fmt::format(
                "{}: not sure whether copper is the lighter or the darker tone; say which, and follow again",
                side_in_words(map, one.board, one.side)));
        seen.tones.push_back(std::move(tone));
    }
    for (std::size_t b = 0; b < map.boards.size(); ++b)
        for (const Side side : {Side::component, Side::solder})
            if (std::none_of(chosen.begin(), chosen.end(),
                             [&](const Chosen& c) { return c.board == BoardIndex(b) && c.side == side; }))
                seen.remarks.push_back(
                    fmt::format("{}: there is no aligned photograph, so its copper is unknown",
                                side_in_words(map, BoardIndex(b), side)));
    return seen;
}

}  // namespace

Result<FollowSummary> follow_job(Store& store, const JobName& job, const FollowOptions& options,
                                 const Watch& watch) {
    for (const ToneSettled& settled : options.copper_is)
        EYELET_TRY(store.settle_tone(job, settled, options.who));
    EYELET_ASSIGN(const MapVersion version, store.map(job));
    EYELET_ASSIGN(const auto alignments, up_to_date(store, job, watch.stretch(0, 0.1)));
    EYELET_ASSIGN(SeenSides seen, see_sides(store, job, version.map, alignments, watch.stretch(0.1, 0.8)));
    return follow_sides(store, job, version.map, std::move(seen), watch.stretch(0.8, 1));
}

}  // namespace eyelet
