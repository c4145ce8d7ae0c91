// Regions of copper grown from pads, and where they meet.
//
// The landscape is the evidence: height = log-odds of copper, cut off above at kCeiling so that sure copper is a
// plateau on which the regions of its pads grow evenly and meet half way (neighbours in a pour become neighbours
// in the graph). Sources are the pads and, where copper is not reached from any pad over a pass as high as
// itself less `island_rise`, islands. Regions grow by a priority flood: highest pixel first, first come first served.
// Source of the flood: F. Meyer, "Topographic distance and watershed lines", Signal Processing 38 (1994); of
// the rule for islands (a summit counts when it rises that far over its key pass): P. Soille, Morphological Image
// Analysis, 2nd ed. (2003), on dynamics of extrema. Cost O(pixels).
#pragma once

#include <cstdint>
#include <vector>

#include <opencv2/core.hpp>

namespace eyelet {

struct RegionOptions {
    double island_rise = 0.75;  // log-odds that a summit must rise over its highest pass to be an island
    int least_island_px = 12;   // smaller summits are noise
};

// Where two regions touch. Regions below `pads` are pads, the others islands.
struct Contact {
    int a = 0;
    int b = 0;             // a < b
    double pass = 0;       // log-odds of the highest way from source to source
    int pixel_a = 0;       // the two pixels (row * width + column) at which that way crosses
    int pixel_b = 0;
    int length_px = 0;     // steps from source to source over that crossing (islands: from their summit)
    int touching_px = 0;   // pixels along the common border
    int open_px = 0;       // those of them nearly as high as the pass: how wide the opening is
    bool leap = false;     // the two pixels lie apart, with a hidden stretch between them (hidden_leaps.h)
};

// A way inside one island from one of its contacts to a neighbouring one.
struct Crossing {
    int half_a = 0;  // 2 * contact + (0: the island is its a, 1: its b)
    int half_b = 0;
    int pixel_a = 0; // the two pixels at which the ways from both entries meet
    int pixel_b = 0;
    int length_px = 0;
};

struct RegionGraph {
    static constexpr double kFloor = -4.0;    // log-odds; lower evidence counts as this
    static constexpr double kCeiling = 1.5;   // log-odds; higher evidence counts as this
    static constexpr std::uint8_t kSource = 8;

    int width = 0;
    int height = 0;
    int pads = 0;
    int regions = 0;
    std::vector<std::int32_t> region;     // of each pixel
    std::vector<std::uint8_t> back;       // direction of the step back towards the region's source, or kSource
    std::vector<float> reached;           // log-odds of the lowest pixel on the way from the source
    std::vector<std::int32_t> steps;      // of the way from the source
    std::vector<std::uint8_t> back_inside;// inside islands: the step back towards the nearest contact
    std::vector<Contact> contacts;
    std::vector<Crossing> crossings;
    std::vector<int> entry;                       // half -> pixel where its way enters the island's body, or -1
    std::vector<std::vector<int>> contacts_of;    // region -> contacts
    std::vector<std::vector<int>> crossings_of;   // half -> crossings
    std::vector<float> summit;                    // log-odds at each island's summit, counted from the first island
    std::vector<int> area_px;                     // of each region where its height is above even odds

    // Pixels from `pixel` back to its region's source (or, inside an island, to the entry of the nearest contact), both
    // included.
    [[nodiscard]] std::vector<int> way_back(int pixel) const;
    [[nodiscard]] std::vector<int> way_back_inside(int pixel) const;
};

// Regions and where they touch. `log_odds` CV_32F, `owner` CV_32S as draw_pads gives it, with `pads` pads. Without
// pads the graph is empty.
[[nodiscard]] RegionGraph grow_regions(const cv::Mat& log_odds, const cv::Mat& owner, int pads,
                                       const RegionOptions& options = {});

// Finds the ways inside islands, once all contacts are there (contacts may be added before).
void cross_islands(RegionGraph& graph);

}  // namespace eyelet
