// One side of a board drawn over its photograph: joints, links and nets, their standing told by shape and
// line as well as by colour.
#pragma once

#include "eyelet/report/document.h"
#include "eyelet/report/job_report.h"

namespace eyelet::report {

// Fits the board into the area; the solder side is drawn as seen from behind. Returns points per millimetre.
double draw_side(cairo_t* cairo, Size area, const JobReport& report, BoardIndex board, Side side);

// The lines and shapes that draw_side uses, with their meaning.
void draw_legend(cairo_t* cairo, Size area);

}  // namespace eyelet::report
