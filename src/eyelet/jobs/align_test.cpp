// Align, tiles and the report, on a drawn board.
#include "eyelet/jobs/align.h"

#include <gmock/gmock.h>

#include "eyelet/jobs/import.h"
#include "eyelet/jobs/journal.h"
#include "eyelet/jobs/nets.h"
#include "eyelet/jobs/report.h"
#include "eyelet/jobs/testing.h"
#include "eyelet/jobs/tiles.h"

namespace eyelet {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

class DrawnJobTest : public testing::Test {
  protected:
    void SetUp() override {
        job_ =
            must(import_survey(*store_, drawn_survey(drawn_, pictures_.path()), {"stops", "warm", "", kWho}))
                .name;
    }
    const Who kWho{"Ada", "test"};
    const DrawnBoard drawn_ = drawn_board();
    TemporaryFolder bench_;
    TemporaryFolder pictures_;
    std::unique_ptr<Store> store_ = must(open_bench(bench_.path()));
    JobName job_;
};

TEST_F(DrawnJobTest, AlignsAndStores) {
    std::vector<double> shares;
    const AlignSummary summary =
        must(align_job(*store_, job_, {[&](const Progress& p) { shares.push_back(p.share); }, {}}));
    EXPECT_GE(shares.size(), 2U);
    EXPECT_TRUE(std::is_sorted(shares.begin(), shares.end()));
    ASSERT_THAT(summary.photographs, SizeIs(2));
    const auto stored = must(store_->alignments(job_));
    ASSERT_THAT(stored, SizeIs(2));
    for (const StoredAlignment& alignment : stored) {
        EXPECT_FALSE(alignment.out_of_date);
        for (std::size_t joint = 0; joint < drawn_.map.joints.size(); ++joint) {
            const Side side = alignment.photograph == summary.photographs[0].photograph.name ? Side::component
                                                                                             : Side::solder;
            const Point seen = alignment.camera.to_photo(drawn_.map.joints[joint].hole);
            const Point drawn = drawn_pixel(drawn_, side, joint);
            // The drawing rounds to whole pixels, 0.05 mm.
            EXPECT_NEAR(distance(seen, drawn), 0, 1.5) << drawn_.map.joints[joint].name.text();
        }
    }
    EXPECT_TRUE(stored[1].camera.mirrored());
}

TEST_F(DrawnJobTest, APhotographOfTheWrongSideIsRefusedAndNothingStored) {
    // The component side's tie points, told to be the solder side's.
    Survey wrong = drawn_survey(drawn_, pictures_.path());
    std::swap(wrong.photos[0].side, wrong.photos[1].side);
    const JobName job = must(import_survey(*store_, wrong, {"", "", "", kWho})).name;
    const auto result = align_job(*store_, job);
    ASSERT_FALSE(result.ok());
    EXPECT_THAT(result.error().message, HasSubstr(".jpg"));
    EXPECT_THAT(must(store_->alignments(job)), IsEmpty());
}

TEST_F(DrawnJobTest, WithoutTiePointsThereIsNothingToAlign) {
    for (const Photograph& photograph : must(store_->photographs(job_)))
        ok(store_->set_tie_points(photograph.name, {}, kWho));
    EXPECT_THAT(align_job(*store_, job_).error().message, HasSubstr("tie points"));
}

TEST_F(DrawnJobTest, StoppingLeavesTheAlignmentAsItWas) {
    std::stop_source stop;
    stop.request_stop();
    EXPECT_FALSE(align_job(*store_, job_, {{}, stop.get_token()}).ok());
    EXPECT_THAT(must(store_->alignments(job_)), IsEmpty());
}

TEST_F(DrawnJobTest, MakesTilesOnceAndAgainWhenTheyAreDeleted) {
    const auto photographs = must(store_->photographs(job_));
    const TilePyramid taken = must(tiles_of(*store_, job_, photographs[0].name, TilesOf::photograph));
    EXPECT_EQ(taken.pyramid, pyramid_of_size(1000, 600));
    EXPECT_TRUE(fs::exists(taken.folder / std::to_string(taken.pyramid.levels - 1) / "0_0.jpg"));
    EXPECT_THAT(tiles_of(*store_, job_, photographs[0].name, TilesOf::rectified).error().message,
                HasSubstr("not aligned"));

    must(align_job(*store_, job_));
    const TilePyramid top = must(tiles_of(*store_, job_, photographs[0].name, TilesOf::rectified));
    const TilePyramid bottom = must(tiles_of(*store_, job_, photographs[1].name, TilesOf::rectified));
    EXPECT_EQ(top.pyramid, bottom.pyramid);
    EXPECT_EQ(top.px_per_mm, bottom.px_per_mm);
    EXPECT_EQ(top.pyramid.width_px, static_cast<int>(std::ceil((50 + 2 * top.margin_mm) * top.px_per_mm)));
    EXPECT_NE(top.folder, bottom.folder);

    fs::remove_all(store_->tiles_folder());
    EXPECT_EQ(must(tiles_of(*store_, job_, photographs[1].name, TilesOf::rectified)).folder, bottom.folder);
    EXPECT_TRUE(fs::exists(bottom.folder));
    EXPECT_EQ(tiles_of(*store_, job_, PhotographName("P99"), TilesOf::photograph).error().code,
              ErrorCode::not_found);
}

TEST_F(DrawnJobTest, CollectsTheReport) {
    must(align_job(*store_, job_));
    Place place;
    place.joints = {JointName("J1.1")};
    must(add_finding(*store_, job_, {"lost pad", place, "gone"}, kWho));
    const auto note = must(add_note(*store_, job_, {"wrong unit"}, kWho));
    ok(withdraw_entry(*store_, job_, note, "mistake", kWho));
    ReadingEntry copper;
    copper.from = JointName("J1.1");
    copper.to = JointName("J1.2");
    copper.said = Ohms{0.2};
    ReadingEntry none = copper;
    none.to = JointName("J1.3");
    none.said = NotMeasured{"lacquer", JointName("J1.3")};
    must(store_->add_entries(job_, {copper}, kWho));
    must(store_->add_entries(job_, {none}, kWho));

    const report::JobReport report = must(report_of(*store_, job_));
    EXPECT_EQ(report.job, "J1");
    EXPECT_THAT(report.complaint, HasSubstr("stops"));
    EXPECT_THAT(report.complaint, HasSubstr("warm"));
    ASSERT_THAT(report.pictures, SizeIs(2));
    EXPECT_EQ(report.pictures[0].side, Side::component);
    const Image picture = must(decode(report.pictures[1].jpeg, "picture"));
    EXPECT_EQ(picture.bgr.cols, report.pictures[1].width_px);
    std::size_t pads = 0;
    for (const Net& net : report.nets) pads += net.joints.size();
    EXPECT_EQ(pads, 16U);
    ASSERT_THAT(report.readings, SizeIs(1));
    EXPECT_EQ(report.readings[0].reading.said, Said(Ohms{0.2}));
    ASSERT_THAT(report.journal, SizeIs(5));  // two photographs, finding, note, not measured
    EXPECT_EQ(report.journal[2].text, "lost pad: J1.1: gone");
    EXPECT_TRUE(report.journal[3].withdrawn);
    EXPECT_THAT(report.journal[4].text, HasSubstr("lacquer"));
    EXPECT_EQ(report.gestures, 1U);
}

TEST_F(DrawnJobTest, ChecksPlacesBeforeStoring) {
    const std::int64_t before = must(store_->job(job_)).last_edit;
    const auto refused = [&](const Place& place, const char* says) {
        const auto finding = add_finding(*store_, job_, {"burnt", place, ""}, kWho);
        ASSERT_FALSE(finding.ok());
        EXPECT_THAT(finding.error().message, HasSubstr(says));
        EXPECT_FALSE(add_work(*store_, job_, {"cleaned", place, ""}, kWho).ok());
    };
    Place place;
    place.joints = {JointName("J9.9")};
    refused(place, "J9.9");
    place = {};
    place.parts = {PartName("R1")};
    refused(place, "R1");
    place = {};
    place.board = BoardName("other");
    refused(place, "other");
    place = {};
    place.point_mm = Point{1, 2};
    refused(place, "side");
    EXPECT_EQ(must(store_->job(job_)).last_edit, before);
    place.side = Side::solder;
    must(add_work(*store_, job_, {"cleaned", place, "isopropyl alcohol"}, kWho));
    must(add_trial(*store_, job_, {"warm", 60, 0, ""}, kWho));
    EXPECT_EQ(must(undo_edit(*store_, job_, kWho)).what, "trial");
    EXPECT_EQ(must(redo_edit(*store_, job_, kWho)).what, "trial");
}

TEST(NetsFromPartition, ListsEveryPadOnce) {
    const DrawnBoard drawn = drawn_board();
    const auto nets = nets_from_partition(drawn.map, drawn.nets);
    ASSERT_THAT(nets, SizeIs(drawn.nets.size()));
    EXPECT_THAT(nets[0].joints, SizeIs(6));
    EXPECT_EQ(nets_from_partition(drawn.map, {}).size(), 16U);
}

}  // namespace
}  // namespace eyelet
