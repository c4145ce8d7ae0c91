#include "eyelet/photo/image.h"

#include <unistd.h>

#include <fstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>
#include <vips/vips8>

namespace eyelet {
namespace {

using testing::HasSubstr;

// A picture that shows any turn or mirroring: red, green, blue and white quarters.
cv::Mat quarters(int width = 96, int height = 64) {
    cv::Mat bgr(height, width, CV_8UC3);
    bgr(cv::Rect(0, 0, width / 2, height / 2)) = cv::Scalar(0, 0, 255);
    bgr(cv::Rect(width / 2, 0, width / 2, height / 2)) = cv::Scalar(0, 255, 0);
    bgr(cv::Rect(0, height / 2, width / 2, height / 2)) = cv::Scalar(255, 0, 0);
    bgr(cv::Rect(width / 2, height / 2, width / 2, height / 2)) = cv::Scalar(255, 255, 255);
    return bgr;
}

cv::Mat noise(int width, int height) {
    cv::Mat pixels(height, width, CV_8UC3);
    cv::RNG rng(7);
    rng.fill(pixels, cv::RNG::UNIFORM, 0, 256);
    return pixels;
}

vips::VImage to_vips_rgb(const cv::Mat& bgr, cv::Mat& rgb) {
    cv::cvtColor(bgr, rgb, cv::COLOR_BGR2RGB);
    return vips::VImage::new_from_memory(rgb.data, rgb.total() * 3, rgb.cols, rgb.rows, 3, VIPS_FORMAT_UCHAR)
        .copy(vips::VImage::option()->set("interpretation", VIPS_INTERPRETATION_sRGB));
}

std::vector<std::byte> written(const vips::VImage& image, const char* suffix) {
    void* data = nullptr;
    std::size_t length = 0;
    image.write_to_buffer(suffix, &data, &length);
    const auto* bytes = static_cast<const std::byte*>(data);
    std::vector<std::byte> result(bytes, bytes + length);
    g_free(data);
    return result;
}

cv::Vec3b at_quarter(const cv::Mat& bgr, int right, int lower) {
    return bgr.at<cv::Vec3b>(bgr.rows * (1 + 2 * lower) / 4, bgr.cols * (1 + 2 * right) / 4);
}

void expect_colour(const cv::Vec3b& got, const cv::Vec3b& wanted, int tolerance) {
    for (int i = 0; i < 3; ++i) EXPECT_NEAR(got[i], wanted[i], tolerance) << "channel " << i;
}

const cv::Vec3b kRed(0, 0, 255);
const cv::Vec3b kGreen(0, 255, 0);
const cv::Vec3b kBlue(255, 0, 0);
const cv::Vec3b kWhite(255, 255, 255);

TEST(Image, PngComesBackBitForBit) {
    const cv::Mat pixels = noise(70, 50);
    const auto bytes = encode_png(pixels);
    ASSERT_TRUE(bytes.ok());
    const auto image = decode(bytes.value(), "noise");
    ASSERT_TRUE(image.ok()) << image.error().message;
    EXPECT_EQ(image.value().format, ImageFormat::png);
    EXPECT_EQ(cv::norm(image.value().bgr, pixels, cv::NORM_INF), 0);
}

TEST(Image, GreyBecomesThreeEqualChannels) {
    cv::Mat grey(20, 30, CV_8UC1);
    for (int r = 0; r < grey.rows; ++r)
        for (int c = 0; c < grey.cols; ++c) grey.at<std::uint8_t>(r, c) = static_cast<std::uint8_t>(8 * c);
    const auto image = decode(encode_png(grey).value(), "grey");
    ASSERT_TRUE(image.ok()) << image.error().message;
    EXPECT_EQ(image.value().bgr.at<cv::Vec3b>(3, 5), cv::Vec3b(40, 40, 40));
}

TEST(Image, ReadsEveryFormatItNames) {
    cv::Mat rgb;
    const auto source = [&] { return to_vips_rgb(quarters(), rgb); };
    const struct {
        const char* suffix;
        ImageFormat format;
    } cases[] = {{".jpg[Q=95]", ImageFormat::jpeg}, {".png", ImageFormat::png}, {".tif", ImageFormat::tiff},
                 {".webp[lossless]", ImageFormat::webp}, {".heic[Q=95]", ImageFormat::heif}};
    ASSERT_TRUE(encode_png(quarters()).ok());  // starts libvips
    for (const auto& c : cases) {
        SCOPED_TRACE(c.suffix);
        // HEIF comes with libvips only where the system has its codecs.
        if (c.format == ImageFormat::heif && vips_foreign_find_save_buffer(".heic") == nullptr) {
            vips_error_clear();
            continue;
        }
        const auto bytes = written(source(), c.suffix);
        const auto info = probe(bytes, c.suffix);
        ASSERT_TRUE(info.ok()) << info.error().message;
        EXPECT_EQ(info.value().format, c.format);
        EXPECT_EQ(info.value().width_px, 96);
        EXPECT_EQ(info.value().height_px, 64);
        const auto image = decode(bytes, c.suffix);
        ASSERT_TRUE(image.ok()) << image.error().message;
        expect_colour(at_quarter(image.value().bgr, 0, 0), kRed, 3);
        expect_colour(at_quarter(image.value().bgr, 1, 0), kGreen, 3);
        expect_colour(at_quarter(image.value().bgr, 0, 1), kBlue, 3);
        expect_colour(at_quarter(image.value().bgr, 1, 1), kWhite, 3);
    }
}

TEST(Image, SixteenBitsAreBroughtToEight) {
    ASSERT_TRUE(encode_png(quarters()).ok());
    cv::Mat rgb;
    const vips::VImage wide = to_vips_rgb(quarters(), rgb).colourspace(VIPS_INTERPRETATION_RGB16);
    ASSERT_EQ(wide.format(), VIPS_FORMAT_USHORT);
    for (const char* suffix : {".png", ".tif"}) {
        const auto image = decode(written(wide, suffix), suffix);
        ASSERT_TRUE(image.ok()) << image.error().message;
        ASSERT_EQ(image.value().bgr.type(), CV_8UC3);
        expect_colour(at_quarter(image.value().bgr, 0, 0), kRed, 1);
        expect_colour(at_quarter(image.value().bgr, 1, 1), kWhite, 1);
    }
}

TEST(Image, TransparencyIsLaidOnWhite) {
    cv::Mat bgra(32, 32, CV_8UC4, cv::Scalar(0, 0, 0, 0));
    bgra(cv::Rect(16, 0, 16, 32)) = cv::Scalar(10, 20, 30, 255);
    const auto image = decode(encode_png(bgra).value(), "see-through");
    ASSERT_TRUE(image.ok()) << image.error().message;
    EXPECT_EQ(image.value().bgr.at<cv::Vec3b>(5, 5), kWhite);
    EXPECT_EQ(image.value().bgr.at<cv::Vec3b>(5, 25), cv::Vec3b(10, 20, 30));
}

// Exif 2.3, tag 0x0112: what the stored rows and columns are in the upright picture. The expected
// quarters are written out from the standard's table, not computed.
TEST(Image, AppliesTheCamerasOrientation) {
    ASSERT_TRUE(encode_png(quarters()).ok());
    const struct {
        int orientation;
        cv::Vec3b upper_left, upper_right;
        bool turned;
    } cases[] = {{1, kRed, kGreen, false},  {2, kGreen, kRed, false},  {3, kWhite, kBlue, false}, {4, kBlue, kWhite, false},
                 {5, kRed, kBlue, true},    {6, kBlue, kRed, true},    {7, kWhite, kGreen, true}, {8, kGreen, kWhite, true}};
    for (const auto& c : cases) {
        SCOPED_TRACE(c.orientation);
        cv::Mat rgb;
        vips::VImage image = to_vips_rgb(quarters(), rgb).copy();
        image.set(VIPS_META_ORIENTATION, c.orientation);
        const auto bytes = written(image, ".jpg[Q=98]");
        const auto info = probe(bytes, "turned");
        ASSERT_TRUE(info.ok()) << info.error().message;
        EXPECT_EQ(info.value().width_px, c.turned ? 64 : 96);
        const auto decoded = decode(bytes, "turned");
        ASSERT_TRUE(decoded.ok()) << decoded.error().message;
        ASSERT_EQ(decoded.value().bgr.cols, c.turned ? 64 : 96);
        expect_colour(at_quarter(decoded.value().bgr, 0, 0), c.upper_left, 6);
        expect_colour(at_quarter(decoded.value().bgr, 1, 0), c.upper_right, 6);
    }
}

// A picture in the wide P3 gamut: its full red is outside sRGB, its half red has an sRGB value that differs.
TEST(Image, RespectsTheEmbeddedProfile) {
    ASSERT_TRUE(encode_png(quarters()).ok());
    cv::Mat rgb;
    const cv::Mat flat(64, 64, CV_8UC3, cv::Scalar(60, 80, 160));
    const vips::VImage p3 = to_vips_rgb(flat, rgb).icc_transform(
        "p3", vips::VImage::option()->set("input_profile", "srgb")->set("intent", VIPS_INTENT_RELATIVE));
    const auto stored = p3.getpoint(5, 5);
    ASSERT_GT(std::abs(stored[0] - 160) + std::abs(stored[1] - 80) + std::abs(stored[2] - 60), 8) << "the profiles do not differ";
    const auto image = decode(written(p3, ".png"), "wide gamut");
    ASSERT_TRUE(image.ok()) << image.error().message;
    expect_colour(image.value().bgr.at<cv::Vec3b>(5, 5), cv::Vec3b(60, 80, 160), 2);
}

TEST(Image, RefusesAPictureThatDeclaresTooManyPixels) {
    // A PNG of 45 bytes whose header declares 40,000 x 40,000 (CRC by the W3C PNG specification's polynomial).
    std::vector<std::uint8_t> png = {0x89, 'P', 'N', 'G', '\r', '\n', 0x1A, '\n', 0, 0, 0, 13, 'I', 'H', 'D', 'R',
                                     0, 0, 0x9C, 0x40, 0, 0, 0x9C, 0x40, 8, 2, 0, 0, 0};
    std::uint32_t crc = 0xFFFFFFFF;
    for (std::size_t i = 12; i < png.size(); ++i) {
        crc ^= png[i];
        for (int bit = 0; bit < 8; ++bit) crc = (crc & 1) != 0 ? (crc >> 1) ^ 0xEDB88320 : crc >> 1;
    }
    crc = ~crc;
    for (int shift : {24, 16, 8, 0}) png.push_back(static_cast<std::uint8_t>(crc >> shift));
    png.insert(png.end(), {0, 0, 0, 0, 'I', 'D', 'A', 'T', 0x35, 0xAF, 0x06, 0x1E});
    const auto bytes = std::as_bytes(std::span(png));
    for (const std::string& message : {probe(bytes, "huge.png").error().message, decode(bytes, "huge.png").error().message}) {
        EXPECT_THAT(message, HasSubstr("huge.png"));
        EXPECT_THAT(message, HasSubstr("40000 x 40000"));
        EXPECT_THAT(message, HasSubstr("300 megapixels"));
        EXPECT_EQ(message.find('\n'), std::string::npos);
    }
}

TEST(Image, RefusesAPictureCutShort) {
    ASSERT_TRUE(encode_png(quarters()).ok());
    cv::Mat rgb;
    for (const char* suffix : {".jpg", ".png", ".tif", ".webp"}) {
        const auto whole = written(to_vips_rgb(noise(400, 300), rgb), suffix);
        ASSERT_TRUE(decode(whole, "whole").ok());
        for (double share : {0.01, 0.3, 0.6, 0.95}) {
            SCOPED_TRACE(std::string(suffix) + " " + std::to_string(share));
            const auto cut = std::span(whole).first(static_cast<std::size_t>(share * static_cast<double>(whole.size())));
            const auto image = decode(cut, "cut");
            ASSERT_FALSE(image.ok());
            EXPECT_EQ(image.error().code, ErrorCode::bad_input);
            EXPECT_THAT(image.error().message, HasSubstr("photograph cut"));
            EXPECT_THAT(image.error().message, HasSubstr("truncated"));
            EXPECT_EQ(image.error().message.find('\n'), std::string::npos);
        }
    }
}

TEST(Image, RefusesWhatIsNoPicture) {
    const std::string text = "Position the board so that both ends are sharp.";
    const auto image = decode(std::as_bytes(std::span(text)), "notes.jpg");
    ASSERT_FALSE(image.ok());
    EXPECT_THAT(image.error().message, HasSubstr("notes.jpg: this is not a picture"));
    // A drawing that a general image library would gladly run: it is not one of the formats read.
    const std::string svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"99\" height=\"99\"/>";
    EXPECT_FALSE(probe(std::as_bytes(std::span(svg)), "drawing.svg").ok());
}

TEST(Image, RefusesEmptyAndTiny) {
    EXPECT_THAT(decode(std::span<const std::byte>(), "none").error().message, HasSubstr("empty"));
    const cv::Mat dot(1, 1, CV_8UC3, cv::Scalar(1, 2, 3));
    EXPECT_THAT(decode(encode_png(dot).value(), "dot").error().message, HasSubstr("1 x 1 pixels are too few"));
}

TEST(Image, RefusesAFileThatIsNotThereOrTooLong) {
    EXPECT_EQ(decode(std::filesystem::path("/nowhere/board.jpg")).error().code, ErrorCode::not_found);
    EXPECT_THAT(decode(std::filesystem::temp_directory_path()).error().message, HasSubstr("folder"));
    DecodeLimits limits;
    limits.max_file_bytes = 100;
    EXPECT_THAT(decode(encode_png(noise(40, 40)).value(), "long", limits).error().message, HasSubstr("at most 100"));
}

TEST(Image, ReadsFromAFile) {
    const auto file = std::filesystem::temp_directory_path() / ("eyelet_image_test_" + std::to_string(getpid()) + "_ü.png");
    const cv::Mat pixels = noise(40, 30);
    const auto bytes = encode_png(pixels).value();
    std::ofstream(file, std::ios::binary).write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    const auto image = decode(file);
    const auto info = probe(file);
    std::filesystem::remove(file);
    ASSERT_TRUE(image.ok()) << image.error().message;
    ASSERT_TRUE(info.ok()) << info.error().message;
    EXPECT_EQ(info.value().width_px, 40);
    EXPECT_EQ(cv::norm(image.value().bgr, pixels, cv::NORM_INF), 0);
}

TEST(Image, JpegQualityIsChecked) {
    EXPECT_FALSE(encode_jpeg(quarters(), 0).ok());
    EXPECT_FALSE(encode_jpeg(cv::Mat(8, 8, CV_32F), 90).ok());
    const auto low = encode_jpeg(noise(200, 200), 20);
    const auto high = encode_jpeg(noise(200, 200), 95);
    ASSERT_TRUE(low.ok() && high.ok());
    EXPECT_LT(low.value().size(), high.value().size());
}

}  // namespace
}  // namespace eyelet
