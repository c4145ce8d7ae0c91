#include "eyelet/synthetic/damage.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "eyelet/synthetic/layers.h"
#include "eyelet/synthetic/truth.h"

namespace eyelet::synthetic {
namespace {

const std::vector<JointIndex>& net_with(const Layout& layout, JointIndex joint) {
    return *std::find_if(layout.nets.begin(), layout.nets.end(), [&](const auto& net) {
        return std::find(net.begin(), net.end(), joint) != net.end();
    });
}

// A row of three plated pads on one track: A - B - C.
Layout three_in_a_row() {
    Layout layout;
    layout.assembly.boards.push_back({BoardName{"main"}, {30, 10}, {{0, 0}, {30, 0}, {30, 10}, {0, 10}}});
    for (int i = 0; i < 3; ++i) {
        Joint joint;
        joint.name = JointName{"X1." + std::to_string(i + 1)};
        joint.board = BoardIndex{0};
        joint.hole = joint.copper_centre = {5 + 10.0 * i, 5};
        joint.pad_mm = {2, 2};
        joint.drill_mm = Size{0.8, 0.8};
        layout.assembly.joints.push_back(joint);
        layout.wanted_net.push_back(0);
    }
    layout.copper.push_back({stroke({{5, 5}, {15, 5}, {25, 5}}, 0.4), Side::solder, Copper::Kind::track, 0});
    layout.nets = true_nets(layout);
    return layout;
}

TEST(Damage, ALostPadStandsAloneAndPartsWhatMetInIt) {
    Layout layout = three_in_a_row();
    ASSERT_EQ(layout.nets.size(), 1U);
    lose_pad(layout, JointIndex{1});
    EXPECT_EQ(layout.nets.size(), 3U);
    // The copper is gone from the raster too.
    const Layers layers = draw_layers(layout, 20);
    const Plane& copper = layers.of(Side::solder, Layer::copper);
    EXPECT_EQ(copper.at(15 * 20, 5 * 20), 0);
    EXPECT_EQ(copper.at(10 * 20, 5 * 20), 255);
}

TEST(Damage, ALostEndLeavesTheOthersJoined) {
    Layout layout = three_in_a_row();
    lose_pad(layout, JointIndex{2});
    EXPECT_EQ(net_with(layout, JointIndex{0}).size(), 2U);
    EXPECT_EQ(net_with(layout, JointIndex{2}).size(), 1U);
}

TEST(Damage, OnAnInventedBoardOnlyNetsOfTheLostPadChange) {
    for (const std::uint64_t seed : {5U, 8U, 11U}) {
        Layout layout = make_layout(random_recipe(seed));
        JointIndex lost;
        for (std::size_t j = 0; j < layout.assembly.joints.size() && !lost.valid(); ++j)
            if (layout.assembly.joints[j].kind == JointKind::pad &&
                net_with(layout, JointIndex{j}).size() > 3)
                lost = JointIndex{j};
        ASSERT_TRUE(lost.valid()) << "seed " << seed;
        const std::vector<JointIndex> before = net_with(layout, lost);
        const std::size_t others = layout.nets.size() - 1;
        lose_pad(layout, lost);
        EXPECT_EQ(net_with(layout, lost).size(), 1U);
        std::size_t pieces = 0;
        for (const auto& net : layout.nets) {
            const bool of_it = std::find(before.begin(), before.end(), net[0]) != before.end();
            if (of_it) ++pieces;
            for (const JointIndex joint : net)
                EXPECT_EQ(std::find(before.begin(), before.end(), joint) != before.end(), of_it);
        }
        EXPECT_EQ(layout.nets.size(), others + pieces);
        EXPECT_GE(pieces, 2U);
    }
}

}  // namespace
}  // namespace eyelet::synthetic
