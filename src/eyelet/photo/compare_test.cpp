#include "eyelet/photo/compare.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

namespace eyelet {
namespace {

using testing::HasSubstr;

constexpr double kScale = 48;  // px per mm

// Two tracks ending in pads, and a wide area; copper dark on light.
//
//   o----------------o
//   o----------------o     [########]
cv::Mat sound() {
    cv::Mat picture(640, 640, CV_8U, cv::Scalar(255));
    for (int y : {150, 220}) {
        cv::line(picture, {80, y}, {420, y}, 0, 14);
        cv::circle(picture, {80, y}, 22, 0, -1);
        cv::circle(picture, {420, y}, 22, 0, -1);
    }
    cv::rectangle(picture, {300, 380}, {560, 560}, 0, -1);
    return picture;
}

CompareOptions at_scale() {
    CompareOptions options;
    options.px_per_mm = kScale;
    return options;
}

struct Case {
    const char* name;
    DifferenceKind kind;
    cv::Point at;
    void (*draw)(cv::Mat&);
};

class CompareKinds : public testing::TestWithParam<Case> {};

TEST_P(CompareKinds, NamesTheOneDifference) {
    cv::Mat unit = sound();
    GetParam().draw(unit);
    // The second picture lies three pixels off.
    cv::Mat moved;
    const cv::Mat shift = (cv::Mat_<double>(2, 3) << 1, 0, 3, 0, 1, -2);
    cv::warpAffine(unit, moved, shift, unit.size(), cv::INTER_NEAREST, cv::BORDER_REPLICATE);
    const auto comparison = compare_copper(sound(), moved, at_scale());
    ASSERT_TRUE(comparison.ok()) << comparison.error().message;
    ASSERT_EQ(comparison.value().differences.size(), 1U);
    const Difference& difference = comparison.value().differences.front();
    EXPECT_STREQ(name_of(difference.kind), name_of(GetParam().kind));
    EXPECT_TRUE(difference.box.contains(GetParam().at + cv::Point(3, -2)));
    EXPECT_GT(difference.probability, 0.5);
}

INSTANTIATE_TEST_SUITE_P(
    SixKinds, CompareKinds,
    testing::Values(
        Case{"open", DifferenceKind::open, {250, 150}, [](cv::Mat& p) { cv::rectangle(p, {246, 138}, {256, 162}, 255, -1); }},
        Case{"hairline_open", DifferenceKind::open, {250, 150}, [](cv::Mat& p) { cv::rectangle(p, {249, 138}, {252, 162}, 255, -1); }},
        Case{"short", DifferenceKind::short_circuit, {200, 185}, [](cv::Mat& p) { cv::line(p, {200, 150}, {200, 220}, 0, 5); }},
        Case{"mouse_bite", DifferenceKind::mouse_bite, {430, 382}, [](cv::Mat& p) { cv::circle(p, {430, 380}, 12, 255, -1); }},
        Case{"spur", DifferenceKind::spur, {430, 368}, [](cv::Mat& p) { cv::circle(p, {430, 374}, 10, 0, -1); }},
        Case{"stray", DifferenceKind::stray_copper, {150, 450}, [](cv::Mat& p) { cv::circle(p, {150, 450}, 9, 0, -1); }},
        Case{"pin_hole", DifferenceKind::pin_hole, {430, 470}, [](cv::Mat& p) { cv::circle(p, {430, 470}, 9, 255, -1); }}),
    [](const auto& one) { return std::string(one.param.name); });

TEST(Compare, FindsNothingBetweenEqualPictures) {
    const auto comparison = compare_copper(sound(), sound(), at_scale());
    ASSERT_TRUE(comparison.ok());
    EXPECT_TRUE(comparison.value().differences.empty());
    EXPECT_TRUE(comparison.value().copper_is_dark);
}

TEST(Compare, ToneCanBeTold) {
    cv::Mat light = ~sound(), unit = ~sound();
    cv::circle(unit, {430, 470}, 9, 0, -1);
    CompareOptions options = at_scale();
    options.copper = CopperIs::light;
    const auto comparison = compare_copper(light, unit, options);
    ASSERT_TRUE(comparison.ok());
    ASSERT_EQ(comparison.value().differences.size(), 1U);
    EXPECT_EQ(comparison.value().differences.front().kind, DifferenceKind::pin_hole);
}

TEST(Compare, RefusesWhatCannotBeCompared) {
    const auto refuse = [](const cv::Mat& a, const cv::Mat& b, CompareOptions options) {
        const auto comparison = compare_copper(a, b, options);
        return comparison.ok() ? std::string("accepted") : comparison.error().message;
    };
    EXPECT_THAT(refuse({}, sound(), at_scale()), HasSubstr("empty"));
    EXPECT_THAT(refuse(sound()(cv::Rect(0, 0, 600, 600)), sound(), at_scale()), HasSubstr("600 x 600"));
    EXPECT_THAT(refuse(cv::Mat(640, 640, CV_8U, cv::Scalar(9)), sound(), at_scale()), HasSubstr("one tone"));
    EXPECT_THAT(refuse(sound(), sound(), {}), HasSubstr("between 1 and 400"));
}

}  // namespace
}  // namespace eyelet
