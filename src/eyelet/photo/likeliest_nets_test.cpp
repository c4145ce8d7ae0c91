#include "eyelet/photo/likeliest_nets.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <random>

#include <fmt/format.h>

namespace eyelet {
namespace {

Assembly pads(int count) {
    Assembly assembly;
    assembly.boards.push_back({BoardName("main"), {100, 100}, {}});
    for (int i = 0; i < count; ++i) {
        Joint joint;
        joint.name = JointName(fmt::format("P{}", i));
        joint.board = BoardIndex(0);
        joint.pad_mm = {1, 1};
        assembly.joints.push_back(joint);
    }
    return assembly;
}

Link link(int a, int b, double probability, Side side = Side::component) {
    Link l;
    l.from = JointIndex(static_cast<std::size_t>(a));
    l.to = JointIndex(static_cast<std::size_t>(b));
    l.side = side;
    l.probability = probability;
    return l;
}

std::vector<int> sizes(const std::vector<std::vector<JointIndex>>& nets) {
    std::vector<int> list;
    for (const auto& net : nets) list.push_back(static_cast<int>(net.size()));
    std::sort(list.rbegin(), list.rend());
    return list;
}

TEST(LikeliestNets, LikelyLinksJoinAndUnlikelyOnesDoNot) {
    const auto nets = likeliest_nets(pads(4), {link(0, 1, 0.95), link(1, 2, 0.1), link(2, 3, 0.8)});
    ASSERT_EQ(nets.size(), 2U);
    EXPECT_EQ(nets[0], (std::vector{JointIndex(0), JointIndex(1)}));
    EXPECT_EQ(nets[1], (std::vector{JointIndex(2), JointIndex(3)}));
}

TEST(LikeliestNets, EveryJointOnceEvenWithoutLinks) {
    const auto nets = likeliest_nets(pads(5), {});
    EXPECT_EQ(nets.size(), 5U);
}

TEST(LikeliestNets, BothSidesCountThroughOneJoint) {
    const auto nets = likeliest_nets(pads(3), {link(0, 1, 0.95, Side::component), link(1, 2, 0.95, Side::solder)});
    EXPECT_EQ(nets.size(), 1U);
}

TEST(LikeliestNets, CableConductorsHoldForSure) {
    Assembly assembly = pads(3);
    assembly.cables.push_back({"flat cable", {{JointIndex(0), JointIndex(2)}}});
    EXPECT_EQ(sizes(likeliest_nets(assembly, {})), (std::vector{2, 1}));
}

TEST(LikeliestNets, RefutedLinksDoNotJoin) {
    Link refuted = link(0, 1, 0.99);
    refuted.standing = Standing::refuted;
    EXPECT_EQ(likeliest_nets(pads(2), {refuted}).size(), 2U);
}

TEST(LikeliestNets, WeakBridgeBetweenLargeGroupsIsNotCrossed) {
    std::vector<Link> links;
    for (int i = 0; i < 19; ++i) {
        links.push_back(link(i, i + 1, 0.97));
        links.push_back(link(20 + i, 21 + i, 0.97));
    }
    links.push_back(link(4, 24, 0.4));
    EXPECT_EQ(sizes(likeliest_nets(pads(40), links)), (std::vector{20, 20}));
    // A strong bridge is crossed.
    links.back() = link(4, 24, 0.99);
    EXPECT_EQ(sizes(likeliest_nets(pads(40), links)), (std::vector{40}));
}

TEST(LikeliestNets, ProvenLinksHoldForSure) {
    Link proven = link(0, 1, 0.02);
    proven.standing = Standing::proven;
    EXPECT_EQ(likeliest_nets(pads(2), {proven}).size(), 1U);
}

TEST(LikeliestNets, OrderOfLinksDoesNotMatter) {
    std::mt19937 random(5);
    std::uniform_int_distribution<int> pick(0, 39);
    std::uniform_real_distribution<double> chance(0, 1);
    std::vector<Link> links;
    for (int i = 0; i < 90; ++i) links.push_back(link(pick(random), pick(random), chance(random)));
    const auto before = likeliest_nets(pads(40), links);
    for (int turn = 0; turn < 5; ++turn) {
        std::shuffle(links.begin(), links.end(), random);
        EXPECT_EQ(likeliest_nets(pads(40), links), before);
    }
}

}  // namespace
}  // namespace eyelet
