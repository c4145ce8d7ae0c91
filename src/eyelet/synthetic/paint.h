// Photographs of invented boards: a pinhole camera with slight tilt and lens distortion over a painted board
// on a bench, in uneven light, with shadows, blur and noise. The camera follows board/camera.h exactly for
// the board's surface; parts stand above it, hide what is behind them and lean outward.
#pragma once

#include <cstdint>
#include <vector>

#include "eyelet/board/camera.h"
#include "eyelet/synthetic/canvas.h"
#include "eyelet/synthetic/layout.h"

namespace eyelet::synthetic {

struct Shot {
    Side side = Side::component;
    int width_px = 3000;
    int height_px = 2000;
    double fill = 0.86;       // share of the frame that the board takes, along the tighter direction
    double tilt_x_deg = 2.5;  // the camera leans about the two axes of the picture
    double tilt_y_deg = -2.0;
    double turn_deg = 0.8;           // the board lies turned
    double distance_boards = 2.6;    // camera above the board, in lengths of the board's longer side
    double k1 = -0.012;              // of the lens, see board/camera.h
    double lamp_elevation_deg = 55;  // lower throws longer shadows
    double lamp_unevenness = 0.18;   // bright towards the lamp, dark away from it
    double vignetting = 0.15;        // light lost in the corners
    Colour tint{1.0F, 0.985F, 0.96F};
    double exposure = 1.0;
    double blur_px = 0.6;  // deviation of the blur
    double noise = 0.012;  // deviation of the noise at middle grey, full scale 1
    std::uint64_t seed = 1;
};

struct Photograph {
    Side side = Side::component;
    int width = 0;
    int height = 0;
    std::vector<std::uint8_t> rgb;  // row by row, 3 bytes a pixel
    Camera camera;                  // the truth
    double surface_seen = 1;        // share of the board's surface that parts leave to be seen
};

// The camera that the shot would have over a board of this size.
[[nodiscard]] Camera camera_of(const Shot& shot, Size board_mm);
// REQUIRES: layers of this layout; about as many pixels per millimetre as the photograph shows are enough.
[[nodiscard]] Photograph take(const Layout& layout, const Layers& layers, const Paint& paint,
                              const Shot& shot);

// Pixels per millimetre in the middle of such a shot, for choosing the layers' scale.
[[nodiscard]] double px_per_mm(const Shot& shot, Size board_mm);

}  // namespace eyelet::synthetic
