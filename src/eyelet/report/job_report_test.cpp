#include "eyelet/report/job_report.h"

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <sstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace eyelet::report {
namespace {

using testing::HasSubstr;

JobReport small_report() {
    JobReport report;
    report.job = "J1";
    report.unit = "KM-0042";
    report.complaint = "Drops selector pulses after forty minutes, when warm.";
    report.made = "2026-11-25 12:00";
    report.assembly.name = "needle selector";
    report.assembly.boards.push_back({BoardName("main"), {60, 40}, {}});
    Part part;
    part.name = PartName("C3");
    part.board = BoardIndex(0);
    part.value = "220u 35V";
    part.body = {{5, 5}, {15, 15}};
    for (int i = 0; i < 4; ++i) {
        Joint joint;
        joint.name = JointName("C3." + std::to_string(i + 1));
        joint.board = BoardIndex(0);
        joint.part = PartIndex(0);
        joint.hole = joint.copper_centre = {5.0 + 10 * i, 10};
        joint.pad_mm = {1.6, 1.6};
        part.joints.emplace_back(static_cast<std::size_t>(i));
        report.assembly.joints.push_back(joint);
    }
    report.assembly.parts.push_back(part);
    report.nets.push_back({"C3.1", NetStanding::proven, {JointIndex(0), JointIndex(1)}});
    report.nets.push_back({"C3.3", NetStanding::proposed, {JointIndex(2)}});
    report.nets.push_back({"C3.4", NetStanding::joined, {JointIndex(3)}});
    report.links.push_back({JointIndex(0), JointIndex(1), Side::solder, 0.97, Standing::proven, {}, 0.5, 0, ""});
    report.unproven.emplace_back(JointIndex(3), "it could not be reached");
    report.readings.push_back({"2026-11-25 11:00", "me", {EntryName("1"), JointIndex(0), JointIndex(1), Ohms{0.21}, false}});
    return report;
}

// What a reader sees, by the text extractor of a general-purpose PDF library.
std::string text_of(const std::string& pdf) {
    std::FILE* pipe = popen(("pdftotext -layout '" + pdf + "' - 2>/dev/null").c_str(), "r");
    std::string text;
    char buffer[4096];
    while (const std::size_t n = std::fread(buffer, 1, sizeof buffer, pipe)) text.append(buffer, n);
    pclose(pipe);
    return text;
}

class ReportTest : public testing::Test {
  protected:
    void SetUp() override {
        folder_ = std::filesystem::path(testing::TempDir()) /
                  testing::UnitTest::GetInstance()->current_test_info()->name();
        std::filesystem::create_directories(folder_);
    }
    void TearDown() override { std::filesystem::remove_all(folder_); }
    std::filesystem::path folder_;
};

TEST_F(ReportTest, SaysWhatIsProvenAndWhatIsNot) {
    const std::string pdf = folder_ / "job.pdf";
    const Status status = write_pdf(small_report(), pdf);
    ASSERT_TRUE(status.ok()) << status.error().message;
    const std::string text = text_of(pdf);
    EXPECT_THAT(text, HasSubstr("KM-0042"));
    EXPECT_THAT(text, HasSubstr("Drops selector pulses"));
    EXPECT_THAT(text, HasSubstr("2 of 3 nets not proven"));
    EXPECT_THAT(text, HasSubstr("it could not be reached"));
    EXPECT_THAT(text, HasSubstr("0.21 Ω"));
    EXPECT_THAT(text, HasSubstr("Power off before probes go on"));
    EXPECT_FALSE(std::filesystem::exists(pdf + ".part"));
}

TEST_F(ReportTest, NumbersEveryPageOfTheWhole) {
    JobReport report = small_report();
    for (int i = 0; i < 400; ++i) report.readings.push_back(report.readings[0]);
    report.nets[0].name = std::string(300, 'x');
    const std::string pdf = folder_ / "long.pdf";
    ASSERT_TRUE(write_pdf(report, pdf).ok());
    const std::string text = text_of(pdf);
    const auto pages = std::count(text.begin(), text.end(), '\f');
    EXPECT_GT(pages, 5);
    for (long page = 1; page <= pages; ++page)
        EXPECT_THAT(text, HasSubstr(std::to_string(page) + " of " + std::to_string(pages)));
}

TEST_F(ReportTest, ACellLongerThanAPageIsNotLost) {
    JobReport report = small_report();
    std::string words;
    for (int i = 0; i < 4000; ++i) words += "word" + std::to_string(i) + " ";
    report.journal.push_back({"2026-11-25 11:00", "me", "note", words, false});
    const std::string pdf = folder_ / "cell.pdf";
    ASSERT_TRUE(write_pdf(report, pdf).ok());
    const std::string text = text_of(pdf);
    for (const char* word : {"word0 ", "word1999 ", "word3999"}) EXPECT_THAT(text, HasSubstr(word));
}

TEST_F(ReportTest, AFolderThatIsNotThereIsSaidAndLeavesNothing) {
    const Status status = write_pdf(small_report(), folder_ / "nowhere" / "job.pdf");
    ASSERT_FALSE(status.ok());
    EXPECT_THAT(status.error().message, HasSubstr("nowhere"));
    EXPECT_TRUE(std::filesystem::is_empty(folder_));
}

TEST_F(ReportTest, DrawsASideAsSvg) {
    const std::string svg = folder_ / "side.svg";
    ASSERT_TRUE(write_svg(small_report(), BoardIndex(0), Side::solder, svg).ok());
    std::ifstream in(svg);
    std::stringstream text;
    text << in.rdbuf();
    EXPECT_THAT(text.str(), HasSubstr("<svg"));
    EXPECT_FALSE(write_svg(small_report(), BoardIndex(0), Side::solder, folder_ / "nowhere" / "side.svg").ok());
}

}  // namespace
}  // namespace eyelet::report
