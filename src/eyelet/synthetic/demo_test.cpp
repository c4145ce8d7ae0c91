#include "eyelet/synthetic/demo.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <set>

#include "eyelet/synthetic/made_board.h"

namespace eyelet::synthetic {
namespace {

std::size_t net_with(const std::vector<std::vector<JointIndex>>& nets, JointIndex joint) {
    for (std::size_t n = 0; n < nets.size(); ++n)
        if (std::find(nets[n].begin(), nets[n].end(), joint) != nets[n].end()) return n;
    return nets.size();
}

std::size_t joints_in(const std::vector<std::vector<JointIndex>>& nets) {
    std::set<JointIndex> joints;
    for (const auto& net : nets)
        for (const JointIndex joint : net) EXPECT_TRUE(joints.insert(joint).second);
    return joints.size();
}

class DemoTest : public testing::Test {
  protected:
    static void SetUpTestSuite() { demo_ = new Demo(make_demo(900)); }
    static void TearDownTestSuite() { delete demo_; }
    static JointIndex joint(const std::string& name) { return demo_->assembly.find_joint(JointName{name}); }
    static Demo* demo_;
};
Demo* DemoTest::demo_ = nullptr;

TEST_F(DemoTest, EveryPlannedNetIsRoutedAndTheMapHolds) {
    EXPECT_EQ(demo_->unrouted, std::vector<std::string>{});
    ASSERT_TRUE(check(demo_->assembly).ok()) << check(demo_->assembly).error().message;
    ASSERT_EQ(demo_->boards.size(), 2U);
    ASSERT_EQ(demo_->assembly.cables.size(), 1U);
    EXPECT_EQ(demo_->assembly.cables[0].conductors.size(), 16U);
}

TEST_F(DemoTest, NetsArePartitionsAndFollowThePlan) {
    for (const auto* nets : {&demo_->nets_sound, &demo_->nets_worn, &demo_->nets_worn_with_cable})
        EXPECT_EQ(joints_in(*nets), demo_->assembly.joints.size());
    const auto joined = [&](const char* a, const char* b) {
        return net_with(demo_->nets_sound, joint(a)) == net_with(demo_->nets_sound, joint(b));
    };
    EXPECT_TRUE(joined("main/U1.39", "main/U2.11"));
    EXPECT_TRUE(joined("main/U1.20", "main/J1.16"));
    EXPECT_TRUE(joined("drive/Q1.2", "drive/J2.1"));
    EXPECT_FALSE(joined("main/U1.39", "main/U1.38"));
    EXPECT_FALSE(joined("main/J1.5", "drive/J1.5"));
    EXPECT_EQ(net_with(demo_->nets_worn_with_cable, joint("main/J1.5")),
              net_with(demo_->nets_worn_with_cable, joint("drive/R1.1")));
}

TEST_F(DemoTest, OnlyTheLostPadChangesTheNets) {
    const JointIndex lost = joint("drive/C3.1");
    ASSERT_TRUE(lost.valid());
    EXPECT_GT(demo_->nets_sound[net_with(demo_->nets_sound, lost)].size(), 1U);
    EXPECT_EQ(demo_->nets_worn[net_with(demo_->nets_worn, lost)].size(), 1U);
    EXPECT_EQ(demo_->nets_worn.size(), demo_->nets_sound.size() + 1);
    EXPECT_LT(demo_->nets_worn_with_cable.size(), demo_->nets_worn.size());
}

TEST_F(DemoTest, FindingsNameWhatIsThere) {
    for (const DemoFinding& finding : demo_->findings) {
        if (!finding.joint.empty()) {
            EXPECT_TRUE(joint(finding.joint).valid()) << finding.joint;
        }
        if (finding.part.empty()) continue;
        const BoardIndex board = demo_->assembly.find_board(BoardName{finding.board});
        ASSERT_TRUE(board.valid());
        EXPECT_TRUE(std::any_of(
            demo_->assembly.parts.begin(), demo_->assembly.parts.end(),
            [&](const Part& part) { return part.board == board && part.name.text() == finding.part; }))
            << finding.part;
    }
}

TEST_F(DemoTest, AssemblyFileNamesBoardsAndConductors) {
    const nlohmann::json file = assembly_file(demo_->assembly, demo_->complaint);
    EXPECT_EQ(file["schema"], "board-assembly/1");
    EXPECT_EQ(file["boards"][0]["name"], "main");
    EXPECT_EQ(file["boards"][1]["survey"], "drive/survey.json");
    EXPECT_EQ(file["cables"][0]["conductors"][4], nlohmann::json::array({"main/J1.5", "drive/J1.5"}));
    EXPECT_EQ(file["complaint"], demo_->complaint);
}

TEST_F(DemoTest, PhotographsShowTheDamage) {
    DemoBoard sound = demo_->boards[1];
    sound.worn = sound.sound;
    const Photograph before = photograph(sound, Side::solder);
    const Photograph after = photograph(demo_->boards[1], Side::solder);
    ASSERT_EQ(before.rgb.size(), after.rgb.size());
    const Joint& lost =
        demo_->boards[1].sound.assembly.joint(demo_->boards[1].sound.assembly.find_joint(JointName{"C3.1"}));
    std::size_t near = 0;
    std::size_t far = 0;
    for (int y = 0; y < after.height; ++y)
        for (int x = 0; x < after.width; ++x) {
            const std::size_t at = 3 * (static_cast<std::size_t>(y) * static_cast<std::size_t>(after.width) +
                                        static_cast<std::size_t>(x));
            if (std::abs(before.rgb[at] - after.rgb[at]) < 20) continue;
            (distance(after.camera.to_board({static_cast<double>(x), static_cast<double>(y)}), lost.hole) < 4
                 ? near
                 : far) += 1;
        }
    EXPECT_GT(near, 10U);
    EXPECT_EQ(far, 0U);
}

TEST(MadeBoard, NetsAreAPartitionAndTheMapHolds) {
    const MadeBoard made = made_board(5000);
    ASSERT_TRUE(check(made.assembly).ok()) << check(made.assembly).error().message;
    EXPECT_EQ(made.assembly.joints.size(), 5000U);
    EXPECT_EQ(joints_in(made.nets), 5000U);
    EXPECT_GT(made.nets.size(), 800U);
}

TEST(MadeBoard, ProposalsAreHonest) {
    const MadeBoard made = made_board(5000);
    std::vector<std::size_t> net_of(5000);
    for (std::size_t n = 0; n < made.nets.size(); ++n)
        for (const JointIndex joint : made.nets[n]) net_of[joint.raw()] = n;
    double expected[10]{};
    double truly[10]{};
    double count[10]{};
    for (const Link& link : made.proposals.links) {
        const auto tenth = static_cast<std::size_t>(std::min(9.0, link.probability * 10));
        expected[tenth] += link.probability;
        count[tenth] += 1;
        if (net_of[link.from.raw()] == net_of[link.to.raw()]) truly[tenth] += 1;
    }
    for (int tenth = 0; tenth < 10; ++tenth) {
        if (count[tenth] < 50) continue;
        // Four deviations of a share of `count` draws at worst (p = 1/2), plus the few false links that found
        // no place.
        EXPECT_NEAR(truly[tenth] / count[tenth], expected[tenth] / count[tenth],
                    2 / std::sqrt(count[tenth]) + 0.02)
            << tenth;
    }
    EXPECT_GT(count[9], 1000);
}

TEST(MadeBoard, SameSeedSameBoard) {
    const MadeBoard a = made_board(300);
    const MadeBoard b = made_board(300);
    EXPECT_EQ(a.nets, b.nets);
    EXPECT_EQ(a.proposals.links.size(), b.proposals.links.size());
    MadeOptions other;
    other.seed = 2;
    EXPECT_NE(a.nets, made_board(300, other).nets);
}

}  // namespace
}  // namespace eyelet::synthetic
