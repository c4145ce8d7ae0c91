#include "eyelet/board/map.h"

#include <cmath>
#include <limits>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace eyelet {
namespace {

using testing::HasSubstr;

Assembly two_joints() {
    Assembly assembly;
    assembly.boards.push_back({BoardName("main"), {50, 40}, {}});
    for (const char* name : {"R1.1", "R1.2"}) {
        Joint joint;
        joint.name = JointName(name);
        joint.board = BoardIndex(0);
        joint.pad_mm = {1.6, 1.6};
        assembly.joints.push_back(joint);
    }
    return assembly;
}

TEST(Map, AcceptsASoundAssembly) { EXPECT_TRUE(check(two_joints()).ok()); }

TEST(Map, NamesTheJointThatIsThereTwice) {
    Assembly assembly = two_joints();
    assembly.joints[1].name = assembly.joints[0].name;
    const Status status = check(assembly);
    ASSERT_FALSE(status.ok());
    EXPECT_THAT(status.error().message, HasSubstr("joint R1.1"));
}

TEST(Map, RefusesNumbersThatAreNotFiniteOrNotPositive) {
    Assembly assembly = two_joints();
    assembly.joints[0].hole.x = std::numeric_limits<double>::quiet_NaN();
    EXPECT_FALSE(check(assembly).ok());
    assembly = two_joints();
    assembly.joints[1].pad_mm.width = -1;
    EXPECT_FALSE(check(assembly).ok());
    assembly = two_joints();
    assembly.joints[1].drill_mm = Size{0, 1};
    EXPECT_FALSE(check(assembly).ok());
}

TEST(Map, OnlyPlatedJointsOnBothSidesAndViasCarryCopperThrough) {
    Joint joint;
    joint.sides = JointSides::both;
    joint.plated = false;
    EXPECT_FALSE(joint.joins_sides());
    joint.kind = JointKind::via;
    EXPECT_TRUE(joint.joins_sides());
    EXPECT_FALSE(joint.can_be_touched());
    joint.sides = JointSides::solder;
    EXPECT_FALSE(joint.joins_sides());
}

}  // namespace
}  // namespace eyelet
