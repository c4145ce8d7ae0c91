#include "eyelet/photo/tiles.h"

#include <sys/resource.h>
#include <unistd.h>

#include <atomic>
#include <csignal>
#include <fstream>
#include <set>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

namespace eyelet {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;

class Tiles : public testing::Test {
  protected:
    void SetUp() override {
        root_ = fs::temp_directory_path() /
                ("eyelet_tiles_" + std::to_string(getpid()) + "_" + testing::UnitTest::GetInstance()->current_test_info()->name());
        fs::remove_all(root_);
        fs::create_directories(root_);
    }
    void TearDown() override { fs::remove_all(root_); }

    // No half-made folder stays beside the pyramid.
    std::set<std::string> left_in_root() const {
        std::set<std::string> names;
        for (const auto& entry : fs::directory_iterator(root_)) names.insert(entry.path().filename().string());
        return names;
    }
    fs::path root_;
};

cv::Mat slopes(int width, int height) {
    cv::Mat pixels(height, width, CV_8UC3);
    for (int r = 0; r < height; ++r)
        for (int c = 0; c < width; ++c)
            pixels.at<cv::Vec3b>(r, c) = cv::Vec3b(static_cast<std::uint8_t>(255 * c / width), static_cast<std::uint8_t>(255 * r / height), 90);
    return pixels;
}

cv::Mat tile(const fs::path& folder, int level, int column, int row) {
    DecodeLimits any_size;
    any_size.min_side_px = 1;
    auto image = decode(folder / std::to_string(level) / (std::to_string(column) + "_" + std::to_string(row) + ".jpg"), any_size);
    EXPECT_TRUE(image.ok()) << (image.ok() ? "" : image.error().message);
    return image.ok() ? image.value().bgr : cv::Mat();
}

TEST_F(Tiles, LayTheWholePictureInKnownPlaces) {
    const cv::Mat pixels = slopes(700, 300);
    const auto made = make_pyramid(pixels, root_ / "a");
    ASSERT_TRUE(made.ok()) << made.error().message;
    EXPECT_EQ(made.value().width_px, 700);
    EXPECT_EQ(made.value().height_px, 300);
    EXPECT_EQ(made.value().levels, 11);  // 1 2 3 6 11 22 44 88 175 350 700
    EXPECT_THAT(left_in_root(), testing::ElementsAre("a"));
    const int full = made.value().levels - 1;
    for (int column = 0; column < 3; ++column)
        for (int row = 0; row < 2; ++row) {
            const cv::Rect place = cv::Rect(column * 256, row * 256, 256, 256) & cv::Rect(0, 0, 700, 300);
            const cv::Mat got = tile(root_ / "a", full, column, row);
            ASSERT_EQ(got.size(), place.size());
            EXPECT_LT(cv::norm(got, pixels(place), cv::NORM_L1) / static_cast<double>(got.total() * 3), 2.0);
        }
    EXPECT_EQ(tile(root_ / "a", full - 1, 1, 0).size(), cv::Size(94, 150));
    EXPECT_EQ(tile(root_ / "a", 0, 0, 0).size(), cv::Size(1, 1));
    EXPECT_FALSE(fs::exists(root_ / "a" / std::to_string(full) / "3_0.jpg"));
    EXPECT_FALSE(fs::exists(root_ / "a" / std::to_string(full + 1)));
}

TEST_F(Tiles, FromAFileAreTheSameAsFromItsPixels) {
    const cv::Mat pixels = slopes(400, 500);
    const auto bytes = encode_png(pixels).value();
    ASSERT_TRUE(make_pyramid(pixels, root_ / "pixels").ok());
    ASSERT_TRUE(make_pyramid(bytes, "slopes", root_ / "bytes").ok());
    EXPECT_EQ(find_pyramid(root_ / "bytes"), find_pyramid(root_ / "pixels"));
    EXPECT_EQ(cv::norm(tile(root_ / "bytes", 9, 1, 1), tile(root_ / "pixels", 9, 1, 1), cv::NORM_INF), 0);
}

TEST_F(Tiles, AreLeftAsTheyAreWhenMadeAgain) {
    ASSERT_TRUE(make_pyramid(slopes(300, 300), root_ / "a").ok());
    const auto before = fs::last_write_time(root_ / "a" / "0" / "0_0.jpg");
    const auto again = make_pyramid(slopes(40, 40), root_ / "a");
    ASSERT_TRUE(again.ok());
    EXPECT_EQ(again.value().width_px, 300);
    EXPECT_EQ(fs::last_write_time(root_ / "a" / "0" / "0_0.jpg"), before);
}

TEST_F(Tiles, AHalfMadeFolderGivesWay) {
    fs::create_directories(root_ / "a" / "9");
    std::ofstream(root_ / "a" / "9" / "0_0.jpg") << "half";
    EXPECT_FALSE(find_pyramid(root_ / "a").has_value());
    const auto made = make_pyramid(slopes(300, 200), root_ / "a");
    ASSERT_TRUE(made.ok()) << made.error().message;
    EXPECT_EQ(find_pyramid(root_ / "a"), made.value());
    EXPECT_EQ(tile(root_ / "a", 9, 0, 0).size(), cv::Size(256, 200));
    EXPECT_THAT(left_in_root(), testing::ElementsAre("a"));
}

TEST_F(Tiles, OfADamagedPhotographAreRefusedAndLeaveNothing) {
    cv::Mat pixels(600, 600, CV_8UC3);
    cv::RNG(5).fill(pixels, cv::RNG::UNIFORM, 0, 256);
    auto bytes = encode_jpeg(pixels).value();
    bytes.resize(bytes.size() / 2);
    const auto made = make_pyramid(bytes, "cut", root_ / "a");
    ASSERT_FALSE(made.ok());
    EXPECT_EQ(made.error().code, ErrorCode::bad_input);
    EXPECT_THAT(made.error().message, HasSubstr("truncated"));
    EXPECT_TRUE(left_in_root().empty());
}

TEST_F(Tiles, WhereNothingCanBeWrittenAreRefused) {
    std::ofstream(root_ / "file") << "not a folder";
    const auto made = make_pyramid(slopes(40, 40), root_ / "file" / "a");
    ASSERT_FALSE(made.ok());
    EXPECT_EQ(made.error().code, ErrorCode::storage);
}

// A limit on the size of files stands for a disk that is full: in both cases write() fails half-way.
TEST_F(Tiles, OnAFullDiskAreRefusedAndLeaveNothing) {
    const auto bytes = encode_jpeg(slopes(600, 600)).value();
    rlimit before{};
    ASSERT_EQ(getrlimit(RLIMIT_FSIZE, &before), 0);
    const auto old_handler = std::signal(SIGXFSZ, SIG_IGN);
    const rlimit tight{100, before.rlim_max};
    ASSERT_EQ(setrlimit(RLIMIT_FSIZE, &tight), 0);
    const auto from_bytes = make_pyramid(bytes, "whole", root_ / "a");
    const auto from_pixels = make_pyramid(slopes(600, 600), root_ / "b");
    setrlimit(RLIMIT_FSIZE, &before);
    std::signal(SIGXFSZ, old_handler);
    ASSERT_FALSE(from_bytes.ok());
    ASSERT_FALSE(from_pixels.ok());
    EXPECT_EQ(from_bytes.error().code, ErrorCode::storage) << from_bytes.error().message;
    EXPECT_EQ(from_pixels.error().code, ErrorCode::storage) << from_pixels.error().message;
    EXPECT_TRUE(left_in_root().empty());
}

TEST_F(Tiles, TwoMakersAtOnceDoNoHarm) {
    const cv::Mat pixels = slopes(900, 700);
    std::vector<std::thread> makers;
    std::atomic<int> well = 0;
    for (int i = 0; i < 4; ++i)
        makers.emplace_back([&] {
            if (const auto made = make_pyramid(pixels, root_ / "a"); made.ok() && made.value().width_px == 900) ++well;
        });
    for (std::thread& maker : makers) maker.join();
    EXPECT_EQ(well, 4);
    EXPECT_THAT(left_in_root(), testing::ElementsAre("a"));
}

TEST_F(Tiles, OfBothSidesLieOnEachOther) {
    // The same hole seen from both sides, once as it is and once from behind and turned a little.
    Camera front;
    front.photo_from_board = {20, 0.3, 30, -0.2, 20, 40, 1e-4, 0, 1};
    Camera back;
    back.photo_from_board = {-18, 0.5, 800, 0.4, 18, 30, 0, 1e-4, 1};
    const Point hole{22.5, 17.25};
    const auto side = [&](const Camera& camera) {
        cv::Mat photo(800, 900, CV_8UC3, cv::Scalar(40, 90, 40));
        const Point seen = camera.to_photo(hole);
        cv::circle(photo, cv::Point(static_cast<int>(seen.x * 16), static_cast<int>(seen.y * 16)), 14 * 16, cv::Scalar(255, 255, 255),
                   cv::FILLED, cv::LINE_AA, 4);
        return photo;
    };
    const auto a = make_rectified_pyramid(side(front), front, Size{40, 30}, 10, 2, root_ / "front");
    const auto b = make_rectified_pyramid(side(back), back, Size{40, 30}, 10, 2, root_ / "back");
    ASSERT_TRUE(a.ok() && b.ok());
    EXPECT_EQ(a.value(), b.value());
    EXPECT_EQ(a.value().width_px, 440);
    for (const char* name : {"front", "back"}) {
        cv::Mat left = tile(root_ / name, a.value().levels - 1, 0, 0);  // holds the hole at (245, 192)
        cv::Mat right = tile(root_ / name, a.value().levels - 1, 1, 0);
        cv::Mat both;
        cv::hconcat(left, right, both);
        cv::Mat bright;
        cv::cvtColor(both, bright, cv::COLOR_BGR2GRAY);
        const cv::Moments m = cv::moments(bright > 150, true);
        EXPECT_NEAR(m.m10 / m.m00, (hole.x + 2) * 10 - 0.5, 0.5);
        EXPECT_NEAR(m.m01 / m.m00, (hole.y + 2) * 10 - 0.5, 0.5);
    }
}

}  // namespace
}  // namespace eyelet
