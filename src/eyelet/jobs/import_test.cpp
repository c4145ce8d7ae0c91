#include "eyelet/jobs/import.h"

#include <gmock/gmock.h>

#include "eyelet/jobs/testing.h"

namespace eyelet {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

class ImportTest : public testing::Test {
  protected:
    Survey survey() { return drawn_survey(drawn_board(), pictures_.path()); }
    // Refused with one line that holds `says`, and the bench is as before.
    void expect_refused(const Survey& bad, const std::string& says) {
        const auto result = import_survey(*store_, bad, {"", "", "", {"Ada", "test"}});
        ASSERT_FALSE(result.ok()) << says;
        EXPECT_THAT(result.error().message, HasSubstr(says));
        EXPECT_EQ(result.error().message.find('\n'), std::string::npos);
        EXPECT_THAT(must(store_->jobs()), IsEmpty());
        EXPECT_FALSE(fs::exists(bench_.path() / "photographs"));
    }
    TemporaryFolder bench_;
    TemporaryFolder pictures_;
    std::unique_ptr<Store> store_ = must(open_bench(bench_.path()));
};

TEST_F(ImportTest, MakesAJobOfASurvey) {
    Survey from = survey();
    from.complaint = "stops";
    const Job job = must(import_survey(*store_, from, {"stops when warm", "warm", "", {"Ada", "test"}}));
    EXPECT_EQ(job.complaint, "stops when warm");
    const auto photographs = must(store_->photographs(job.name));
    ASSERT_THAT(photographs, SizeIs(2));
    EXPECT_EQ(photographs[0].media_type, "image/jpeg");
    EXPECT_EQ(photographs[0].width_px, 1000);
    EXPECT_THAT(photographs[1].tie_points, SizeIs(6));
    EXPECT_EQ(photographs[1].side, Side::solder);
    EXPECT_THAT(must(store_->map(job.name)).map.joints, SizeIs(16));
}

TEST_F(ImportTest, RefusesAPhotographThatIsNotThere) {
    Survey bad = survey();
    fs::remove(bad.photos[1].path);
    expect_refused(bad, "bottom.jpg");
}

TEST_F(ImportTest, RefusesATruncatedPhotographWithoutKeepingTheGoodOne) {
    Survey bad = survey();
    fs::resize_file(bad.photos[1].path, fs::file_size(bad.photos[1].path) / 2);
    expect_refused(bad, "bottom.jpg");
}

TEST_F(ImportTest, RefusesWhatIsNoPicture) {
    Survey bad = survey();
    std::ofstream(bad.photos[0].path) << "not a picture";
    expect_refused(bad, "top.jpg");
}

TEST_F(ImportTest, RefusesASizeThatIsNotThePictures) {
    Survey bad = survey();
    bad.photos[0].width_px = 4000;
    expect_refused(bad, "1000 x 600 pixels, not 4000 x 600");
}

TEST_F(ImportTest, StoppingStoresNothing) {
    std::stop_source stop;
    stop.request_stop();
    const auto result =
        import_survey(*store_, survey(), {"", "", "", {"Ada", "test"}}, {{}, stop.get_token()});
    ASSERT_FALSE(result.ok());
    EXPECT_THAT(must(store_->jobs()), IsEmpty());
}

TEST_F(ImportTest, AddsAPhotographLater) {
    const JobName job = must(import_survey(*store_, survey(), {"", "", "", {"Ada", "test"}})).name;
    NewPhotograph photograph;
    photograph.bytes = must(encode_png(cv::Mat(80, 120, CV_8UC3, cv::Scalar(9, 9, 9))));
    photograph.file_name = "detail.png";
    photograph.board = BoardName("main");
    const Photograph added = must(add_job_photograph(*store_, job, photograph, {"Ada", "test"}));
    EXPECT_EQ(added.width_px, 120);
    EXPECT_EQ(added.height_px, 80);
    EXPECT_EQ(added.media_type, "image/png");
    photograph.tie_points = {{JointName("J1.1"), {120, 3}}};
    EXPECT_THAT(add_job_photograph(*store_, job, photograph, {"Ada", "test"}).error().message,
                HasSubstr("outside the picture"));
    photograph.tie_points = {{JointName("J1.1"), {1, 3}}, {JointName("J1.1"), {2, 3}}};
    EXPECT_THAT(add_job_photograph(*store_, job, photograph, {"Ada", "test"}).error().message,
                HasSubstr("two tie points"));
    photograph.tie_points = {{JointName("J9.1"), {1, 3}}};
    EXPECT_THAT(add_job_photograph(*store_, job, photograph, {"Ada", "test"}).error().message,
                HasSubstr("no such joint"));
    EXPECT_THAT(must(store_->photographs(job)), SizeIs(3));
}

}  // namespace
}  // namespace eyelet
