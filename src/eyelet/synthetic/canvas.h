// One side of a board as it looks straight from above in even light: colours and heights in the board's
// frame. `paint.h` takes the photograph of it.
#pragma once

#include <cstdint>
#include <vector>

#include "eyelet/synthetic/layers.h"
#include "eyelet/synthetic/layout.h"

namespace eyelet::synthetic {

struct Colour {
    float red = 0, green = 0, blue = 0;  // as shown on a screen (gamma applied), 0 to 1
};

enum class Finish { tin, gilt, bare_copper };
enum class Fitted { bare, populated };

// Electrolyte that ran out and dried.
struct Stain {
    Point centre;
    double radius_mm = 6;
    double strength = 0.6;  // 0 to 1
    Side side = Side::component;
};

struct Paint {
    Colour mask_over_laminate{0.05F, 0.27F, 0.15F};
    Colour mask_over_copper{0.08F, 0.38F, 0.20F};  // may be lighter or darker than over the laminate
    Colour laminate{0.72F, 0.65F, 0.42F};          // where neither mask nor copper covers it
    Colour print{0.93F, 0.93F, 0.90F};
    Finish finish = Finish::tin;
    Fitted fitted = Fitted::populated;
    double relief = 0.10;  // brightness of copper edges under side light; 0 none
    double light_from_deg =
        135;  // where the lamp stands, counter-clockwise from the right as seen in the board's frame
    double ghost = 0.03;  // how much of the other side's copper shines through
    std::vector<Stain> stains;
    std::uint64_t seed = 1;  // of grain and unevenness
};

struct Canvas {
    double px_per_mm = 0;
    int width = 0;
    int height = 0;
    std::vector<std::uint8_t> rgb;           // width * height * 3
    std::vector<std::uint8_t> height_100um;  // of what stands there, 0.1 mm
    std::vector<std::uint8_t> drilled;       // coverage of open holes
};

[[nodiscard]] Canvas compose(const Layout& layout, const Layers& layers, const Paint& paint, Side side);

// Smooth noise, 0 to 1, with features of about one unit; the same for the same place and seed.
[[nodiscard]] double soft_noise(double x, double y, std::uint64_t seed);
// White noise, 0 to 1.
[[nodiscard]] inline double grain(int x, int y, std::uint64_t seed) {
    std::uint64_t z = seed + static_cast<std::uint64_t>(x) * 0x9E3779B97F4A7C15ULL +
                      static_cast<std::uint64_t>(y) * 0xC2B2AE3D27D4EB4FULL;
    z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9ULL;
    z = (z ^ (z >> 27)) * 0x94D049BB133111EBULL;
    return static_cast<double>((z ^ (z >> 31)) >> 11) * 0x1.0p-53;
}

}  // namespace eyelet::synthetic
