// Areas of a side that the photograph does not show, as polygons, each with its likeliest cause.
#pragma once

#include <vector>

#include <opencv2/core.hpp>

#include "eyelet/board/evidence.h"
#include "eyelet/photo/pad_raster.h"

namespace eyelet {

// `hidden` CV_8U, 1 where hidden; `copper` CV_32F. An area that lies mostly under bodies of parts of that side is
// hidden by a part; a thin one by print; any other by glare. Visible areas where the evidence stays near
// even odds over more than `least_mm2` are told as blur.
[[nodiscard]] std::vector<Unseen> find_unseen(const Assembly& assembly, BoardIndex board, Side side, const cv::Mat& hidden,
                                              const cv::Mat& copper, const PixelGrid& grid, double least_mm2);

}  // namespace eyelet
