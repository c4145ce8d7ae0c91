// A layout as pictures: one 8-bit plane for each thing that a painter needs, with smooth edges. Both sides
// are given in the board's frame, not mirrored: pixel (column c, row r) covers x = c/s .. (c+1)/s
// millimetres.
#pragma once

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "eyelet/synthetic/layout.h"

namespace eyelet::synthetic {

// Places in a layer file, in this order. Coverage: 0 none to 255 all of the pixel.
enum class Layer {
    copper = 0,       // coverage, pads included, holes left filled
    mask_open = 1,    // coverage of the openings in the solder mask
    print = 2,        // coverage of the silkscreen, cut off the openings
    hole = 3,         // coverage of drilled holes
    part_kind = 4,    // Look of what stands uppermost there, 0 none
    part_height = 5,  // its height over the surface in 0.1 mm, up to 25.5 mm
    pad = 6,          // coverage of pads and vias as a survey knows them
    solder = 7,       // height of solder when parts are fitted, in 0.01 mm, up to 2.55 mm
};
inline constexpr int kLayerCount = 8;

struct Plane {
    int width = 0;
    int height = 0;
    std::vector<std::uint8_t> pixels;

    [[nodiscard]] std::uint8_t& at(int column, int row) {
        return pixels[static_cast<std::size_t>(row) * static_cast<std::size_t>(width) +
                      static_cast<std::size_t>(column)];
    }
    [[nodiscard]] std::uint8_t at(int column, int row) const {
        return pixels[static_cast<std::size_t>(row) * static_cast<std::size_t>(width) +
                      static_cast<std::size_t>(column)];
    }
};

struct Layers {
    double px_per_mm = 0;
    Plane planes[2][kLayerCount];  // component side, solder side

    [[nodiscard]] const Plane& of(Side side, Layer layer) const {
        return planes[side == Side::component ? 0 : 1][static_cast<int>(layer)];
    }
};

[[nodiscard]] Layers draw_layers(const Layout& layout, double px_per_mm);

// A figure into a plane: each pixel becomes the greater of what it was and the coverage.
void draw(const Shape& shape, double px_per_mm, Plane& plane);

// The layers as one array of unsigned bytes [2 sides][8 layers][height][width] in the `.npy` format,
// version 1.0 (format: NumPy enhancement proposal 1).
[[nodiscard]] std::string npy(const Layers& layers);

}  // namespace eyelet::synthetic
