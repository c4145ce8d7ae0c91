#include "eyelet/photo/follow.h"

#include <algorithm>
#include <cmath>
#include <map>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "eyelet/photo/lead_features.h"
#include "eyelet/photo/link_model.h"
#include "eyelet/photo/side_examination.h"
#include "eyelet/photo/unseen_areas.h"

namespace eyelet {

namespace {

constexpr double kTouching = 0.99;  // a survey's pad sizes are known to a tenth of a millimetre or so

Status check_evidence(const Assembly& assembly, const SideEvidence& evidence) {
    if (evidence.board.raw() >= assembly.boards.size())
        return bad_input("evidence names a board that is not in the assembly");
    const std::string where =
        fmt::format("evidence for board {}, {}", assembly.board(evidence.board).name.text(), name_of(evidence.side));
    if (evidence.copper.empty() || evidence.copper.type() != CV_32F || evidence.hidden.type() != CV_32F)
        return bad_input(where + ": the copper and hidden pictures must be 32-bit numbers, one for each pixel");
    if (evidence.copper.size() != evidence.hidden.size())
        return bad_input(where + ": the copper and hidden pictures must be of the same size");
    if (!(evidence.px_per_mm >= 4 && evidence.px_per_mm <= 100))
        return bad_input(where + ": pixels per millimetre must lie between 4 and 100");
    if (!cv::checkRange(evidence.copper, true, nullptr, -1e-3, 1.001) ||
        !cv::checkRange(evidence.hidden, true, nullptr, -1e-3, 1.001))
        return bad_input(where + ": probabilities must lie between 0 and 1");
    return {};
}

std::string say_why(const DescribedCandidate& described) {
    const WayMeasures& way = described.measures;
    if (way.touch) return "their pads touch";
    if (way.hidden_share > 0.95) return "nothing of the copper between them can be seen";
    if (way.longest_hidden_mm > 0.5)
        return fmt::format("copper {:.2f} mm wide goes out of sight for {:.1f} mm and comes out again", way.width_mm,
                           way.longest_hidden_mm);
    if (way.longest_gap_mm > 0.05)
        return fmt::format("copper on both sides of a doubtful gap of {:.2f} mm", way.longest_gap_mm);
    if (way.width_mm > 3) return "both run into the same copper area";
    return fmt::format("copper {:.2f} mm wide can be followed for {:.1f} mm", way.width_mm, way.length_mm);
}

Link make_link(const SideExamination& side, const DescribedCandidate& described, Side which, double probability) {
    const Candidate& candidate = described.candidate;
    Link link;
    link.from = side.joints[static_cast<std::size_t>(candidate.a)];
    link.to = side.joints[static_cast<std::size_t>(candidate.b)];
    link.side = which;
    link.probability = probability;
    link.width_mm = described.measures.width_mm;
    link.hidden = described.measures.hidden_share;
    link.why = say_why(described);
    std::vector<cv::Point> pixels;
    pixels.reserve(candidate.way.size());
    for (const int p : candidate.way) pixels.emplace_back(p % side.pictures.grid.width, p / side.pictures.grid.width);
    std::vector<cv::Point> simple;
    cv::approxPolyDP(pixels, simple, 1.5, false);
    for (const cv::Point& p : simple) link.path.push_back(side.pictures.grid.to_board(p.x, p.y));
    return link;
}

}  // namespace

Result<Proposals> follow_copper(const Assembly& assembly, const std::vector<SideEvidence>& sides,
                                const FollowCopperOptions& options) {
    for (const SideEvidence& evidence : sides) EYELET_TRY(check_evidence(assembly, evidence));
    Proposals proposals;
    std::vector<SideExamination> examined(sides.size());
    // Sides do not depend on each other.
    cv::parallel_for_(cv::Range(0, static_cast<int>(sides.size())), [&](const cv::Range& range) {
        for (int i = range.start; i < range.end; ++i)
            examined[static_cast<std::size_t>(i)] = examine_side(assembly, sides[static_cast<std::size_t>(i)], options);
    });
    for (std::size_t i = 0; i < sides.size(); ++i)
        for (const DescribedCandidate& described : examined[i].candidates) {
            double probability = link_model().probability(described.features);
            // Pads that overlap are one piece of copper by the survey itself, whatever the picture shows.
            if (described.measures.touch) probability = std::max(probability, kTouching);
            if (probability >= options.least_probability)
                proposals.links.push_back(make_link(examined[i], described, sides[i].side, probability));
        }
    for (std::size_t i = 0; i < sides.size(); ++i) {
        const SideExamination& side = examined[i];
        std::vector<DescribedLead> leads = describe_leads(assembly, side, sides[i].hidden);
        tell_links(leads, side.joints, sides[i].side, proposals.links);
        for (const DescribedLead& lead : leads) {
            const double probability = lead_model().probability(lead.features);
            if (probability >= options.least_lead_probability)
                proposals.leads.push_back(
                    {side.joints[static_cast<std::size_t>(lead.joint)], sides[i].side, probability, lead.last_seen});
        }
        std::vector<Unseen> unseen = find_unseen(assembly, sides[i].board, sides[i].side, side.pictures.hidden,
                                                 side.pictures.copper, side.pictures.grid, options.least_unseen_mm2);
        std::move(unseen.begin(), unseen.end(), std::back_inserter(proposals.unseen));
    }
    return proposals;
}

}  // namespace eyelet
