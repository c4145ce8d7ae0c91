#include "eyelet/ringout/ring_out.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "eyelet/ringout/rehearsal.h"

namespace eyelet {
namespace {

using testing::HasSubstr;

// Pads on a 2.54 mm grid, `across` to a row: P0 P1 P2 ...
Assembly grid(std::size_t pads, std::size_t across) {
    Assembly assembly;
    assembly.name = "grid";
    assembly.boards.push_back({BoardName("main"), {100, 100}, {}});
    for (std::size_t i = 0; i < pads; ++i) {
        Joint joint;
        joint.name = JointName("P" + std::to_string(i));
        joint.board = BoardIndex(0);
        joint.hole = joint.copper_centre = {2.54 * static_cast<double>(i % across), 2.54 * static_cast<double>(i / across)};
        joint.pad_mm = {1.6, 1.6};
        assembly.joints.push_back(joint);
    }
    return assembly;
}

Link link(std::size_t from, std::size_t to, double probability) {
    Link l;
    l.from = JointIndex(from);
    l.to = JointIndex(to);
    l.side = Side::solder;
    l.probability = probability;
    return l;
}

Reading reading(std::size_t from, std::size_t to, Said said, const char* entry = "") {
    return {EntryName(entry), JointIndex(from), JointIndex(to), said, false};
}

RingOut ring(const Assembly& assembly, const Proposals& proposals = {}, const RingOptions& options = {},
             std::vector<Reading> readings = {}, std::vector<Skip> skips = {}) {
    return std::move(RingOut::create(assembly, proposals, options, std::move(readings), std::move(skips)).value());
}

std::set<std::set<std::string>> partition(const Assembly& assembly, const RingState& state) {
    std::set<std::set<std::string>> nets;
    for (const Net& net : state.nets) {
        std::set<std::string> names;
        for (JointIndex j : net.joints) names.insert(assembly.joint(j).name.text());
        nets.insert(names);
    }
    return nets;
}

TEST(RingOut, AsksFirstWhereCopperIsPlain) {
    const Assembly board = grid(4, 4);
    Proposals proposals;
    proposals.links = {link(0, 3, 0.97), link(1, 2, 0.2)};
    RingOut r = ring(board, proposals);
    const auto gesture = r.next();
    ASSERT_TRUE(gesture);
    EXPECT_EQ(std::set({gesture->hold.raw(), gesture->along.back().raw()}), std::set({0U, 3U}));
    EXPECT_THAT(gesture->why, HasSubstr("Copper is plain to see"));
}

TEST(RingOut, AsksAgainBeforeItBelievesAnOpenWhereCopperIsPlain) {
    const Assembly board = grid(2, 2);
    Proposals proposals;
    proposals.links = {link(0, 1, 0.97)};
    RingOut r = ring(board, proposals);
    ASSERT_TRUE(r.next());
    ASSERT_TRUE(r.answer(TouchAnswer{Open{}}).ok());
    const auto again = r.next();
    ASSERT_TRUE(again);
    EXPECT_EQ(again->purpose, Gesture::Purpose::again);
    ASSERT_TRUE(r.answer(TouchAnswer{Ohms{0.2}}).ok());
    EXPECT_EQ(partition(board, r.state()), (std::set<std::set<std::string>>{{"P0", "P1"}}));
}

TEST(RingOut, RefusesAnAnswerOfTheWrongKind) {
    const Assembly board = grid(2, 2);
    Proposals proposals;
    proposals.links = {link(0, 1, 0.97)};
    RingOut r = ring(board, proposals);
    const auto before = r.next();
    EXPECT_FALSE(r.answer(SweepAnswer{{Open{}}}).ok());
    EXPECT_FALSE(r.answer(TouchAnswer{Ohms{std::nan("")}}).ok());
    EXPECT_EQ(r.next(), before);
    EXPECT_TRUE(r.readings().empty());
}

TEST(RingOut, AWithdrawnReadingIsAsIfNeverTaken) {
    const Assembly board = grid(4, 4);
    Proposals proposals;
    proposals.links = {link(0, 1, 0.9), link(2, 3, 0.4)};
    RingOut with = ring(board, proposals, {}, {reading(0, 1, Ohms{0.2}, "e1"), reading(2, 3, Open{}, "e2")});
    ASSERT_TRUE(with.withdraw(EntryName("e1")).ok());
    RingOut never = ring(board, proposals, {}, {reading(2, 3, Open{}, "e2")});
    EXPECT_EQ(with.next(), never.next());
    EXPECT_EQ(partition(board, with.state()), partition(board, never.state()));
    EXPECT_FALSE(with.withdraw(EntryName("e1")).ok());
}

}  // namespace
}  // namespace eyelet
