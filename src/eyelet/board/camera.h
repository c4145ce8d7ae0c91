// Where a point of a board appears in one photograph of it: a homography followed by one radial term.
//
// For a point (x, y) in millimetres, (u, v) = H (x, y, 1) projected; with d = (u, v) - centre and
// r2 = |d|^2 / radius^2 the pixel is centre + d (1 + k1 r2). A pixel's centre is at whole numbers.
// The model holds for the board's surface; parts stand above it and lean outward.
// Source of the radial term: D. C. Brown, "Close-range camera calibration", Photogrammetric Engineering 37 (1971),
// first coefficient only, applied from the ideal to the observed point.
#pragma once

#include <array>

#include "eyelet/core/geometry.h"

namespace eyelet {

struct Camera {
    std::array<double, 9> photo_from_board{1, 0, 0, 0, 1, 0, 0, 0, 1};  // row by row
    double k1 = 0;
    Point centre_px;
    double radius_px = 1;

    [[nodiscard]] Point to_photo(Point board_mm) const;
    // Inverse of to_photo to better than 1e-6 px for |k1| up to 0.2.
    [[nodiscard]] Point to_board(Point photo_px) const;
    // The photograph shows the board from behind (the solder side): its homography turns handedness.
    [[nodiscard]] bool mirrored() const;
    // Pixels per millimetre at a point of the board (square root of the area scale).
    [[nodiscard]] double px_per_mm(Point board_mm) const;
};

}  // namespace eyelet
