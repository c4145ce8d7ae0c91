// Picture pyramids for deep zoom: a folder of small JPEGs, so that a page fetches only what it shows.
//
// Layout (the Deep Zoom layout, without overlap): FOLDER/LEVEL/COLUMN_ROW.jpg, tiles of 256 x 256 pixels (smaller
// at the right and lower edge), JPEG of quality 85. The last level, `levels - 1`, has the full size; each level
// before it half of the next, rounded up; level 0 is one pixel. FOLDER/pyramid.txt holds the size.
//
// Properties:
//   1. Atomic: FOLDER is there whole or not at all. It is written beside its place, brought to the disk, then renamed.
//   2. Idempotent: where FOLDER is whole already it is left as it is. Two makers at once do no harm.
// Cost: about that of libvips' own dzsave, in bounded memory where the source is a file.
#pragma once

#include <cstddef>
#include <filesystem>
#include <optional>
#include <span>
#include <string_view>

#include <opencv2/core.hpp>

#include "eyelet/core/geometry.h"
#include "eyelet/core/result.h"
#include "eyelet/photo/camera.h"
#include "eyelet/photo/image.h"

namespace eyelet {

struct Pyramid {
    int width_px = 0;  // of the full size
    int height_px = 0;
    int tile_px = 256;
    int levels = 0;
    friend bool operator==(const Pyramid&, const Pyramid&) = default;
};

// What a whole pyramid of this size has: 256-pixel tiles, levels down to one pixel.
[[nodiscard]] Pyramid pyramid_of_size(int width_px, int height_px);

// The pyramid in `folder`; none if the folder is not there or not a whole pyramid.
[[nodiscard]] std::optional<Pyramid> find_pyramid(const std::filesystem::path& folder);

// From a photograph's file or its bytes, upright and in sRGB as `decode` gives it, without holding it all in
// memory. Errors: those of decode(); storage when the disk is full or the place cannot be written.
[[nodiscard]] Result<Pyramid> make_pyramid(const std::filesystem::path& photo, const std::filesystem::path& folder,
                                           const DecodeLimits& limits = {});
[[nodiscard]] Result<Pyramid> make_pyramid(std::span<const std::byte> photo, std::string_view name,
                                           const std::filesystem::path& folder, const DecodeLimits& limits = {});

// From pixels in memory: CV_8UC1 or CV_8UC3 (BGR).
[[nodiscard]] Result<Pyramid> make_pyramid(const cv::Mat& pixels, const std::filesystem::path& folder);

// Of a side seen straight from above in the board's frame (photo/rectify.h): pyramids of both sides made with the
// same board size, scale and margin lie on each other pixel for pixel. Pixel (0, 0) begins at (-margin, -margin).
[[nodiscard]] Result<Pyramid> make_rectified_pyramid(const cv::Mat& photo, const Camera& camera, Size board_mm,
                                                     double px_per_mm, double margin_mm,
                                                     const std::filesystem::path& folder);

}  // namespace eyelet
