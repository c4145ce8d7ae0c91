// Following copper on drawn boards: each fixture draws its own copper, so the truth is known by construction.
#include "eyelet/photo/follow.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

#include "eyelet/photo/likeliest_nets.h"
#include "eyelet/photo/pad_ring.h"
#include "eyelet/photo/side_examination.h"

namespace eyelet {
namespace {

using testing::HasSubstr;

constexpr double kScale = 16;  // px per mm

// A board of 40 x 30 mm on which pads are placed and copper is drawn.
class DrawnBoard {
  public:
    DrawnBoard() : copper_(static_cast<int>(30 * kScale), static_cast<int>(40 * kScale), CV_8U, cv::Scalar(0)), hidden_(copper_.clone()) {
        Board board;
        board.name = BoardName("main");
        board.size_mm = {40, 30};
        board.outline = {{0, 0}, {40, 0}, {40, 30}, {0, 30}};
        assembly.boards.push_back(board);
    }
    JointIndex pad(double x, double y, double size = 1.6, JointSides sides = JointSides::component) {
        Joint joint;
        joint.name = JointName(fmt::format("P{}", assembly.joints.size() + 1));
        joint.board = BoardIndex(0);
        joint.hole = joint.copper_centre = {x, y};
        joint.pad_mm = {size, size};
        joint.sides = sides;
        assembly.joints.push_back(joint);
        cv::circle(copper_, px(x, y), static_cast<int>(size / 2 * kScale), cv::Scalar(255), cv::FILLED);
        return JointIndex(assembly.joints.size() - 1);
    }
    void track(double x0, double y0, double x1, double y1, double width) {
        cv::line(copper_, px(x0, y0), px(x1, y1), cv::Scalar(255), static_cast<int>(width * kScale));
    }
    void area(double x0, double y0, double x1, double y1, int value = 255) {
        cv::rectangle(copper_, px(x0, y0), px(x1, y1), cv::Scalar(value), cv::FILLED);
    }
    void clearance(double x, double y, double radius) {
        cv::circle(copper_, px(x, y), static_cast<int>(radius * kScale), cv::Scalar(0), cv::FILLED);
    }
    void hide(double x0, double y0, double x1, double y1) {
        cv::rectangle(hidden_, px(x0, y0), px(x1, y1), cv::Scalar(255), cv::FILLED);
    }
    // As a good pixel model would tell it: soft edges, never quite sure, a guess of 0.35 where hidden.
    [[nodiscard]] SideEvidence evidence() const {
        SideEvidence side;
        side.board = BoardIndex(0);
        cv::Mat soft;
        copper_.convertTo(soft, CV_32F, 0.96 / 255, 0.02);
        cv::GaussianBlur(soft, side.copper, {}, 0.8);
        hidden_.convertTo(side.hidden, CV_32F, 1.0 / 255);
        side.copper.setTo(0.35, hidden_);
        return side;
    }
    Assembly assembly;

  private:
    static cv::Point px(double x, double y) {
        return {static_cast<int>(std::lround(x * kScale - 0.5)), static_cast<int>(std::lround(y * kScale - 0.5))};
    }
    cv::Mat copper_;
    cv::Mat hidden_;
};

double probability(const Proposals& proposals, JointIndex a, JointIndex b) {
    double best = 0;
    for (const Link& link : proposals.links)
        if ((link.from == a && link.to == b) || (link.from == b && link.to == a)) best = std::max(best, link.probability);
    return best;
}

const Link* find(const Proposals& proposals, JointIndex a, JointIndex b) {
    for (const Link& link : proposals.links)
        if ((link.from == a && link.to == b) || (link.from == b && link.to == a)) return &link;
    return nullptr;
}

std::vector<std::vector<JointIndex>> nets(const DrawnBoard& board, const Proposals& proposals) {
    return likeliest_nets(board.assembly, proposals.links);
}

double lead(const Proposals& proposals, JointIndex joint) {
    for (const Lead& l : proposals.leads)
        if (l.joint == joint) return l.probability;
    return 0;
}

Proposals follow(const DrawnBoard& board) {
    auto proposals = follow_copper(board.assembly, {board.evidence()});
    EXPECT_TRUE(proposals.ok());
    return proposals.ok() ? std::move(proposals).value() : Proposals{};
}

TEST(Follow, TrackBetweenTwoPadsIsALinkOfItsWidth) {
    DrawnBoard board;
    const JointIndex a = board.pad(5, 5);
    const JointIndex b = board.pad(20, 5);
    const JointIndex c = board.pad(20, 12);
    const JointIndex d = board.pad(5, 12);
    board.track(5, 5, 20, 5, 0.5);
    board.track(5, 12, 20, 12, 0.5);
    const Proposals proposals = follow(board);
    EXPECT_GT(probability(proposals, a, b), 0.9);
    EXPECT_GT(probability(proposals, c, d), 0.9);
    EXPECT_LT(probability(proposals, a, d), 0.2);
    EXPECT_LT(probability(proposals, b, c), 0.2);
    const Link* link = find(proposals, a, b);
    ASSERT_NE(link, nullptr);
    EXPECT_NEAR(link->width_mm, 0.5, 0.1);
    EXPECT_EQ(link->hidden, 0);
    EXPECT_FALSE(link->why.empty());
    ASSERT_GE(link->path.size(), 2U);
    for (const Point p : link->path) EXPECT_NEAR(p.y, 5, 0.4);
    EXPECT_EQ(nets(board, proposals).size(), 2U);
}

TEST(Follow, PourIsReachedOverSpokesButNotOverAClosedClearance) {
    DrawnBoard board;
    board.area(1, 1, 39, 29);
    std::vector<JointIndex> spoked;
    for (const double x : {6.0, 16.0, 26.0}) {
        board.clearance(x, 10, 1.3);
        board.track(x - 1.5, 10, x + 1.5, 10, 0.4);
        board.track(x, 8.5, x, 11.5, 0.4);
        spoked.push_back(board.pad(x, 10));
    }
    board.clearance(12, 20, 1.3);
    const JointIndex apart = board.pad(12, 20);
    board.clearance(22, 20, 1.3);
    const JointIndex apart_too = board.pad(22, 20);
    const Proposals proposals = follow(board);
    const auto found = nets(board, proposals);
    ASSERT_EQ(found.size(), 3U);
    EXPECT_EQ(found[0], spoked);
    EXPECT_EQ(found[1], std::vector{apart});
    EXPECT_EQ(found[2], std::vector{apart_too});
    for (const JointIndex joint : spoked) EXPECT_LT(probability(proposals, joint, apart), 0.3);
}

TEST(Follow, RingTellsSpokesFromClearance) {
    DrawnBoard board;
    board.area(1, 1, 39, 29);
    board.clearance(8, 10, 1.3);
    board.track(6.5, 10, 9.5, 10, 0.4);
    board.track(8, 8.5, 8, 11.5, 0.4);
    board.pad(8, 10);
    board.clearance(20, 10, 1.3);
    board.pad(20, 10);
    board.pad(30, 10);
    const SideExamination side = examine_side(board.assembly, board.evidence(), {});
    EXPECT_EQ(side.rings[0].spokes, 4);
    EXPECT_GT(side.rings[0].cross, 0.5);
    EXPECT_GT(side.rings[0].best_neck, 0.7);
    EXPECT_GT(side.rings[0].gain, 0.5);
    EXPECT_EQ(side.rings[1].spokes, 0);
    EXPECT_GT(side.rings[1].closed, 0.95);
    EXPECT_LT(side.rings[1].gain, 0.1);
    EXPECT_GT(side.rings[1].field, 0.6);
    EXPECT_GT(side.rings[2].open, 0.95);  // wholly in the pour
}

TEST(Follow, NeighboursInAPourAreLinkedNotEveryPair) {
    DrawnBoard board;
    board.area(1, 1, 39, 29);
    std::vector<JointIndex> all;
    for (int row = 0; row < 5; ++row)
        for (int column = 0; column < 6; ++column) all.push_back(board.pad(4 + 6 * column, 4 + 5 * row));
    const Proposals proposals = follow(board);
    EXPECT_EQ(nets(board, proposals).size(), 1U);
    EXPECT_LT(proposals.links.size(), all.size() * 5);  // 435 pairs in all
}

TEST(Follow, LikeTracksOnBothSidesOfAPartAreLinkedWithLessCertainty) {
    DrawnBoard board;
    const JointIndex a = board.pad(4, 10);
    const JointIndex b = board.pad(34, 10);
    const JointIndex seen_a = board.pad(4, 25);
    const JointIndex seen_b = board.pad(34, 25);
    board.track(4, 10, 34, 10, 0.5);
    board.track(4, 25, 34, 25, 0.5);
    board.hide(16, 6, 20, 14);
    const Proposals proposals = follow(board);
    const Link* under = find(proposals, a, b);
    ASSERT_NE(under, nullptr);
    EXPECT_GT(under->hidden, 0.08);
    EXPECT_LT(under->hidden, 0.25);
    EXPECT_LT(under->probability, probability(proposals, seen_a, seen_b));
    EXPECT_GT(under->probability, 0.05);
    EXPECT_THAT(under->why, HasSubstr("out of sight"));
    ASSERT_FALSE(proposals.unseen.empty());
    EXPECT_EQ(proposals.unseen[0].side, Side::component);
}

TEST(Follow, CopperThatGoesOutOfSightGivesALead) {
    DrawnBoard board;
    const JointIndex under = board.pad(8, 10);
    const JointIndex closed = board.pad(8, 25);
    const JointIndex partner = board.pad(14, 25);
    board.track(8, 10, 20, 10, 0.5);
    board.track(8, 25, 14, 25, 0.5);
    board.hide(15, 2, 30, 18);
    const JointIndex covered = board.pad(25, 10);
    static_cast<void>(partner);
    const Proposals proposals = follow(board);
    EXPECT_GT(lead(proposals, under) + lead(proposals, covered), 0.02);
    EXPECT_LT(lead(proposals, closed), lead(proposals, under));
}

TEST(Follow, PadsThatOverlapAreJoined) {
    DrawnBoard board;
    const JointIndex large = board.pad(10, 10, 6);
    const JointIndex inside = board.pad(11, 10, 0.6);
    const JointIndex away = board.pad(30, 20);
    const Proposals proposals = follow(board);
    EXPECT_GT(probability(proposals, large, inside), 0.9);
    EXPECT_LT(probability(proposals, large, away), 0.2);
}

TEST(Follow, SideWithoutJointsGivesNoLinks) {
    DrawnBoard board;
    board.area(1, 1, 39, 29);
    const Proposals proposals = follow(board);
    EXPECT_TRUE(proposals.links.empty());
    EXPECT_TRUE(proposals.leads.empty());
}

TEST(Follow, ProbabilityFallsAsTheGapGrows) {
    double before = 1;
    for (const double gap : {0.0, 0.15, 0.3, 0.6, 1.5}) {
        DrawnBoard board;
        const JointIndex a = board.pad(5, 5);
        const JointIndex b = board.pad(30, 5);
        board.pad(5, 15);
        board.pad(30, 15);
        board.track(5, 5, 30, 5, 0.5);
        if (gap > 0) board.area(17, 4, 17 + gap, 6, 0);
        const double now = probability(follow(board), a, b);
        EXPECT_LE(now, before + 0.02) << gap;
        before = now;
    }
    EXPECT_LT(before, 0.5);
}

TEST(Follow, SameAnswerEachTime) {
    DrawnBoard board;
    for (int i = 0; i < 12; ++i) board.pad(3 + 3 * i, 5 + (i % 4) * 5);
    board.track(3, 5, 30, 20, 0.4);
    board.track(6, 10, 27, 5, 0.3);
    const Proposals first = follow(board);
    const Proposals second = follow(board);
    ASSERT_EQ(first.links.size(), second.links.size());
    for (std::size_t i = 0; i < first.links.size(); ++i) {
        EXPECT_EQ(first.links[i].from, second.links[i].from);
        EXPECT_EQ(first.links[i].to, second.links[i].to);
        EXPECT_EQ(first.links[i].probability, second.links[i].probability);
    }
}

TEST(Follow, RefusesEvidenceThatDoesNotFit) {
    DrawnBoard board;
    board.pad(5, 5);
    const auto refusal = [&](auto change) {
        SideEvidence side = board.evidence();
        change(side);
        const auto result = follow_copper(board.assembly, {side});
        EXPECT_FALSE(result.ok());
        return result.ok() ? std::string() : result.error().message;
    };
    EXPECT_THAT(refusal([](SideEvidence& s) { s.board = BoardIndex(3); }), HasSubstr("not in the assembly"));
    EXPECT_THAT(refusal([](SideEvidence& s) { s.copper.release(); }), HasSubstr("board main, component side"));
    EXPECT_THAT(refusal([](SideEvidence& s) { s.hidden = s.hidden(cv::Rect(0, 0, 9, 9)); }), HasSubstr("same size"));
    EXPECT_THAT(refusal([](SideEvidence& s) { s.copper.at<float>(3, 3) = 1.5F; }), HasSubstr("between 0 and 1"));
    EXPECT_THAT(refusal([](SideEvidence& s) { s.copper.at<float>(3, 3) = std::numeric_limits<float>::quiet_NaN(); }),
                HasSubstr("between 0 and 1"));
    EXPECT_THAT(refusal([](SideEvidence& s) { s.px_per_mm = 0; }), HasSubstr("pixels per millimetre"));
}

}  // namespace
}  // namespace eyelet
