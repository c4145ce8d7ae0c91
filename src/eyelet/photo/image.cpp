#include "eyelet/photo/image.h"

#include <memory>
#include <utility>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>
#include <vips/vips8>

#include "eyelet/photo/photo_source.h"
#include "eyelet/photo/vips_setup.h"

namespace eyelet {

const char* name_of(ImageFormat format) {
    switch (format) {
        case ImageFormat::jpeg: return "JPEG";
        case ImageFormat::png: return "PNG";
        case ImageFormat::tiff: return "TIFF";
        case ImageFormat::webp: return "WebP";
        case ImageFormat::heif: return "HEIF";
    }
    return "";
}

const char* media_type_of(ImageFormat format) {
    switch (format) {
        case ImageFormat::jpeg: return "image/jpeg";
        case ImageFormat::png: return "image/png";
        case ImageFormat::tiff: return "image/tiff";
        case ImageFormat::webp: return "image/webp";
        case ImageFormat::heif: return "image/heif";
    }
    return "";
}

namespace {

ImageInfo info_of(const OpenedPhoto& opened) {
    ImageInfo info{opened.image.width(), opened.image.height(), opened.format};
    if (opened.on_its_side()) std::swap(info.width_px, info.height_px);
    return info;
}

// Turns the picture upright; meanings of 1 to 8 from Exif 2.3, tag 0x0112.
cv::Mat upright(const cv::Mat& stored, int orientation) {
    cv::Mat turned;
    switch (orientation) {
        case 2: cv::flip(stored, turned, 1); return turned;
        case 3: cv::rotate(stored, turned, cv::ROTATE_180); return turned;
        case 4: cv::flip(stored, turned, 0); return turned;
        case 5: cv::transpose(stored, turned); return turned;
        case 6: cv::rotate(stored, turned, cv::ROTATE_90_CLOCKWISE); return turned;
        case 7: cv::transpose(stored, turned); cv::rotate(turned, turned, cv::ROTATE_180); return turned;
        case 8: cv::rotate(stored, turned, cv::ROTATE_90_COUNTERCLOCKWISE); return turned;
        default: return stored;
    }
}

Result<Image> decode(const PhotoSource& source, const DecodeLimits& limits) {
    EYELET_ASSIGN(OpenedPhoto opened, open_photo_header(source, limits));
    Image result;
    result.format = opened.format;
    try {
        const vips::VImage srgb = to_srgb(opened.image);
        if (srgb.bands() != 3)
            return bad_input(fmt::format("photograph {}: {} colour channels; one, three or four are read", source.name, srgb.bands()));
        std::size_t length = 0;
        const std::unique_ptr<void, decltype(&g_free)> rgb(srgb.write_to_memory(&length), g_free);
        const cv::Mat view(srgb.height(), srgb.width(), CV_8UC3, rgb.get());
        cv::cvtColor(view, result.bgr, cv::COLOR_RGB2BGR);
    } catch (const vips::VError&) {
        return damaged_photo(source, opened.format);
    } catch (const cv::Exception&) {
        return unavailable(fmt::format("photograph {}: there is not enough memory for {} x {} pixels", source.name,
                                       opened.image.width(), opened.image.height()));
    }
    result.bgr = upright(result.bgr, opened.orientation);
    return result;
}

// The pixels as a libvips image in RGB order. The copy must outlive the image.
vips::VImage to_vips(const cv::Mat& pixels, cv::Mat& rgb) {
    switch (pixels.channels()) {
        case 3: cv::cvtColor(pixels, rgb, cv::COLOR_BGR2RGB); break;
        case 4: cv::cvtColor(pixels, rgb, cv::COLOR_BGRA2RGBA); break;
        default: rgb = pixels.isContinuous() ? pixels : pixels.clone(); break;
    }
    return vips::VImage::new_from_memory(rgb.data, rgb.total() * rgb.elemSize(), rgb.cols, rgb.rows, rgb.channels(), VIPS_FORMAT_UCHAR)
        .copy(vips::VImage::option()->set("interpretation", rgb.channels() >= 3 ? VIPS_INTERPRETATION_sRGB : VIPS_INTERPRETATION_B_W));
}

std::vector<std::byte> to_bytes(VipsBlob* blob) {
    std::size_t length = 0;
    const auto* data = static_cast<const std::byte*>(vips_blob_get(blob, &length));
    std::vector<std::byte> bytes(data, data + length);
    vips_area_unref(VIPS_AREA(blob));
    return bytes;
}

}  // namespace

Result<ImageInfo> probe(const std::filesystem::path& file, const DecodeLimits& limits) {
    EYELET_ASSIGN(const PhotoSource source, open_photo(file, limits));
    EYELET_ASSIGN(const OpenedPhoto opened, open_photo_header(source, limits));
    return info_of(opened);
}

Result<ImageInfo> probe(std::span<const std::byte> bytes, std::string_view name, const DecodeLimits& limits) {
    EYELET_ASSIGN(const PhotoSource source, open_photo(bytes, name, limits));
    EYELET_ASSIGN(const OpenedPhoto opened, open_photo_header(source, limits));
    return info_of(opened);
}

Result<Image> decode(const std::filesystem::path& file, const DecodeLimits& limits) {
    EYELET_ASSIGN(const PhotoSource source, open_photo(file, limits));
    return decode(source, limits);
}

Result<Image> decode(std::span<const std::byte> bytes, std::string_view name, const DecodeLimits& limits) {
    EYELET_ASSIGN(const PhotoSource source, open_photo(bytes, name, limits));
    return decode(source, limits);
}

Result<std::vector<std::byte>> encode_jpeg(const cv::Mat& pixels, int quality) {
    EYELET_TRY(start_vips());
    if (pixels.empty() || (pixels.type() != CV_8UC1 && pixels.type() != CV_8UC3))
        return bad_input("a JPEG is written from 8-bit pixels of one or three channels");
    if (quality < 1 || quality > 100) return bad_input(fmt::format("JPEG quality {}: 1 to 100 is right", quality));
    try {
        cv::Mat rgb;
        return to_bytes(to_vips(pixels, rgb).jpegsave_buffer(vips::VImage::option()->set("Q", quality)));
    } catch (const vips::VError&) {
        return unavailable(fmt::format("the JPEG could not be written ({})", take_vips_error()));
    }
}

Result<std::vector<std::byte>> encode_png(const cv::Mat& pixels) {
    EYELET_TRY(start_vips());
    if (pixels.empty() || (pixels.type() != CV_8UC1 && pixels.type() != CV_8UC3 && pixels.type() != CV_8UC4))
        return bad_input("a PNG is written from 8-bit pixels of one, three or four channels");
    try {
        cv::Mat rgb;
        return to_bytes(to_vips(pixels, rgb).pngsave_buffer());
    } catch (const vips::VError&) {
        return unavailable(fmt::format("the PNG could not be written ({})", take_vips_error()));
    }
}

}  // namespace eyelet
