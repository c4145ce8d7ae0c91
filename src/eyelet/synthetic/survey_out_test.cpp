#include "eyelet/synthetic/survey_out.h"

#include <gtest/gtest.h>

#include <set>

namespace eyelet::synthetic {
namespace {

using nlohmann::json;

struct Written {
    Layout layout;
    std::vector<PhotoFile> photos;
    json survey;
};

Written written(std::uint64_t seed, Ties ties = {}) {
    Written made{make_layout(random_recipe(seed)), {}, {}};
    Shot shot;
    for (const Side side : {Side::component, Side::solder}) {
        shot.side = side;
        made.photos.push_back({side == Side::component ? "top.jpg" : "bottom.jpg", side, shot.width_px,
                               shot.height_px, camera_of(shot, made.layout.assembly.boards[0].size_mm)});
    }
    made.survey = survey_of(made.layout, "made-" + std::to_string(seed), made.photos, ties);
    return made;
}

TEST(SurveyOut, SaysWhatTheSchemaAsksAndNoTruth) {
    for (const std::uint64_t seed : {2U, 3U, 7U}) {
        const Written made = written(seed);
        EXPECT_EQ(made.survey["schema"], "board-survey/1");
        EXPECT_EQ(made.survey["units"], "mm");
        for (const char* truth : {"nets", "damage", "check"}) EXPECT_FALSE(made.survey.contains(truth));
        std::set<std::string> names;
        for (const json& joint : made.survey["joints"]) {
            EXPECT_TRUE(names.insert(joint["id"]).second);
            for (const char* member : {"kind", "ref", "pin", "x", "y", "cx", "cy", "side", "plated", "shape",
                                       "size", "rot", "drill"})
                EXPECT_TRUE(joint.contains(member)) << member;
            EXPECT_GT(joint["size"][0].get<double>(), 0);
        }
        EXPECT_EQ(names.size(), made.layout.assembly.joints.size());
        for (const json& part : made.survey["parts"])
            for (const json& joint : part["joints"]) EXPECT_TRUE(names.count(joint));
        for (const json& photo : made.survey["photos"]) EXPECT_FALSE(photo.contains("homography"));
    }
}

TEST(SurveyOut, TiePointsAreClickedNearTheirJoints) {
    const Written made = written(3);
    for (std::size_t p = 0; p < 2; ++p) {
        const json& points = made.survey["photos"][p]["tie_points"];
        ASSERT_EQ(points.size(), 7U);
        for (const json& point : points) {
            const JointIndex index = made.layout.assembly.find_joint(JointName{point["joint"]});
            ASSERT_TRUE(index.valid());
            const Joint& joint = made.layout.assembly.joint(index);
            EXPECT_EQ(joint.kind, JointKind::pad);
            EXPECT_TRUE(joint.on(made.photos[p].side));
            const Point pixel{point["pixel"][0], point["pixel"][1]};
            // Deviation 1.5 px each way: 8 px is beyond five deviations.
            EXPECT_LT(distance(pixel, made.photos[p].camera.to_photo(joint.copper_centre)), 8);
        }
    }
}

TEST(SurveyOut, OneTiePointCanBePlainlyWrong) {
    Ties ties;
    ties.one_wrong = true;
    const Written made = written(3, ties);
    const json& last = made.survey["photos"][0]["tie_points"].back();
    const Joint& joint =
        made.layout.assembly.joint(made.layout.assembly.find_joint(JointName{last["joint"]}));
    EXPECT_GT(
        distance({last["pixel"][0], last["pixel"][1]}, made.photos[0].camera.to_photo(joint.copper_centre)),
        50);
}

TEST(SurveyOut, TruthIsAPartitionOfAllJoints) {
    const Written made = written(7);
    const json truth = truth_of(made.layout, made.photos);
    std::set<std::string> names;
    for (const json& net : truth["nets"])
        for (const json& joint : net) EXPECT_TRUE(names.insert(joint).second);
    EXPECT_EQ(names.size(), made.layout.assembly.joints.size());
    EXPECT_EQ(truth["photos"].size(), 2U);
}

}  // namespace
}  // namespace eyelet::synthetic
