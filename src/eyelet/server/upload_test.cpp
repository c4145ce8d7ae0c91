#include "eyelet/server/upload.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <iterator>

namespace eyelet {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;

class UploadTest : public testing::Test {
  protected:
    UploadTest() {
        std::string pattern = (fs::temp_directory_path() / "eyelet-upload-test-XXXXXX").string();
        parent_ = mkdtemp(pattern.data());
    }
    ~UploadTest() override { fs::remove_all(parent_); }
    std::unique_ptr<Upload> open(const UploadLimits& limits = {}) { return std::move(Upload::create(parent_, limits)).value(); }
    static void put(Upload& upload, const std::string& name, const std::string& content = "x") {
        ASSERT_TRUE(upload.begin_file(name).ok()) << name;
        ASSERT_TRUE(upload.add(content.data(), content.size()).ok());
    }
    fs::path parent_;
};

TEST_F(UploadTest, NamesStayInsideTheFolder) {
    EXPECT_EQ(safe_path("top.jpg").value(), fs::path("top.jpg"));
    EXPECT_EQ(safe_path("mill/main/top side.jpg").value(), fs::path("mill/main/top side.jpg"));
    for (const char* name : {"", "/etc/passwd", "../top.jpg", "a/../../b", "a//b", "a/", ".", "a\\b", "a\nb", "a/b/c/d/e/f.jpg", "\xff.jpg"}) {
        const auto path = safe_path(name);
        ASSERT_FALSE(path.ok()) << name;
        EXPECT_EQ(path.error().message.find('\n'), std::string::npos);
    }
    EXPECT_FALSE(safe_path(std::string(300, 'a')).ok());
}

TEST_F(UploadTest, FilesLieAsSentAndGoWithTheUpload) {
    fs::path folder;
    {
        const auto upload = open();
        folder = upload->folder();
        put(*upload, "mill/survey.json", "{}");
        put(*upload, "mill/top.jpg", "pixels");
        ASSERT_TRUE(upload->add(" more", 5).ok());
        ASSERT_TRUE(upload->finish().ok());
        std::ifstream in(folder / "mill/top.jpg", std::ios::binary);
        EXPECT_EQ(std::string(std::istreambuf_iterator<char>(in), {}), "pixels more");
        EXPECT_EQ(upload->survey().value(), folder / "mill/survey.json");
    }
    EXPECT_FALSE(fs::exists(folder));
    EXPECT_TRUE(fs::is_empty(parent_));
}

TEST_F(UploadTest, LimitsHold) {
    UploadLimits limits;
    limits.max_bytes = 10;
    limits.max_files = 2;
    const auto upload = open(limits);
    put(*upload, "a", "12345");
    put(*upload, "b", "12345");
    EXPECT_THAT(upload->add("6", 1).error().message, HasSubstr("larger than"));
    EXPECT_THAT(upload->begin_file("c").error().message, HasSubstr("more than 2 files"));
}

TEST_F(UploadTest, TheSameNameTwiceIsRefused) {
    const auto upload = open();
    put(*upload, "survey.json");
    EXPECT_THAT(upload->begin_file("survey.json").error().message, HasSubstr("twice"));
}

TEST_F(UploadTest, NothingAndContentWithoutAFileAreRefused) {
    const auto upload = open();
    EXPECT_FALSE(upload->add("x", 1).ok());
    EXPECT_THAT(upload->finish().error().message, HasSubstr("no file came"));
}

TEST_F(UploadTest, TheAssemblyStandsAboveTheSurveysOfItsBoards) {
    const auto upload = open();
    put(*upload, "mill/main/survey.json");
    put(*upload, "mill/front/survey.json");
    EXPECT_THAT(upload->survey().error().message, HasSubstr("more than one survey"));
    put(*upload, "mill/assembly.json");
    EXPECT_EQ(upload->survey().value(), upload->folder() / "mill/assembly.json");
}

TEST_F(UploadTest, ASurveyOfAnotherNameServesWhereItIsTheOnlyOne) {
    const auto upload = open();
    put(*upload, "top.jpg");
    EXPECT_THAT(upload->survey().error().message, HasSubstr("no survey.json"));
    put(*upload, "survey_bare.json");
    EXPECT_EQ(upload->survey().value(), upload->folder() / "survey_bare.json");
    put(*upload, "survey_poor.json");
    EXPECT_FALSE(upload->survey().ok());
    put(*upload, "survey.json");
    EXPECT_EQ(upload->survey().value(), upload->folder() / "survey.json");
}

}  // namespace
}  // namespace eyelet
