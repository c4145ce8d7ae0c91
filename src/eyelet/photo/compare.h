// Copper of a unit against the copper of a reference: what is missing and what was added, and what each
// difference does to the connections. For pictures in which copper and substrate are plainly two tones
// (scans, rectified sides of bare boards); the two must show the same area at the same scale, a few pixels off.
//
// What a difference is called follows from topology, in a window round it:
//   missing copper:  open - it parts copper that was one;  pin hole - copper still closes round it;
//                    mouse bite - neither: the edge is eaten
//   added copper:    short - it joins pieces that were apart;  stray copper - it touches none;
//                    spur - it hangs on one
// (The six names are common in bare-board inspection.)
#pragma once

#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "eyelet/core/result.h"

namespace eyelet {

enum class DifferenceKind { open, short_circuit, mouse_bite, spur, stray_copper, pin_hole };
[[nodiscard]] const char* name_of(DifferenceKind kind);

enum class CopperIs { automatic, dark, light };

struct CompareOptions {
    double px_per_mm = 0;            // of both pictures; required, 1 to 400
    CopperIs copper = CopperIs::automatic;
    double edge_tolerance_mm = 0.06; // edges may wander by this much; raise for worn or blurred pictures
    double largest_shift_mm = 0.4;   // between the pictures, anywhere
    double least_probability = 0.3;  // weaker findings are left out
};

struct Difference {
    DifferenceKind kind = DifferenceKind::open;
    cv::Rect box;                // pixels of the unit's picture, the difference and the copper it bears on
    double area_mm2 = 0;         // of copper missing or added
    double probability = 0;      // that it is a real difference rather than a rough edge
};

struct Comparison {
    std::vector<Difference> differences;  // likeliest first
    bool copper_is_dark = true;
    bool tone_is_sure = true;             // where not: say which tone is copper
};

// Errors: pictures of different or of no size, a scale outside its range, a picture of one tone.
[[nodiscard]] Result<Comparison> compare_copper(const cv::Mat& reference, const cv::Mat& unit, const CompareOptions& options);

}  // namespace eyelet
