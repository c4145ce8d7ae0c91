// How image.cpp and tiles.cpp open a photograph with libvips. Internal to photo/: libvips is not shown in public
// headers.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <span>
#include <string>
#include <string_view>

#include <vips/vips8>

#include "eyelet/core/result.h"
#include "eyelet/photo/image.h"

namespace eyelet {

// Where the bytes come from, and what messages call it.
struct PhotoSource {
    std::string name;
    std::int64_t bytes = 0;
    std::string start;
    std::optional<vips::VSource> vips;
};

struct OpenedPhoto {
    vips::VImage image;
    ImageFormat format = ImageFormat::jpeg;
    int orientation = 1;  // EXIF: 1 upright, 2 to 8 mirrored or turned

    [[nodiscard]] bool on_its_side() const { return orientation >= 5; }
};

[[nodiscard]] Result<PhotoSource> open_photo(const std::filesystem::path& file, const DecodeLimits& limits);
// The bytes must outlive the source and every image made from it.
[[nodiscard]] Result<PhotoSource> open_photo(std::span<const std::byte> bytes, std::string_view name,
                                             const DecodeLimits& limits);

// Reads the header and holds it against the limits. Decoding has not begun when this returns.
[[nodiscard]] Result<OpenedPhoto> open_photo_header(const PhotoSource& source, const DecodeLimits& limits);

// The pipeline that brings any picture to 8-bit sRGB of three channels. May throw vips::VError.
[[nodiscard]] vips::VImage to_srgb(vips::VImage image);

// The refusal of a picture that could not be decoded whole; takes libvips' error text.
[[nodiscard]] Error damaged_photo(const PhotoSource& source, ImageFormat format);

}  // namespace eyelet
