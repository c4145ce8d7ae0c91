#include "eyelet/photo/photo_source.h"

#include <algorithm>
#include <cstring>
#include <fstream>
#include <string_view>
#include <vector>

#include <fmt/format.h>

#include "eyelet/photo/vips_setup.h"

namespace eyelet {

namespace {

constexpr std::size_t kSignatureBytes = 16;

// First bytes of each format: ITU-T T.81 (JPEG), W3C PNG, TIFF 6.0 and BigTIFF, RIFF/WebP container,
// ISO/IEC 23008-12 (HEIF: an ISO base media file with one of the still-picture brands).
std::optional<ImageFormat> format_of(std::string_view start) {
    const auto at = [&](std::size_t offset, std::string_view text) { return start.substr(std::min(offset, start.size()), text.size()) == text; };
    using namespace std::string_view_literals;
    if (at(0, "\xFF\xD8\xFF"sv)) return ImageFormat::jpeg;
    if (at(0, "\x89PNG\r\n\x1A\n"sv)) return ImageFormat::png;
    if (at(0, "II*\0"sv) || at(0, "MM\0*"sv) || at(0, "II+\0"sv) || at(0, "MM\0+"sv)) return ImageFormat::tiff;
    if (at(0, "RIFF"sv) && at(8, "WEBP"sv)) return ImageFormat::webp;
    if (at(4, "ftyp"sv))
        for (std::string_view brand : {"heic"sv, "heix"sv, "hevc"sv, "mif1"sv, "msf1"sv, "heim"sv, "heis"sv, "avif"sv})
            if (at(8, brand)) return ImageFormat::heif;
    return std::nullopt;
}

Status check_length(const PhotoSource& source, const DecodeLimits& limits) {
    if (source.bytes == 0) return bad_input(fmt::format("photograph {}: the file is empty; copy it again", source.name));
    if (source.bytes > limits.max_file_bytes)
        return bad_input(fmt::format("photograph {}: the file has {} bytes; at most {} are read", source.name, source.bytes,
                                     limits.max_file_bytes));
    return {};
}

}  // namespace

Result<PhotoSource> open_photo(const std::filesystem::path& file, const DecodeLimits& limits) {
    EYELET_TRY(start_vips());
    PhotoSource source;
    source.name = file.string();
    std::error_code failure;
    const auto status = std::filesystem::status(file, failure);
    if (status.type() == std::filesystem::file_type::not_found)
        return not_found(fmt::format("photograph {}: there is no such file", source.name));
    if (!std::filesystem::is_regular_file(status))
        return bad_input(fmt::format("photograph {}: this is not a file but a folder or a device", source.name));
    source.bytes = static_cast<std::int64_t>(std::filesystem::file_size(file, failure));
    if (failure) return bad_input(fmt::format("photograph {}: {}", source.name, failure.message()));
    EYELET_TRY(check_length(source, limits));
    std::ifstream stream(file, std::ios::binary);
    source.start.resize(kSignatureBytes);
    stream.read(source.start.data(), static_cast<std::streamsize>(source.start.size()));
    if (stream.bad() || stream.gcount() == 0)
        return bad_input(fmt::format("photograph {}: the file cannot be read; check its permissions", source.name));
    source.start.resize(static_cast<std::size_t>(stream.gcount()));
    try {
        source.vips = vips::VSource::new_from_file(file.c_str());
    } catch (const vips::VError&) {
        return bad_input(fmt::format("photograph {}: the file cannot be opened ({})", source.name, take_vips_error()));
    }
    return source;
}

Result<PhotoSource> open_photo(std::span<const std::byte> bytes, std::string_view name, const DecodeLimits& limits) {
    EYELET_TRY(start_vips());
    PhotoSource source;
    source.name = name;
    source.bytes = static_cast<std::int64_t>(bytes.size());
    EYELET_TRY(check_length(source, limits));
    source.start.resize(std::min(bytes.size(), kSignatureBytes));
    std::memcpy(source.start.data(), bytes.data(), source.start.size());
    try {
        source.vips = vips::VSource::new_from_memory(bytes.data(), bytes.size());
    } catch (const vips::VError&) {
        return bad_input(fmt::format("photograph {}: it cannot be opened ({})", source.name, take_vips_error()));
    }
    return source;
}

Error damaged_photo(const PhotoSource& source, ImageFormat format) {
    std::string reason = take_vips_error();
    if (reason.size() > 160) reason = reason.substr(0, 160) + "...";
    return bad_input(fmt::format("photograph {}: the {} is truncated or damaged ({}); copy the file again, whole",
                                 source.name, name_of(format), reason.empty() ? "no reason given" : reason));
}

Result<OpenedPhoto> open_photo_header(const PhotoSource& source, const DecodeLimits& limits) {
    const auto format = format_of(source.start);
    if (!format)
        return bad_input(fmt::format("photograph {}: this is not a picture; a JPEG, PNG, TIFF, WebP or HEIF file is wanted",
                                     source.name));
    OpenedPhoto opened;
    opened.format = *format;
    try {
        vips::VOption* options = vips::VImage::option()->set("access", VIPS_ACCESS_SEQUENTIAL)->set("fail_on", VIPS_FAIL_ON_TRUNCATED);
        switch (*format) {
            case ImageFormat::jpeg: opened.image = vips::VImage::jpegload_source(*source.vips, options); break;
            case ImageFormat::png: opened.image = vips::VImage::pngload_source(*source.vips, options); break;
            case ImageFormat::tiff: opened.image = vips::VImage::tiffload_source(*source.vips, options); break;
            case ImageFormat::webp: opened.image = vips::VImage::webpload_source(*source.vips, options); break;
            case ImageFormat::heif: opened.image = vips::VImage::heifload_source(*source.vips, options); break;
        }
        if (opened.image.get_typeof(VIPS_META_ORIENTATION) != 0)
            opened.orientation = opened.image.get_int(VIPS_META_ORIENTATION);
        if (opened.orientation < 1 || opened.orientation > 8) opened.orientation = 1;
    } catch (const vips::VError&) {
        return damaged_photo(source, *format);
    }
    const std::int64_t width = opened.image.width();
    const std::int64_t height = opened.image.height();
    if (width * height > limits.max_pixels)
        return bad_input(fmt::format("photograph {}: it declares {} x {} pixels ({} megapixels); at most {} megapixels are read",
                                     source.name, width, height, width * height / 1'000'000, limits.max_pixels / 1'000'000));
    if (std::min(width, height) < limits.min_side_px)
        return bad_input(fmt::format("photograph {}: {} x {} pixels are too few to show a board; each side must have {} or more",
                                     source.name, width, height, limits.min_side_px));
    return opened;
}

namespace {

// The profile says of itself that it is sRGB: converting would cost time and change nothing but rounding.
// The description stands in the profile as ASCII (ICC 2) or UTF-16BE (ICC 4).
bool is_srgb_profile(const vips::VImage& image) {
    std::size_t length = 0;
    const void* data = image.get_blob(VIPS_META_ICC_NAME, &length);
    const std::string_view text(static_cast<const char*>(data), length);
    using namespace std::string_view_literals;
    return text.find("sRGB"sv) != std::string_view::npos || text.find("\0s\0R\0G\0B"sv) != std::string_view::npos;
}

}  // namespace

vips::VImage to_srgb(vips::VImage image) {
    if (image.get_typeof(VIPS_META_ICC_NAME) != 0 && !is_srgb_profile(image)) {
        try {
            image = image.icc_transform("srgb", vips::VImage::option()
                                                    ->set("embedded", true)
                                                    ->set("intent", VIPS_INTENT_RELATIVE)
                                                    ->set("depth", 8));
        } catch (const vips::VError&) {
            vips_error_clear();  // an unusable profile: the picture is shown as if it had none
        }
    }
    if (image.interpretation() != VIPS_INTERPRETATION_sRGB) image = image.colourspace(VIPS_INTERPRETATION_sRGB);
    if (image.has_alpha()) image = image.flatten(vips::VImage::option()->set("background", std::vector<double>{255, 255, 255}));
    if (image.bands() == 1) image = image.bandjoin({image, image});
    if (image.bands() > 3) image = image.extract_band(0, vips::VImage::option()->set("n", 3));
    if (image.format() != VIPS_FORMAT_UCHAR) image = image.cast(VIPS_FORMAT_UCHAR);
    return image;
}

}  // namespace eyelet
