#include "eyelet/photo/copper_evidence.h"

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <opencv2/imgproc.hpp>

#include "eyelet/photo/image.h"

namespace eyelet {
namespace {

using testing::HasSubstr;

constexpr double kScale = kEvidencePxPerMm;

Joint pad_at(const std::string& name, Point at, double size_mm) {
    Joint joint;
    joint.name = JointName(name);
    joint.board = BoardIndex(0);
    joint.hole = joint.copper_centre = at;
    joint.pad_mm = {size_mm, size_mm};
    joint.drill_mm = Size{size_mm * 0.5, size_mm * 0.5};
    return joint;
}

// A plain board, drawn here: rows of pads and tracks between them, covered copper a shade apart from the substrate.
struct DrawnSide {
    Assembly assembly;
    cv::Mat picture;
    cv::Mat copper;  // CV_8U, 255 where there is copper
};

DrawnSide draw_side(Tone tone) {
    DrawnSide drawn;
    Board board;
    board.name = BoardName("main");
    board.size_mm = {40, 32};
    drawn.assembly.boards.push_back(board);
    const cv::Size size(static_cast<int>(40 * kScale), static_cast<int>(32 * kScale));
    drawn.copper = cv::Mat::zeros(size, CV_8U);
    cv::Mat opened = cv::Mat::zeros(size, CV_8U);
    cv::Mat holes = cv::Mat::zeros(size, CV_8U);
    const auto px = [](double mm) { return cvRound(mm * kScale); };
    for (int row = 0; row < 5; ++row)
        for (int column = 0; column < 6; ++column) {
            const Point at{4 + column * 6.35, 4 + row * 6.0};
            drawn.assembly.joints.push_back(pad_at("J" + std::to_string(row) + "." + std::to_string(column), at, 1.8));
            cv::circle(opened, {px(at.x), px(at.y)}, px(0.9), cv::Scalar(255), cv::FILLED);
            cv::circle(holes, {px(at.x), px(at.y)}, px(0.45), cv::Scalar(255), cv::FILLED);
            if (column > 0 && (row + column) % 2 == 0)
                cv::line(drawn.copper, {px(at.x - 6.35), px(at.y)}, {px(at.x), px(at.y)}, cv::Scalar(255), px(0.5));
            if (row > 0 && column % 2 == 1)
                cv::line(drawn.copper, {px(at.x), px(at.y - 6)}, {px(at.x), px(at.y)}, cv::Scalar(255), px(0.35));
        }
    drawn.copper |= opened;
    drawn.picture = cv::Mat(size, CV_8UC3, cv::Scalar(60, 105, 40));
    const int shade = tone == Tone::lighter ? 22 : -22;
    drawn.picture.setTo(cv::Scalar(60 + shade, 105 + shade, 40 + shade), drawn.copper);
    drawn.picture.setTo(cv::Scalar(195, 200, 202), opened);
    drawn.picture.setTo(cv::Scalar(25, 22, 20), holes);
    cv::GaussianBlur(drawn.picture, drawn.picture, {0, 0}, 0.8);
    return drawn;
}

// Probability that a pixel of copper got a higher value than a pixel without (area under the ROC curve), near edges.
double ranked_right(const cv::Mat& probability, const cv::Mat& truth) {
    constexpr int kLevels = 1000;
    std::vector<double> with(kLevels + 1), without(kLevels + 1);
    cv::Mat inside;
    cv::Mat outside;
    cv::distanceTransform(truth, inside, cv::DIST_L2, 3);
    cv::distanceTransform(255 - truth, outside, cv::DIST_L2, 3);
    for (int r = 0; r < truth.rows; ++r)
        for (int c = 0; c < truth.cols; ++c) {
            if (inside.at<float>(r, c) + outside.at<float>(r, c) > 0.6 * kScale) continue;
            const auto level = static_cast<std::size_t>(std::lround(probability.at<float>(r, c) * kLevels));
            ++(truth.at<unsigned char>(r, c) ? with : without)[level];
        }
    double below = 0, right = 0, all_with = 0;
    for (std::size_t i = 0; i < with.size(); ++i) {
        right += with[i] * (below + without[i] / 2);
        below += without[i];
        all_with += with[i];
    }
    return right / (all_with * below);
}

TEST(CopperEvidence, FindsTracksOfEitherTone) {
    for (const Tone tone : {Tone::lighter, Tone::darker}) {
        SCOPED_TRACE(name_of(tone));
        const DrawnSide drawn = draw_side(tone);
        const auto evidence = see_copper(drawn.picture, kScale, drawn.assembly, BoardIndex(0), Side::component);
        ASSERT_TRUE(evidence.ok()) << evidence.error().message;
        EXPECT_EQ(evidence.value().copper.size(), drawn.picture.size());
        EXPECT_EQ(evidence.value().copper.type(), CV_32F);
        EXPECT_EQ(evidence.value().hidden.size(), drawn.picture.size());
        EXPECT_TRUE(cv::checkRange(evidence.value().copper, true, nullptr, 0, 1 + 1e-6));
        EXPECT_TRUE(cv::checkRange(evidence.value().hidden, true, nullptr, 0, 1 + 1e-6));
        EXPECT_GT(ranked_right(evidence.value().copper, drawn.copper), 0.9);
        EXPECT_EQ(evidence.value().tone, tone);
        EXPECT_GT(evidence.value().tone_certainty, 0.5);
    }
}

TEST(CopperEvidence, SaysTheSameTwice) {
    const DrawnSide drawn = draw_side(Tone::lighter);
    const auto first = see_copper(drawn.picture, kScale, drawn.assembly, BoardIndex(0), Side::component);
    const auto second = see_copper(drawn.picture, kScale, drawn.assembly, BoardIndex(0), Side::component);
    ASSERT_TRUE(first.ok() && second.ok());
    EXPECT_EQ(cv::norm(first.value().copper, second.value().copper, cv::NORM_INF), 0);
    EXPECT_EQ(cv::norm(first.value().hidden, second.value().hidden, cv::NORM_INF), 0);
}

TEST(CopperEvidence, TheOtherWayUpItSaysTheSame) {
    DrawnSide drawn = draw_side(Tone::lighter);
    const auto upright = see_copper(drawn.picture, kScale, drawn.assembly, BoardIndex(0), Side::component);
    cv::Mat over;
    cv::rotate(drawn.picture, over, cv::ROTATE_180);
    for (Joint& joint : drawn.assembly.joints)
        joint.hole = joint.copper_centre = Point{40 - joint.hole.x, 32 - joint.hole.y};
    const auto turned = see_copper(over, kScale, drawn.assembly, BoardIndex(0), Side::component);
    ASSERT_TRUE(upright.ok() && turned.ok());
    cv::Mat back;
    cv::rotate(turned.value().copper, back, cv::ROTATE_180);
    EXPECT_LT(cv::norm(upright.value().copper, back, cv::NORM_L1) / static_cast<double>(back.total()), 0.01);
}

TEST(CopperEvidence, DimmerLightHardlyChangesIt) {
    const DrawnSide drawn = draw_side(Tone::lighter);
    cv::Mat dim;
    drawn.picture.convertTo(dim, CV_8U, 0.7);
    const auto evidence = see_copper(dim, kScale, drawn.assembly, BoardIndex(0), Side::component);
    ASSERT_TRUE(evidence.ok());
    EXPECT_GT(ranked_right(evidence.value().copper, drawn.copper), 0.9);
}

TEST(CopperEvidence, AnswersInTheScaleOfThePicture) {
    const DrawnSide drawn = draw_side(Tone::lighter);
    cv::Mat larger;
    cv::resize(drawn.picture, larger, {}, 1.5, 1.5, cv::INTER_LINEAR);
    EvidenceOptions options;
    options.most_pixels = 1e5;  // coarser inside, too
    const auto evidence = see_copper(larger, kScale * 1.5, drawn.assembly, BoardIndex(0), Side::component, options);
    ASSERT_TRUE(evidence.ok());
    EXPECT_EQ(evidence.value().copper.size(), larger.size());
    EXPECT_DOUBLE_EQ(evidence.value().px_per_mm, kScale * 1.5);
}

// Cut-outs of boards with a published layout (testdata/*.ATTRIBUTION): photographs that no training saw.
struct CutOut {
    const char* name;
    Side side;
    double least_ranked_right;  // 0.5 is chance; what the model reached when it was built in, less a margin
};

class CopperEvidenceOfBoards : public testing::TestWithParam<CutOut> {};

TEST_P(CopperEvidenceOfBoards, TellsCopperNearEdges) {
    const auto folder = std::filesystem::path(EYELET_SOURCE_DIR) / "src/eyelet/photo/testdata";
    const std::string name = GetParam().name;
    const auto picture = decode(folder / (name + ".jpg"));
    ASSERT_TRUE(picture.ok()) << picture.error().message;
    const auto copper = decode(folder / (name + "_copper.png"));
    ASSERT_TRUE(copper.ok()) << copper.error().message;
    cv::Mat truth;
    cv::extractChannel(copper.value().bgr, truth, 0);

    Assembly assembly;
    Board board;
    board.name = BoardName("cut-out");
    board.size_mm = {truth.cols / kScale, truth.rows / kScale};
    assembly.boards.push_back(board);
    std::ifstream table(folder / (name + ".txt"));
    for (std::string line; std::getline(table, line);) {
        if (line.empty() || line[0] == '#') continue;
        std::istringstream words(line);
        std::string kind, shape;
        Joint joint;
        Size drill;
        ASSERT_TRUE(words >> kind >> joint.hole.x >> joint.hole.y >> joint.pad_mm.width >> joint.pad_mm.height >> shape >>
                    joint.rotation_deg >> drill.width >> drill.height)
            << line;
        joint.board = BoardIndex(0);
        joint.copper_centre = joint.hole;
        joint.kind = kind == "via" ? JointKind::via : JointKind::pad;
        joint.shape = shape == "circle" ? PadShape::circle : shape == "oval" ? PadShape::oval : PadShape::rectangle;
        if (drill.width > 0) joint.drill_mm = drill;
        assembly.joints.push_back(joint);
    }
    ASSERT_GT(assembly.joints.size(), 5U);
    const auto evidence = see_copper(picture.value().bgr, kScale, assembly, BoardIndex(0), GetParam().side);
    ASSERT_TRUE(evidence.ok()) << evidence.error().message;
    EXPECT_GT(ranked_right(evidence.value().copper, truth), GetParam().least_ranked_right);
}

INSTANTIATE_TEST_SUITE_P(, CopperEvidenceOfBoards,
                         testing::Values(CutOut{"thru-hole-psu-a_bare_top", Side::component, 0.90},
                                         CutOut{"thru-hole-synth-a_populated_bottom", Side::solder, 0.90},
                                         CutOut{"thru-hole-valve-driver-a_real_bottom", Side::solder, 0.85}),
                         [](const auto& each) {
                             std::string name = each.param.name;
                             std::replace(name.begin(), name.end(), '-', '_');
                             return name;
                         });

TEST(CopperEvidence, RefusesWhatDoesNotFit) {
    const DrawnSide drawn = draw_side(Tone::lighter);
    const auto see = [&](const cv::Mat& picture, double scale, BoardIndex board) {
        return see_copper(picture, scale, drawn.assembly, board, Side::solder);
    };
    const auto none = see(cv::Mat(), kScale, BoardIndex(0));
    ASSERT_FALSE(none.ok());
    EXPECT_THAT(none.error().message, HasSubstr("8-bit colour picture"));
    const auto small = see(drawn.picture(cv::Rect(0, 0, 100, 100)).clone(), kScale, BoardIndex(0));
    ASSERT_FALSE(small.ok());
    EXPECT_THAT(small.error().message, HasSubstr("100 x 100"));
    EXPECT_FALSE(see(drawn.picture, 0, BoardIndex(0)).ok());
    EXPECT_FALSE(see(drawn.picture, kScale, BoardIndex(1)).ok());
    EXPECT_FALSE(see(drawn.picture, kScale, BoardIndex()).ok());
}

TEST(CopperEvidence, StopsWhenTold) {
    const DrawnSide drawn = draw_side(Tone::lighter);
    EvidenceOptions options;
    options.progress = [](double) { return KeepLooking::no; };
    const auto evidence = see_copper(drawn.picture, kScale, drawn.assembly, BoardIndex(0), Side::component, options);
    ASSERT_FALSE(evidence.ok());
    EXPECT_EQ(evidence.error().code, ErrorCode::refused);
}

}  // namespace
}  // namespace eyelet
