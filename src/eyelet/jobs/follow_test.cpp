#include "eyelet/jobs/follow.h"

#include <gmock/gmock.h>

#include "eyelet/jobs/import.h"
#include "eyelet/jobs/nets.h"
#include "eyelet/jobs/testing.h"

namespace eyelet {
namespace {

using testing::Contains;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

class FollowTest : public testing::Test {
  protected:
    void SetUp() override {
        job_ = must(import_survey(*store_, drawn_survey(drawn_, pictures_.path()), {"", "", "", kWho})).name;
    }
    const Who kWho{"Ada", "test"};
    const DrawnBoard drawn_ = drawn_board();
    TemporaryFolder bench_;
    TemporaryFolder pictures_;
    std::unique_ptr<Store> store_ = must(open_bench(bench_.path()));
    JobName job_;
};

TEST_F(FollowTest, AlignsFirstAndStoresWhatItProposes) {
    std::vector<double> shares;
    const FollowSummary summary = must(
        follow_job(*store_, job_, {{}, kWho}, {[&](const Progress& p) { shares.push_back(p.share); }, {}}));
    EXPECT_TRUE(std::is_sorted(shares.begin(), shares.end()));
    EXPECT_EQ(shares.back(), 1);
    EXPECT_THAT(must(store_->alignments(job_)), SizeIs(2));
    const auto stored = must(store_->proposals(job_));
    ASSERT_TRUE(stored.has_value());
    EXPECT_FALSE(stored->out_of_date);
    EXPECT_EQ(stored->proposals.links.size(), summary.links);
    EXPECT_GT(summary.links, 0U);
    EXPECT_THAT(summary.tones, SizeIs(2));
    // Likeliest first, and nothing from a photograph is more than proposed.
    const LinksOfJob links = must(links_of(*store_, job_));
    for (std::size_t i = 0; i < links.links.size(); ++i) {
        EXPECT_EQ(links.links[i].standing, Standing::proposed);
        if (i > 0) {
            EXPECT_LE(links.links[i].probability, links.links[i - 1].probability);
        }
    }
    const NetsOfJob nets = must(nets_of(*store_, job_, NetsFrom::photographs));
    std::size_t pads = 0;
    for (const Net& net : nets.nets) {
        pads += net.joints.size();
        EXPECT_EQ(net.standing, NetStanding::proposed);
    }
    EXPECT_EQ(pads, 16U);
}

TEST_F(FollowTest, APersonsWordOnAToneIsKeptAndCanBeTakenBack) {
    must(follow_job(*store_, job_, {{}, kWho}));
    const ToneSettled settled{BoardName("main"), Side::solder, CopperTone::lighter};
    const FollowSummary summary = must(follow_job(*store_, job_, {{settled}, kWho}));
    EXPECT_THAT(must(store_->tones_settled(job_)), Contains(settled));
    bool sure = false;
    for (const auto& tone : summary.tones)
        sure = sure || (tone.side == Side::solder && tone.tone == CopperTone::lighter && tone.sure == 1);
    EXPECT_TRUE(sure);
    EXPECT_FALSE(must(store_->proposals(job_))->out_of_date);
    must(store_->undo(job_, kWho));
    EXPECT_TRUE(must(store_->proposals(job_))->out_of_date);
}

TEST_F(FollowTest, SaysWhichSideHasNoPhotograph) {
    const auto photographs = must(store_->photographs(job_));
    ok(store_->withdraw(job_, {photographs[0].entry}, "blurred", kWho));
    const FollowSummary summary = must(follow_job(*store_, job_, {{}, kWho}));
    EXPECT_THAT(summary.remarks, Contains(HasSubstr("component side: there is no aligned photograph")));
    EXPECT_THAT(summary.tones, SizeIs(1));
}

TEST_F(FollowTest, StoppingStoresNothing) {
    std::stop_source stop;
    Watch watch{[&](const Progress& p) {
                    if (p.share > 0.3) stop.request_stop();
                },
                stop.get_token()};
    const auto result = follow_job(*store_, job_, {{}, kWho}, watch);
    ASSERT_FALSE(result.ok());
    EXPECT_EQ(result.error().code, ErrorCode::refused);
    EXPECT_FALSE(must(store_->proposals(job_)).has_value());
}

TEST_F(FollowTest, AToneForABoardThatIsNotThereIsRefused) {
    const auto result =
        follow_job(*store_, job_, {{{BoardName("other"), Side::solder, CopperTone::darker}}, kWho});
    ASSERT_FALSE(result.ok());
    EXPECT_THAT(result.error().message, HasSubstr("other"));
    EXPECT_THAT(must(store_->tones_settled(job_)), IsEmpty());
}

}  // namespace
}  // namespace eyelet
