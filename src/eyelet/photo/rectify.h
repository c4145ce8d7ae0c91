// A photograph seen straight from above in the board's frame, at a chosen scale. Both sides come unmirrored, so
// they lie on each other and on masks drawn from a layout.
//
// Pixel (column c, row r) of the result covers x from c / px_per_mm to (c + 1) / px_per_mm less the box's low
// corner, likewise y: it is an area, and its value the mean of the photograph over it where that is larger
// than a pixel of the photograph, so thin tracks do not alias; where it is smaller, linear interpolation.
// What lies outside the photograph is black. Cost: proportional to the larger of both pixel counts, in parallel.
#pragma once

#include <opencv2/core.hpp>

#include "eyelet/core/geometry.h"
#include "eyelet/photo/camera.h"

namespace eyelet {

// The pixels that a box of the board takes: its size times the scale, rounded up.
[[nodiscard]] cv::Size rectified_size(Box board_box_mm, double px_per_mm);

// REQUIRES: photo 8-bit (or float) of one to four channels, not empty; px_per_mm > 0; a box of positive size.
[[nodiscard]] cv::Mat rectify(const cv::Mat& photo, const Camera& camera, Box board_box_mm, double px_per_mm);

// The whole board with a margin around it.
[[nodiscard]] cv::Mat rectify(const cv::Mat& photo, const Camera& camera, Size board_mm, double px_per_mm,
                              double margin_mm = 0);

}  // namespace eyelet
