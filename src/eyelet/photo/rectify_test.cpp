#include "eyelet/photo/rectify.h"

#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

namespace eyelet {
namespace {

Camera looking_down(double px_per_mm, Point offset_px = {}) {
    Camera camera;
    camera.photo_from_board = {px_per_mm, 0, offset_px.x, 0, px_per_mm, offset_px.y, 0, 0, 1};
    return camera;
}

TEST(Rectify, AtTheSameScaleItIsTheSamePixels) {
    cv::Mat photo(40, 60, CV_8UC1);
    cv::RNG(3).fill(photo, cv::RNG::UNIFORM, 0, 256);
    // A pixel's centre is at whole numbers, so pixel 0 covers -0.5 .. 0.5 px.
    const cv::Mat flat = rectify(photo, looking_down(20, {-0.5, -0.5}), Size{3, 2}, 20);
    ASSERT_EQ(flat.size(), photo.size());
    EXPECT_EQ(cv::norm(flat, photo, cv::NORM_INF), 0);
}

TEST(Rectify, APixelOfTheResultIsTheMeanOfWhatItCovers) {
    cv::Mat photo(80, 120, CV_8UC3);
    cv::RNG(4).fill(photo, cv::RNG::UNIFORM, 0, 256);
    const cv::Mat flat = rectify(photo, looking_down(40, {-0.5, -0.5}), Size{3, 2}, 10);
    cv::Mat mean;
    cv::resize(photo, mean, {30, 20}, 0, 0, cv::INTER_AREA);
    ASSERT_EQ(flat.size(), mean.size());
    EXPECT_LE(cv::norm(flat, mean, cv::NORM_INF), 1);
}

// Lines of 0.1 mm, 0.2 mm apart, seen at 40 px/mm and brought to 2.5 px/mm: even grey, where taking every
// sixteenth pixel would give stripes.
TEST(Rectify, FineLinesDoNotAlias) {
    cv::Mat photo(400, 800, CV_8UC1, cv::Scalar(0));
    for (int x = 0; x < photo.cols; x += 8) photo(cv::Rect(x, 0, 4, photo.rows)) = 255;
    Camera camera = looking_down(40, {-0.5, -0.5});
    camera.photo_from_board[6] = 2e-4;
    const cv::Mat flat = rectify(photo, camera, Box{{1, 1}, {17, 9}}, 2.5);
    double low = 0;
    double high = 0;
    cv::minMaxLoc(flat, &low, &high);
    EXPECT_GT(low, 115);
    EXPECT_LT(high, 140);
}

TEST(Rectify, TheSolderSideComesUnmirrored) {
    // Seen from behind, the board's left is at the right of the picture.
    Camera camera;
    camera.photo_from_board = {-10, 0, 299.5, 0, 10, -0.5, 0, 0, 1};
    ASSERT_TRUE(camera.mirrored());
    cv::Mat photo(200, 300, CV_8UC1, cv::Scalar(0));
    photo(cv::Rect(250, 0, 50, 50)) = 255;  // upper right in the picture: board 0..5 mm, 0..5 mm
    const cv::Mat flat = rectify(photo, camera, Size{30, 20}, 10);
    EXPECT_EQ(flat.at<std::uint8_t>(20, 20), 255);
    EXPECT_EQ(flat.at<std::uint8_t>(20, 280), 0);
}

TEST(Rectify, AJointLandsWhereTheBoardSaysIt) {
    Camera camera;
    camera.photo_from_board = {26.7, 0.47, 225.3, -0.2, 26.4, 274.4, 1.8e-4, -1.2e-5, 1};
    camera.k1 = -0.02;
    camera.centre_px = {700, 700};
    camera.radius_px = 990;
    const Point joint{17.3, 21.9};
    const Point seen = camera.to_photo(joint);
    cv::Mat photo(1400, 1400, CV_8UC1, cv::Scalar(0));
    // A blurred dot whose centre of mass is at the sub-pixel place.
    for (int r = 0; r < photo.rows; ++r)
        for (int c = 0; c < photo.cols; ++c)
            photo.at<std::uint8_t>(r, c) = cv::saturate_cast<std::uint8_t>(250 * std::exp(-(std::pow(c - seen.x, 2) + std::pow(r - seen.y, 2)) / 200));
    for (double ppm : {10.0, 20.0, 33.0}) {
        const cv::Moments m = cv::moments(rectify(photo, camera, Size{40, 40}, ppm, 1.5));
        EXPECT_NEAR((m.m10 / m.m00 + 0.5) / ppm - 1.5, joint.x, 0.01);
        EXPECT_NEAR((m.m01 / m.m00 + 0.5) / ppm - 1.5, joint.y, 0.01);
    }
}

TEST(Rectify, SizesAreThoseOfMasks) {
    EXPECT_EQ(rectified_size(Box{{0, 0}, {110, 82.5}}, 20), cv::Size(2200, 1650));
    EXPECT_EQ(rectified_size(Box{{-2, -2}, {112, 84.5}}, 20), cv::Size(2280, 1730));
    EXPECT_EQ(rectified_size(Box{{0, 0}, {10.01, 10}}, 20), cv::Size(201, 200));
}

TEST(Rectify, OutsideThePhotographIsBlack) {
    const cv::Mat photo(100, 100, CV_8UC1, cv::Scalar(200));
    const cv::Mat flat = rectify(photo, looking_down(10), Size{20, 10}, 10);
    EXPECT_EQ(flat.at<std::uint8_t>(50, 50), 200);
    EXPECT_EQ(flat.at<std::uint8_t>(50, 150), 0);
}

}  // namespace
}  // namespace eyelet
