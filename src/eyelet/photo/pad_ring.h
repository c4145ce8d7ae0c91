// What the evidence shows all round one pad: a closed clearance, the spokes of a pour, a track that leaves.
//
// Rays leave the pad's edge in kRays directions. Each ray has a neck (the least evidence within kNeck_mm of the edge,
// where clearances lie) and a field (the mean evidence beyond, up to kField_mm). A pour with spokes has a field of
// copper all round and a neck of copper in few directions, four of them at right angles; an open clearance has a low
// neck all round.
#pragma once

#include <opencv2/core.hpp>

#include "eyelet/board/map.h"
#include "eyelet/photo/pad_raster.h"

namespace eyelet {

struct PadRing {
    static constexpr int kRays = 48;        // a multiple of 4
    static constexpr double kNeck_mm = 0.45;
    static constexpr double kField_mm = 0.8;

    double closed = 0;        // share of rays whose neck is plainly empty (below 0.3)
    double open = 0;          // share of rays whose neck is plainly copper (above 0.7)
    double best_neck = 0;     // the highest neck of two rays side by side, 0..1
    double spokes = 0;        // number of separate runs of rays with a neck above even odds
    double cross = 0;         // spokes at right angles: the best mean over four necks less the worst, 0..1
    double gain = 0;          // best neck less the median neck, 0..1: an opening in a ring that is else closed
    // Faint spokes show as a rise over the rest of the ring long before they reach even odds; both in log-odds.
    double rise = 0;          // best neck over the median neck; kPlain where the best neck is plainly copper
    double cross_rise = 0;    // four necks at right angles, best mean over the median neck; likewise
    double median_odds = 0;   // of the necks
    static constexpr double kPlain = 10;
    double field = 0;         // mean evidence in the field, 0..1
    double hidden = 0;        // share of the ring that is hidden
    double doubt = 0;         // mean entropy of the necks, bits
    double crowded = 0;       // share of rays that meet another pad
};

[[nodiscard]] PadRing look_round(const Joint& joint, int number, const cv::Mat& copper, const cv::Mat& hidden,
                                 const cv::Mat& owner, const PixelGrid& grid);

}  // namespace eyelet
