// Following copper: from what each pixel of a side says to which joints copper joins.
//
// What goes in, for each side that was photographed: the probability of copper and the probability of
// being hidden, pixel by pixel, in the board's frame. What comes out: links with a calibrated
// probability, the copper that leaves joints towards somewhere unseen, and the areas that nobody saw.
//
// A link's probability is the share, among links like it, whose two joints lie in the same net.
// It was fitted on boards with a known layout (link_model.h says which and how it was checked).
//
// How it works:
//   1. The pads are known from the survey: their areas are copper, each the source of one region
//      (pad_raster.h). Copper that no pad owns yet becomes a region of its own, an island.
//   2. All regions flood outwards together, over high evidence first; where two meet is the highest pass
//      between them (region_graph.h).
//   3. Pads that meet, directly or over islands, are candidates; what can be told along the way from one to the
//      other is put in numbers (link_features.h) and judged (link_model.h).
// Cost: O(pixels) plus O(candidates * length of their paths).
#pragma once

#include <vector>

#include <opencv2/core.hpp>

#include "eyelet/board/evidence.h"
#include "eyelet/core/result.h"

namespace eyelet {

// Evidence about one side of one board. Both pictures are in the board's frame (the solder side is NOT mirrored):
// pixel (column c, row r) covers x = c / px_per_mm .. (c + 1) / px_per_mm, y likewise.
struct SideEvidence {
    BoardIndex board;
    Side side = Side::component;
    double px_per_mm = 16;
    cv::Mat copper;  // CV_32F, 0..1: the probability that there is copper; a guess where the side is hidden
    cv::Mat hidden;  // CV_32F, 0..1: the probability that a part, print or glare hides the side here
};

struct FollowCopperOptions {
    double least_probability = 0.01;       // weaker candidates are not given; 0.001 to 0.5
    double least_lead_probability = 0.005; // joints less likely to have unseen copper are not given as leads
    double hidden_above = 0.5;             // a pixel counts as hidden above this; 0 to 1
    double least_unseen_mm2 = 0.5;         // smaller hidden spots are not listed
};

// Proposes links, leads and unseen areas. A board or side without evidence yields nothing.
// Errors: evidence that does not fit the assembly (no such board, empty or mismatched pictures, wrong type).
[[nodiscard]] Result<Proposals> follow_copper(const Assembly& assembly, const std::vector<SideEvidence>& sides,
                                              const FollowCopperOptions& options = {});

}  // namespace eyelet
