// Photographs in and out: any file that libvips can read to 8-bit sRGB pixels, upright.
//
// Properties:
//   1. The declared size is checked before a pixel is decoded, so a header that lies costs nothing.
//   2. A picture comes whole or not at all: a truncated or damaged file is refused, never padded with grey.
//   3. The pixels are as a viewer would show them: EXIF orientation applied, an embedded colour profile
//      converted to sRGB, transparency laid on white, 16 bits a channel brought to 8.
//   4. Only JPEG, PNG, TIFF, WebP and HEIF are read, told by their first bytes (never by the file's name).
// Errors: bad_input with one line that names the file, not_found when there is none.
// Every function may be called from several threads at once; libvips is set up on the first call.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <opencv2/core.hpp>

#include "eyelet/core/result.h"

namespace eyelet {

enum class ImageFormat { jpeg, png, tiff, webp, heif };

[[nodiscard]] const char* name_of(ImageFormat format);        // "JPEG"
[[nodiscard]] const char* media_type_of(ImageFormat format);  // "image/jpeg"

struct DecodeLimits {
    // Declared width times height. 300 megapixels is twice the largest camera sensor sold and, at three bytes a
    // pixel, about what a bench computer of 4 GB can hold beside the rest.
    std::int64_t max_pixels = 300'000'000;
    // Size of the file. A 300-megapixel TIFF of 16 bits a channel is 1.8 GB.
    std::int64_t max_file_bytes = std::int64_t{2} << 30;
    // Narrower than this shows no board: a pad of 1.5 mm on a board of 100 mm would be a quarter of a pixel.
    int min_side_px = 16;
};

struct ImageInfo {
    int width_px = 0;   // upright, that is after the EXIF orientation
    int height_px = 0;
    ImageFormat format = ImageFormat::jpeg;
};

struct Image {
    cv::Mat bgr;  // CV_8UC3, sRGB, channels in OpenCV's order
    ImageFormat format = ImageFormat::jpeg;
};

// Size and format from the header alone. `name` is what an error message calls the bytes.
[[nodiscard]] Result<ImageInfo> probe(const std::filesystem::path& file, const DecodeLimits& limits = {});
[[nodiscard]] Result<ImageInfo> probe(std::span<const std::byte> bytes, std::string_view name,
                                      const DecodeLimits& limits = {});

[[nodiscard]] Result<Image> decode(const std::filesystem::path& file, const DecodeLimits& limits = {});
[[nodiscard]] Result<Image> decode(std::span<const std::byte> bytes, std::string_view name,
                                   const DecodeLimits& limits = {});

// `pixels` is CV_8UC1 (grey), CV_8UC3 (BGR) or, for PNG, CV_8UC4 (BGRA). quality: 1 to 100.
[[nodiscard]] Result<std::vector<std::byte>> encode_jpeg(const cv::Mat& pixels, int quality = 90);
[[nodiscard]] Result<std::vector<std::byte>> encode_png(const cv::Mat& pixels);

}  // namespace eyelet
