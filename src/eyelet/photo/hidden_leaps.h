// Tracks that go under something and come out again.
//
// Where visible copper of a track's width runs into a hidden area there is a stub: a place, a width and a direction.
// Two stubs of one hidden area, or a stub and a pad that lies in or at it, may be two ends of one hidden stretch; the
// straighter the way from one to the other and the more alike their widths, the likelier. Such pairs are added to the
// graph as contacts ("leaps"), so that pads beyond them become candidates; how far they are believed is for the fitted
// judgement, which sees the bend, the widths and the length of the stretch.
#pragma once

#include <vector>

#include "eyelet/photo/link_features.h"
#include "eyelet/photo/region_graph.h"

namespace eyelet {

struct LeapOptions {
    double widest_stub_mm = 2.0;  // wider copper at the border of a hidden area is no track
    double longest_mm = 40;
    int partners = 4;             // leaps kept for a stub
};

void add_leaps(RegionGraph& graph, const SidePictures& pictures, const LeapOptions& options = {});

}  // namespace eyelet
