#include "eyelet/jobs/corpus.h"

#include <gmock/gmock.h>

#include <nlohmann/json.hpp>

#include "eyelet/jobs/testing.h"

namespace eyelet {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::SizeIs;

// A board folder as shared ones are: survey, photographs, true nets, cameras and copper.
class CorpusTest : public testing::Test {
  protected:
    void SetUp() override {
        board_ = folder_.path() / "drawn-board";
        fs::create_directory(board_);
        const DrawnBoard drawn = drawn_board();
        Survey survey = drawn_survey(drawn, board_);
        std::ofstream(board_ / "survey_bare.json") << survey_json(survey, BoardIndex(0));

        nlohmann::json nets = nlohmann::json::array();
        for (const auto& net : drawn.nets) {
            nlohmann::json one = nlohmann::json::array();
            for (JointIndex joint : net) one.push_back(drawn.map.joint(joint).name.text());
            nets.push_back(one);
        }
        nlohmann::json photos = nlohmann::json::array();
        for (const Side side : {Side::component, Side::solder}) {
            const double s = kDrawnPxPerMm;
            const nlohmann::json homography =
                side == Side::component ? nlohmann::json{{s, 0, -0.5}, {0, s, -0.5}, {0, 0, 1}}
                                        : nlohmann::json{{-s, 0, 50 * s - 0.5}, {0, s, -0.5}, {0, 0, 1}};
            photos.push_back({{"file", std::string(key_of(side)) + ".jpg"},
                              {"homography", homography},
                              {"distortion", {{"k1", 0.0}, {"centre", {500, 300}}, {"radius", 583}}}});
        }
        truth_ = {{"nets", nets}, {"photos", photos}, {"masks", {{"px_per_mm", 20}}}, {"damage", nullptr}};
        write_truth();
        write_copper(drawn);
    }
    void write_truth() { std::ofstream(board_ / "board.json") << truth_.dump(); }
    // The same figures as in drawn_photograph: pads on both sides, tracks on the solder side.
    void write_copper(const DrawnBoard& drawn) {
        for (const Side side : {Side::component, Side::solder}) {
            cv::Mat mask(600, 1000, CV_8UC1, cv::Scalar(0));
            const auto px = [](Point p) {
                return cv::Point(cvRound(p.x * kDrawnPxPerMm), cvRound(p.y * kDrawnPxPerMm));
            };
            const auto& j = drawn.map.joints;
            if (side == Side::solder) {
                for (std::size_t column = 0; column < 7; ++column)
                    cv::line(mask, px(j[column].hole), px(j[8 + column].hole), cv::Scalar(255), 16);
                cv::line(mask, px(j[0].hole), px(j[2].hole), cv::Scalar(255), 16);
            }
            for (const Joint& joint : j) cv::circle(mask, px(joint.hole), 20, cv::Scalar(255), cv::FILLED);
            const auto png = must(encode_png(mask));
            std::ofstream(board_ / ("copper_" + std::string(key_of(side)) + ".png"), std::ios::binary)
                .write(reinterpret_cast<const char*>(png.data()), static_cast<std::streamsize>(png.size()));
        }
    }
    CorpusOptions of_true_copper() const {
        CorpusOptions options;
        options.evidence = CorpusEvidence::true_copper;
        return options;
    }

    TemporaryFolder folder_;
    fs::path board_;
    nlohmann::json truth_;
};

TEST_F(CorpusTest, MeasuresEveryStep) {
    std::size_t told = 0;
    const auto rows = must(run_corpus({folder_.path()}, of_true_copper(), [&](const CorpusRow&) { ++told; }));
    ASSERT_THAT(rows, SizeIs(1));
    EXPECT_EQ(told, 1U);
    const CorpusRow& row = rows[0];
    EXPECT_EQ(row.failed, "");
    EXPECT_EQ(row.board, "drawn-board");
    EXPECT_EQ(row.level, "bare");
    EXPECT_EQ(row.pads, 16U);
    EXPECT_EQ(row.nets, 7U);
    ASSERT_TRUE(row.align_worst_mm.has_value());
    EXPECT_LT(*row.align_worst_mm, 0.1);  // the drawing rounds to 0.05 mm
    // With the true copper before it, following finds all of it and nothing else.
    EXPECT_EQ(row.links, row.links_true);
    EXPECT_EQ(row.recall, 1);
    EXPECT_EQ(row.pair_f1, 1);
    ASSERT_THAT(row.ring_outs, SizeIs(3));
    for (const RingOutcome& one : row.ring_outs) {
        EXPECT_EQ(one.nets_wrong, 0U);
        EXPECT_EQ(one.wrongly_proven, 0U);
        EXPECT_GT(one.gestures, 0U);
    }
    EXPECT_TRUE(row.ring_outs[0].with_photographs);
    EXPECT_EQ(row.ring_outs[1].miss_rate, 0.01);
    EXPECT_FALSE(row.ring_outs[2].with_photographs);
    EXPECT_LT(row.ring_outs[0].gestures, row.ring_outs[2].gestures);

    const std::string table = corpus_table(rows);
    EXPECT_THAT(table, HasSubstr("drawn-board"));
    EXPECT_THAT(table, HasSubstr("Calibration"));
    const auto json = nlohmann::json::parse(corpus_json(rows));
    EXPECT_EQ(json.at("rows").at(0).at("pairs").at("f1"), 1.0);
    EXPECT_EQ(json.at("rows").at(0).at("ring_outs").size(), 3U);
}

TEST_F(CorpusTest, CountsWhatIsWrong) {
    // The truth says that J1.8 is joined to J2.8, which no copper shows: the proposals lack it, the ring-out
    // finds it.
    auto& nets = truth_.at("nets");
    nets.erase(nets.size() - 1);
    nets.back() = {"J1.8", "J2.8"};
    write_truth();
    const auto rows = must(run_corpus({board_}, of_true_copper(), {}));
    ASSERT_EQ(rows[0].failed, "");
    EXPECT_EQ(rows[0].nets, 6U);
    EXPECT_LT(rows[0].recall, 1);
    EXPECT_LT(rows[0].pair_f1, 1);
    EXPECT_EQ(rows[0].pair_precision, 1);
}

TEST_F(CorpusTest, ABrokenBoardEndsItsRowOnly) {
    truth_.at("nets").at(0).push_back("J7.7");
    write_truth();
    const auto rows = must(run_corpus({board_}, of_true_copper(), {}));
    ASSERT_THAT(rows, SizeIs(1));
    EXPECT_THAT(rows[0].failed, HasSubstr("J7.7"));
    EXPECT_THAT(corpus_table(rows), HasSubstr("FAILED"));
    EXPECT_TRUE(nlohmann::json::parse(corpus_json(rows)).at("rows").at(0).contains("failed"));
}

TEST_F(CorpusTest, RefusesFoldersWithoutBoards) {
    EXPECT_EQ(run_corpus({folder_.path() / "none"}, {}, {}).error().code, ErrorCode::not_found);
    const TemporaryFolder empty;
    EXPECT_THAT(run_corpus({empty.path()}, {}, {}).error().message, HasSubstr("no board folder"));
}

}  // namespace
}  // namespace eyelet
