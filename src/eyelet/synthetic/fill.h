// Areas filled with copper: ground pours and power areas, cut back from what is foreign, joined to their own
// pads solidly or by spokes, without strips thinner than a least width.
#pragma once

#include <vector>

#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/random.h"

namespace eyelet::synthetic {

struct FillPlan {
    Side side = Side::component;
    int net = 0;
    std::vector<Point> outline;
    double clearance_mm = 0.3;
    double least_width_mm = 0.25;
    double spoked = 0.8;          // share of own pads that are joined by spokes, the rest solidly
    int spokes = 4;               // 2 to 4
    bool slanted_spokes = false;  // at 45 degrees to the pad
    double spoke_mm = 0.4;
    double ring_mm = 0.35;  // gap between a spoked pad and the fill
    double hatch_mm = 0;    // pitch of a hatched fill; 0 is solid
    double hatch_line_mm = 0.4;
    bool hatch_slanted = true;
    bool keep_islands = false;  // pieces that join nothing stay
};

// Adds the fill and its spokes to the layout.
void add_fill(const FillPlan& plan, Random& random, Layout& layout);

// Numbers the connected pieces anew, after the depths were changed.
void label_pieces(Fill& fill);

}  // namespace eyelet::synthetic
