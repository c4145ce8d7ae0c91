#include "eyelet/photo/alignment.h"

#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "eyelet/photo/camera_fit.h"
#include "eyelet/photo/pad_search.h"

namespace eyelet {
namespace {

using testing::HasSubstr;
using testing::IsEmpty;

constexpr BoardIndex kMain{0};

Joint joint(std::string name, Point at, Size pad_mm = {1.8, 1.8}, PadShape shape = PadShape::circle) {
    Joint j;
    j.name = JointName(std::move(name));
    j.board = kMain;
    j.hole = j.copper_centre = at;
    j.pad_mm = pad_mm;
    j.shape = shape;
    j.drill_mm = Size{0.9, 0.9};
    return j;
}

// 60 x 40 mm, six rows of ten pads 5 mm apart (A1 ... F10), the first of each row square; S1 and S2 on one side only.
Assembly board() {
    Assembly assembly;
    assembly.name = "yarn guide";
    assembly.boards.push_back({BoardName("main"), {60, 40}, {{0, 0}, {60, 0}, {60, 40}, {0, 40}}});
    for (int row = 0; row < 6; ++row)
        for (int column = 0; column < 10; ++column)
            assembly.joints.push_back(joint(std::string(1, static_cast<char>('A' + row)) + std::to_string(column + 1),
                                            {6 + 5.0 * column + (row % 2), 6 + 5.5 * row}, {1.8, column == 0 ? 2.2 : 1.8},
                                            column == 0 ? PadShape::rectangle : PadShape::circle));
    for (Side side : {Side::component, Side::solder}) {
        Joint one = joint(side == Side::component ? "S1" : "S2", {30, 2.5}, {2, 1}, PadShape::rounded_rectangle);
        one.sides = side == Side::component ? JointSides::component : JointSides::solder;
        one.drill_mm.reset();
        assembly.joints.push_back(one);
    }
    return assembly;
}

const cv::Size kPhoto{1500, 1100};

Camera view(Side side, double k1 = 0) {
    Camera camera = unfitted_camera(kPhoto);
    camera.photo_from_board = side == Side::component ? std::array<double, 9>{21, 0.6, 120, -0.4, 21.5, 110, 2e-4, -1.5e-4, 1}
                                                      : std::array<double, 9>{-21, 0.5, 1380, 0.7, 21.2, 110, -1e-4, 2e-4, 1};
    camera.k1 = k1;
    return camera;
}

// Paints what the camera sees: bench, mask, pads, open holes; edges a pixel soft, noise of three grey levels. The pads'
// tone says what they are; parts (boxes in the board's frame) cover what is under them.
cv::Mat photograph(const Assembly& assembly, Side side, const Camera& camera, cv::Scalar pad = {150, 200, 215},
                   const std::vector<Box>& parts = {}) {
    cv::Mat flat(1, 1, CV_8UC3);
    constexpr double ppm = 40;
    cv::Mat painted(cv::Size(static_cast<int>(70 * ppm), static_cast<int>(50 * ppm)), CV_8UC3, cv::Scalar(70, 80, 90));
    const auto px = [&](Point p) { return cv::Point(static_cast<int>(std::lround((p.x + 5) * ppm * 16)), static_cast<int>(std::lround((p.y + 5) * ppm * 16))); };
    const auto box = [&](Box b, const cv::Scalar& tone) { cv::rectangle(painted, px(b.low), px(b.high), tone, cv::FILLED, cv::LINE_AA, 4); };
    box({{0, 0}, {60, 40}}, {50, 90, 30});
    for (const Joint& j : assembly.joints) {
        if (!j.on(side)) continue;
        const Point half{j.pad_mm.width / 2, j.pad_mm.height / 2};
        if (j.shape == PadShape::circle)
            cv::circle(painted, px(j.copper_centre), static_cast<int>(half.x * ppm * 16), pad, cv::FILLED, cv::LINE_AA, 4);
        else
            box({j.copper_centre - half, j.copper_centre + half}, pad);
        if (j.drill_mm) cv::circle(painted, px(j.hole), static_cast<int>(j.drill_mm->width / 2 * ppm * 16), {25, 25, 25}, cv::FILLED, cv::LINE_AA, 4);
    }
    for (const Box& part : parts) box(part, {40, 40, 45});
    cv::Mat map_x(kPhoto, CV_32F);
    cv::Mat map_y(kPhoto, CV_32F);
    for (int r = 0; r < kPhoto.height; ++r)
        for (int c = 0; c < kPhoto.width; ++c) {
            const Point p = camera.to_board({static_cast<double>(c), static_cast<double>(r)});
            map_x.at<float>(r, c) = static_cast<float>((p.x + 5) * ppm);
            map_y.at<float>(r, c) = static_cast<float>((p.y + 5) * ppm);
        }
    cv::GaussianBlur(painted, painted, {}, 2);
    cv::remap(painted, flat, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_REPLICATE);
    cv::Mat noise(kPhoto, CV_16SC3);
    cv::RNG(9).fill(noise, cv::RNG::NORMAL, 0, 3);
    cv::add(flat, noise, flat, cv::noArray(), CV_8U);
    return flat;
}

// Clicks about two pixels off, as a person makes them.
std::vector<TiePoint> clicks(const Assembly& assembly, const Camera& camera, const std::vector<std::string>& names, double off_px = 2) {
    std::vector<TiePoint> ties;
    cv::RNG random(11);
    for (const std::string& name : names) {
        const JointIndex index = assembly.find_joint(JointName(name));
        const Point at = camera.to_photo(assembly.joint(index).hole);
        ties.push_back({index, {at.x + random.gaussian(off_px), at.y + random.gaussian(off_px)}});
    }
    return ties;
}

double worst_error_mm(const Camera& camera, const Camera& truth, const Assembly& assembly) {
    double worst = 0;
    for (const Joint& j : assembly.joints) worst = std::max(worst, distance(camera.to_board(truth.to_photo(j.hole)), j.hole));
    return worst;
}

const std::vector<std::string> kSeven = {"A1", "A10", "F1", "F10", "C5", "B8", "E3"};

TEST(Align, FindsTheTrueCameraFromCarelessClicks) {
    const Assembly assembly = board();
    for (Side side : {Side::component, Side::solder}) {
        SCOPED_TRACE(name_of(side));
        const Camera truth = view(side, -0.01);
        const auto fit = align(photograph(assembly, side, truth), side, assembly, kMain, clicks(assembly, truth, kSeven));
        ASSERT_TRUE(fit.ok()) << fit.error().message;
        const Alignment& a = fit.value();
        EXPECT_TRUE(a.refined);
        EXPECT_EQ(a.joints_sought, 61U);
        EXPECT_GE(a.joints_located, 58U);
        EXPECT_LT(*a.located_rms_mm, 0.02);
        EXPECT_LT(worst_error_mm(a.camera, truth, assembly), 0.02);
        EXPECT_EQ(a.camera.mirrored(), side == Side::solder);
        EXPECT_THAT(a.remarks, IsEmpty());
        for (const TieMisfit& tie : a.tie_points) EXPECT_EQ(tie.verdict, TieVerdict::used);
    }
}

TEST(Align, FindsTheTrueCameraInGreyAndWherePadsAreDarkerThanTheMask) {
    const Assembly assembly = board();
    const Camera truth = view(Side::component);
    const cv::Mat dark = photograph(assembly, Side::component, truth, {20, 35, 30});
    const auto ties = clicks(assembly, truth, kSeven);
    const auto in_colour = align(dark, Side::component, assembly, kMain, ties);
    ASSERT_TRUE(in_colour.ok()) << in_colour.error().message;
    EXPECT_LT(worst_error_mm(in_colour.value().camera, truth, assembly), 0.03);
    cv::Mat grey;
    cv::cvtColor(photograph(assembly, Side::component, truth), grey, cv::COLOR_BGR2GRAY);
    const auto in_grey = align(grey, Side::component, assembly, kMain, ties);
    ASSERT_TRUE(in_grey.ok()) << in_grey.error().message;
    EXPECT_LT(worst_error_mm(in_grey.value().camera, truth, assembly), 0.02);
}

TEST(Align, PartsThatHidePadsDoNotPullIt) {
    const Assembly assembly = board();
    const Camera truth = view(Side::component);
    // Two large parts hide half of the pads; their edges cut through others.
    const cv::Mat photo = photograph(assembly, Side::component, truth, {150, 200, 215}, {{{9, 3}, {33.4, 22}}, {{38, 15.5}, {57, 36}}});
    const auto fit = align(photo, Side::component, assembly, kMain, clicks(assembly, truth, kSeven));
    ASSERT_TRUE(fit.ok()) << fit.error().message;
    EXPECT_TRUE(fit.value().refined);
    EXPECT_LT(fit.value().joints_located, 45U);
    EXPECT_LT(worst_error_mm(fit.value().camera, truth, assembly), 0.03);
}

TEST(Align, FitsTheRadialTermWhereItIsHeldAndOnlyThere) {
    const Assembly assembly = board();
    for (double k1 : {-0.03, 0.02}) {
        const Camera truth = view(Side::component, k1);
        const auto fit = align(photograph(assembly, Side::component, truth), Side::component, assembly, kMain, clicks(assembly, truth, kSeven));
        ASSERT_TRUE(fit.ok()) << fit.error().message;
        EXPECT_NE(fit.value().lens, Lens::flat);
        EXPECT_NEAR(fit.value().camera.k1, k1, 0.003);
    }
    const Camera flat = view(Side::component, 0);
    const auto fit = align(photograph(assembly, Side::component, flat), Side::component, assembly, kMain, clicks(assembly, flat, kSeven));
    ASSERT_TRUE(fit.ok());
    EXPECT_LT(std::abs(fit.value().camera.k1), 0.003);
    // Seven clicks hold no lens.
    const Camera bent = view(Side::component, -0.03);
    const auto clicked = align(cv::Mat(kPhoto, CV_8UC3), Side::component, assembly, kMain, clicks(assembly, bent, kSeven), {Refine::tie_points_only, 0.5});
    ASSERT_TRUE(clicked.ok()) << clicked.error().message;
    EXPECT_EQ(clicked.value().lens, Lens::flat);
    EXPECT_EQ(clicked.value().camera.k1, 0);
}

TEST(Align, NamesAWrongTiePoint) {
    const Assembly assembly = board();
    const Camera truth = view(Side::component);
    auto ties = clicks(assembly, truth, kSeven);
    // The click for E3 went to its neighbour E4.
    ties[6].photo_px = truth.to_photo(assembly.joint(assembly.find_joint(JointName("E4"))).hole);
    for (Refine refine : {Refine::tie_points_only, Refine::on_photograph}) {
        const auto fit = align(photograph(assembly, Side::component, truth), Side::component, assembly, kMain, ties, {refine, 0.25});
        ASSERT_TRUE(fit.ok()) << fit.error().message;
        for (std::size_t i = 0; i < ties.size(); ++i)
            EXPECT_EQ(fit.value().tie_points[i].verdict, i == 6 ? TieVerdict::wrong : TieVerdict::used) << i;
        EXPECT_NEAR(fit.value().tie_points[6].misfit_mm, 5, 0.5);
        ASSERT_FALSE(fit.value().remarks.empty());
        EXPECT_THAT(fit.value().remarks[0], HasSubstr("tie point E3 is wrong"));
        EXPECT_THAT(fit.value().remarks[0], HasSubstr("on E4"));
    }
}

// Any four of five fit exactly, so the five alone cannot say which is wrong; the photograph can.
TEST(Align, OfFiveTiePointsThePhotographTellsTheWrongOne) {
    const Assembly assembly = board();
    const Camera truth = view(Side::component);
    auto ties = clicks(assembly, truth, {"A1", "A10", "F1", "F10", "C5"});
    ties[1].photo_px = truth.to_photo(assembly.joint(assembly.find_joint(JointName("A9"))).hole);
    const auto alone = align(photograph(assembly, Side::component, truth), Side::component, assembly, kMain, ties, {Refine::tie_points_only, 0.25});
    ASSERT_FALSE(alone.ok());
    EXPECT_THAT(alone.error().message, HasSubstr("contradict"));
    const auto fit = align(photograph(assembly, Side::component, truth), Side::component, assembly, kMain, ties);
    ASSERT_TRUE(fit.ok()) << fit.error().message;
    EXPECT_EQ(fit.value().tie_points[1].verdict, TieVerdict::wrong);
    EXPECT_LT(worst_error_mm(fit.value().camera, truth, assembly), 0.03);
}

TEST(Align, SaysThatThePhotographIsOfTheOtherSide) {
    const Assembly assembly = board();
    for (Side side : {Side::component, Side::solder}) {
        const Camera truth = view(side);
        const auto fit = align(photograph(assembly, side, truth), other(side), assembly, kMain, clicks(assembly, truth, kSeven));
        ASSERT_FALSE(fit.ok());
        EXPECT_EQ(fit.error().code, ErrorCode::refused);
        EXPECT_THAT(fit.error().message, HasSubstr(std::string("the tie points show the ") + name_of(side)));
    }
}

TEST(Align, FourTiePointsSayNothingOfTheirMisfitUnlessPadsAreSeen) {
    const Assembly assembly = board();
    const Camera truth = view(Side::component);
    const auto ties = clicks(assembly, truth, {"A1", "A10", "F1", "F10"});
    const auto alone = align(photograph(assembly, Side::component, truth), Side::component, assembly, kMain, ties, {Refine::tie_points_only, 0.25});
    ASSERT_TRUE(alone.ok()) << alone.error().message;
    EXPECT_FALSE(alone.value().tie_rms_mm.has_value());
    ASSERT_EQ(alone.value().remarks.size(), 1U);
    EXPECT_THAT(alone.value().remarks[0], HasSubstr("a fifth"));
    const auto seen = align(photograph(assembly, Side::component, truth), Side::component, assembly, kMain, ties);
    ASSERT_TRUE(seen.ok()) << seen.error().message;
    EXPECT_TRUE(seen.value().tie_rms_mm.has_value());
    EXPECT_LT(worst_error_mm(seen.value().camera, truth, assembly), 0.02);
}

TEST(Align, WhereNoPadIsSeenTheClicksStandAndItIsSaid) {
    const Assembly assembly = board();
    const Camera truth = view(Side::component);
    cv::Mat noise(kPhoto, CV_8UC3);
    cv::RNG(2).fill(noise, cv::RNG::NORMAL, 90, 20);
    const auto fit = align(noise, Side::component, assembly, kMain, clicks(assembly, truth, kSeven));
    ASSERT_TRUE(fit.ok()) << fit.error().message;
    EXPECT_FALSE(fit.value().refined);
    EXPECT_EQ(fit.value().joints_located, 0U);
    EXPECT_THAT(fit.value().remarks, testing::Contains(HasSubstr("too few pads were recognised")));
}

// The reference: OpenCV's findHomography without its robust method is the least-squares fit to the same points.
TEST(Align, TiePointsAloneAgreeWithOpenCV) {
    const Assembly assembly = board();
    const Camera truth = view(Side::solder);
    const auto ties = clicks(assembly, truth, {"A1", "A10", "F1", "F10", "C5", "B8", "E3", "D7", "C2", "E9"}, 2.5);
    std::vector<cv::Point2d> from;
    std::vector<cv::Point2d> to;
    for (const TiePoint& tie : ties) {
        from.emplace_back(assembly.joint(tie.joint).hole.x, assembly.joint(tie.joint).hole.y);
        to.emplace_back(tie.photo_px.x, tie.photo_px.y);
    }
    const cv::Mat h = cv::findHomography(from, to);
    std::vector<cv::Point2d> projected;
    cv::perspectiveTransform(from, projected, h);
    const auto fit = align(cv::Mat(kPhoto, CV_8UC3), Side::solder, assembly, kMain, ties, {Refine::tie_points_only, 0.25});
    ASSERT_TRUE(fit.ok()) << fit.error().message;
    double ours = 0;
    double theirs = 0;
    for (std::size_t i = 0; i < ties.size(); ++i) {
        const double reference_px = std::hypot(projected[i].x - to[i].x, projected[i].y - to[i].y);
        EXPECT_NEAR(fit.value().tie_points[i].misfit_px, reference_px, 0.01);
        ours += std::pow(fit.value().tie_points[i].misfit_px, 2);
        theirs += reference_px * reference_px;
    }
    EXPECT_LE(ours, theirs * (1 + 1e-6));
    EXPECT_LT(cv::determinant(h), 0);
    EXPECT_TRUE(fit.value().camera.mirrored());
}

// OpenCV's tutorial points; values by getPerspectiveTransform of OpenCV 4.6 and an independent linear solution.
TEST(Align, FourTiePointsGiveThePublishedHomography) {
    Assembly assembly;
    assembly.name = "tutorial";
    assembly.boards.push_back({BoardName("main"), {400, 400}, {}});
    const std::array<Point, 4> corners = {Point{56, 65}, {368, 52}, {28, 387}, {389, 390}};
    const std::array<Point, 4> pixels = {Point{0, 0}, {300, 0}, {0, 300}, {300, 300}};
    std::vector<TiePoint> ties;
    for (std::size_t i = 0; i < 4; ++i) {
        assembly.joints.push_back(joint("P" + std::to_string(i + 1), corners[i]));
        ties.push_back({JointIndex(i), pixels[i]});
    }
    const auto fit = align(cv::Mat(320, 320, CV_8UC1), Side::component, assembly, kMain, ties, {Refine::tie_points_only, 0.25});
    ASSERT_TRUE(fit.ok()) << fit.error().message;
    const std::array<double, 9> wanted = {1.0558737613, .0918151097, -65.0969127617, .0469010049, 1.1256241185, -75.7920239791, .0001832514, .000513337, 1};
    for (std::size_t i = 0; i < 9; ++i) EXPECT_NEAR(fit.value().camera.photo_from_board[i], wanted[i], 1e-7);
    const Point middle = fit.value().camera.to_photo({200, 200});
    EXPECT_NEAR(middle.x, 144.3327554, 1e-5);
    EXPECT_NEAR(middle.y, 139.3053071, 1e-5);
}

// Unit square to (0,0) (4,1) (3,5) (1,4): the textbook solution in exact fractions.
TEST(Align, TheUnitSquareGivesTheTextbookHomography) {
    const std::vector<Sight> sights = {{{0, 0}, {0, 0}}, {{1, 0}, {4, 1}}, {{1, 1}, {3, 5}}, {{0, 1}, {1, 4}}};
    const auto camera = homography_of(sights, {10, 10});
    ASSERT_TRUE(camera.has_value());
    const std::array<double, 9> wanted = {28.0 / 9, 17.0 / 9, 0, 7.0 / 9, 68.0 / 9, 0, -2.0 / 9, 8.0 / 9, 1};
    for (std::size_t i = 0; i < 9; ++i) EXPECT_NEAR(camera->photo_from_board[i], wanted[i], 1e-9);
}

TEST(Align, RefusesAMisfitThatTheFinestPitchCannotBear) {
    Assembly assembly = board();
    // Two pads 0.5 mm apart: a quarter of that is 0.125 mm, or 2.6 px here.
    assembly.joints.push_back(joint("U1.1", {57, 38}, {0.3, 1.2}, PadShape::rectangle));
    assembly.joints.push_back(joint("U1.2", {57.5, 38}, {0.3, 1.2}, PadShape::rectangle));
    EXPECT_NEAR(*finest_pitch_mm(assembly, kMain, Side::component), 0.5, 1e-9);
    const Camera truth = view(Side::component);
    const cv::Mat photo = photograph(board(), Side::component, truth);
    const auto sloppy = clicks(assembly, truth, {"A1", "A10", "F1", "F10", "C5", "B8", "E3", "D7"}, 5);
    const auto refused = align(photo, Side::component, assembly, kMain, sloppy, {Refine::tie_points_only, 0.25});
    ASSERT_FALSE(refused.ok());
    EXPECT_EQ(refused.error().code, ErrorCode::refused);
    EXPECT_THAT(refused.error().message, HasSubstr("finest joint pitch of 0.50 mm"));
    EXPECT_THAT(refused.error().message, HasSubstr("misses most"));
    // The same clicks are good enough to begin with where the pads can be seen.
    const auto refined = align(photo, Side::component, assembly, kMain, sloppy);
    ASSERT_TRUE(refined.ok()) << refined.error().message;
    EXPECT_LT(worst_error_mm(refined.value().camera, truth, assembly), 0.03);
}

TEST(Align, ThePitchLeavesOutPadsThatTouch) {
    Assembly assembly = board();
    assembly.joints.push_back(joint("H1.1", {50, 37}, {5, 5}));
    assembly.joints.push_back(joint("H1.1#2", {51, 37}, {0.8, 0.8}));  // a stitching hole in the ring
    EXPECT_NEAR(*finest_pitch_mm(assembly, kMain, Side::component), 3.5, 0.6);
    EXPECT_FALSE(finest_pitch_mm(assembly, BoardIndex(7), Side::component).has_value());
}

struct Refusal {
    const char* name;
    std::vector<std::string> joints;
    std::size_t changed;
    Point pixel;  // of the changed tie point; NaN: left as it is
    std::string says;
};

TEST(Align, RefusesTiePointsThatCannotBeRight) {
    Assembly assembly = board();
    assembly.boards.push_back({BoardName("daughter"), {20, 20}, {}});
    Joint elsewhere = joint("X1", {5, 5});
    elsewhere.board = BoardIndex(1);
    assembly.joints.push_back(elsewhere);
    const Camera truth = view(Side::component);
    const double same = std::nan("");
    const Point a1 = truth.to_photo(assembly.joint(assembly.find_joint(JointName("A1"))).hole);
    const std::vector<Refusal> refusals = {
        {"three", {"A1", "A10", "F1"}, 0, {same, 0}, "3 tie points"},
        {"twice", {"A1", "A10", "F1", "F10", "A1"}, 4, {700, 700}, "tie point A1: this joint has two tie points"},
        {"other board", {"A1", "A10", "F1", "X1"}, 3, {700, 700}, "tie point X1: this joint lies on board daughter"},
        {"other side", {"A1", "A10", "F1", "S2"}, 3, {700, 700}, "tie point S2: this joint lies on the solder side only"},
        {"outside", {"A1", "A10", "F1", "F10"}, 3, {1500, 700}, "(1500.0, 700.0) lies outside the photograph of 1500 x 1100"},
        {"not a number", {"A1", "A10", "F1", "F10"}, 3, {std::numeric_limits<double>::infinity(), 7}, "outside the photograph"},
        {"same pixel", {"A1", "A10", "F1", "F10"}, 3, {a1.x + 0.2, a1.y}, "tie point F10: it lies on the same pixel as the tie point A1"},
        {"one line", {"A1", "A4", "A7", "A10"}, 0, {same, 0}, "on one line"},
        {"all but one on a line", {"A1", "A3", "A5", "A7", "A10", "C4"}, 0, {same, 0}, "on one line"},
    };
    for (const Refusal& r : refusals) {
        SCOPED_TRACE(r.name);
        auto ties = clicks(assembly, truth, r.joints, 0);
        if (!std::isnan(r.pixel.x)) ties[r.changed].photo_px = r.pixel;
        const auto fit = align(cv::Mat(kPhoto, CV_8UC3, cv::Scalar::all(0)), Side::component, assembly, kMain, ties);
        ASSERT_FALSE(fit.ok());
        EXPECT_THAT(fit.error().message, HasSubstr(r.says));
        EXPECT_EQ(fit.error().message.find('\n'), std::string::npos);
    }
}

TEST(Align, RefusesExchangedCorners) {
    const Assembly assembly = board();
    const Camera truth = view(Side::component);
    auto ties = clicks(assembly, truth, {"A1", "A10", "F1", "F10"});
    std::swap(ties[0].photo_px, ties[1].photo_px);
    const auto fit = align(photograph(assembly, Side::component, truth), Side::component, assembly, kMain, ties);
    ASSERT_FALSE(fit.ok());
    EXPECT_THAT(fit.error().message, HasSubstr("exchanged"));
}

TEST(PadSearch, OutlinesTurnCounterClockwiseAsSeen) {
    // A slot lying along x, turned by 30 degrees, ends at the upper right: y runs down.
    double highest = 0;
    Point at;
    for (const OutlinePoint& p : outline_of(PadShape::oval, {4, 1}, 30, 0.05)) {
        EXPECT_NEAR(length(p.normal), 1, 1e-9);
        EXPECT_GT(dot(p.at, p.normal), 0);
        if (length(p.at) > highest && p.at.x > 0) {
            highest = length(p.at);
            at = p.at;
        }
    }
    EXPECT_NEAR(at.x, 2 * std::cos(std::numbers::pi / 6), 0.03);
    EXPECT_NEAR(at.y, -2 * std::sin(std::numbers::pi / 6), 0.03);
}

TEST(CameraFit, EdgesHoldTheCameraAcrossThemselves) {
    // Each place gives one coordinate only, by turns x and y; together they hold all eight parameters.
    const Camera truth = view(Side::component);
    std::vector<Sight> sights;
    for (const Joint& j : board().joints) {
        Sight s{j.hole, truth.to_photo(j.hole)};
        s.normal_px = sights.size() % 2 == 0 ? Point{1, 0} : Point{0, 1};
        // Whatever the other coordinate says does not count.
        s.photo_px = s.photo_px + 40.0 * Point{s.normal_px.y, s.normal_px.x};
        sights.push_back(s);
    }
    Camera start = truth;
    start.photo_from_board[0] *= 1.01;
    start.photo_from_board[2] += 3;
    EXPECT_LT(worst_error_mm(fit_camera(sights, start, Lens::flat), truth, board()), 1e-6);
}

}  // namespace
}  // namespace eyelet
