#include "eyelet/exchange/survey.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cstdlib>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "eyelet/exchange/json_text.h"

namespace eyelet {
namespace {

using nlohmann::json;
using ::testing::AllOf;
using ::testing::HasSubstr;
namespace fs = std::filesystem;

// A board of four joints and one resistor, in the schema's own words.
json small_board() {
    return json::parse(R"({
      "schema": "board-survey/1", "slug": "needle-bed", "units": "mm", "size": [40, 30],
      "outline": [[0, 0], [40, 0], [40, 30], [0, 30]],
      "joints": [
        {"id": "R1.1", "kind": "pad", "ref": "R1", "pin": "1", "x": 5, "y": 5, "side": "both", "plated": true,
         "shape": "circle", "size": [1.6, 1.6], "rot": 0, "drill": [0.8, 0.8]},
        {"id": "R1.2", "kind": "pad", "ref": "R1", "pin": "2", "x": 15, "y": 5, "cx": 15.2, "cy": 5, "side": "both",
         "plated": true, "shape": "rect", "size": [1.6, 1.8], "rot": 90, "drill": [0.8, 0.8]},
        {"id": "H***.2", "kind": "pad", "ref": "H***", "pin": "2", "x": 35, "y": 25, "side": "top", "plated": false,
         "shape": "oval", "size": [2, 1], "rot": 0, "drill": null},
        {"id": "via1", "kind": "via", "ref": "", "pin": "", "x": 20, "y": 20, "side": "both", "plated": true,
         "shape": "circle", "size": [0.8, 0.8], "rot": 0, "drill": [0.4, 0.4]}],
      "parts": [{"ref": "R1", "value": "4k7", "kind": "axial_resistor", "side": "top", "bbox": [6, 4, 14, 6],
                 "joints": ["R1.1", "R1.2"]}],
      "photos": [{"file": "top.jpg", "side": "top", "width": 400, "height": 300, "tie_points": [
        {"joint": "R1.1", "pixel": [50, 50]}, {"joint": "R1.2", "pixel": [150.5, 50]},
        {"joint": "H***.2", "pixel": [350, 250]}, {"joint": "via1", "pixel": [200, 200]}]}]})");
}

Result<Survey> parse(const json& document) {
    return parse_survey(document.dump(), "needle.json");
}

std::string refusal(const Result<Survey>& result) {
    if (result.ok()) return "(not refused)";
    const std::string& message = result.error().message;
    EXPECT_EQ(message.find('\n'), std::string::npos) << "a refusal is one line: " << message;
    EXPECT_EQ(message.rfind("needle.json: ", 0), 0U) << "a refusal starts with the file: " << message;
    return message;
}
std::string refusal(const json& document) {
    return refusal(parse(document));
}

// A folder of its own for each test, removed afterwards.
class SurveyFolder : public ::testing::Test {
  protected:
    void SetUp() override {
        std::string pattern = (fs::temp_directory_path() / "eyelet-survey-XXXXXX").string();
        ASSERT_NE(mkdtemp(pattern.data()), nullptr);
        folder_ = pattern;
    }
    void TearDown() override {
        std::error_code ignored;
        fs::remove_all(folder_, ignored);
    }
    void put(const fs::path& name, const std::string& text) const {
        fs::create_directories((folder_ / name).parent_path());
        std::ofstream(folder_ / name, std::ios::binary) << text;
    }
    fs::path folder_;
};

TEST(Survey, ReadsEveryMember) {
    const auto result = parse(small_board());
    ASSERT_TRUE(result.ok()) << result.error().message;
    const Survey& survey = result.value();
    const Assembly& assembly = survey.assembly;
    EXPECT_EQ(assembly.name, "needle-bed");
    ASSERT_EQ(assembly.boards.size(), 1U);
    EXPECT_EQ(assembly.boards[0].name, BoardName("needle-bed"));
    EXPECT_EQ(assembly.boards[0].size_mm, (Size{40, 30}));
    EXPECT_EQ(assembly.boards[0].outline.size(), 4U);
    ASSERT_EQ(assembly.joints.size(), 4U);
    const Joint& joint = assembly.joints[1];
    EXPECT_EQ(joint.name, JointName("R1.2"));
    EXPECT_EQ(joint.pin, "2");
    EXPECT_EQ(joint.hole, (Point{15, 5}));
    EXPECT_EQ(joint.copper_centre, (Point{15.2, 5}));
    EXPECT_EQ(joint.shape, PadShape::rectangle);
    EXPECT_EQ(joint.pad_mm, (Size{1.6, 1.8}));
    EXPECT_EQ(joint.rotation_deg, 90);
    EXPECT_EQ(joint.drill_mm, (Size{0.8, 0.8}));
    EXPECT_EQ(joint.sides, JointSides::both);
    EXPECT_EQ(joint.part, PartIndex(0));
    EXPECT_EQ(assembly.joints[0].copper_centre, assembly.joints[0].hole) << "cx, cy default to the hole";
    EXPECT_EQ(assembly.joints[2].name, JointName("H***.2"));
    EXPECT_EQ(assembly.joints[2].sides, JointSides::component);
    EXPECT_FALSE(assembly.joints[2].drill_mm.has_value());
    EXPECT_FALSE(assembly.joints[2].plated);
    EXPECT_EQ(assembly.joints[3].kind, JointKind::via);
    ASSERT_EQ(assembly.parts.size(), 1U);
    EXPECT_EQ(assembly.parts[0].value, "4k7");
    EXPECT_EQ(assembly.parts[0].body, (Box{{6, 4}, {14, 6}}));
    EXPECT_EQ(assembly.parts[0].joints, (std::vector{JointIndex(0), JointIndex(1)}));
    ASSERT_EQ(survey.photos.size(), 1U);
    EXPECT_EQ(survey.photos[0].side, Side::component);
    EXPECT_EQ(survey.photos[0].width_px, 400);
    ASSERT_EQ(survey.photos[0].tie_points.size(), 4U);
    EXPECT_EQ(survey.photos[0].tie_points[1].joint, JointIndex(1));
    EXPECT_EQ(survey.photos[0].tie_points[1].pixel, (Point{150.5, 50}));
}

TEST(Survey, IgnoresMembersThatItDoesNotKnow) {
    json board = small_board();
    board["weather"] = "fine";
    board["joints"][0]["net"] = 7;
    board["photos"][0]["camera"] = {{"maker", nullptr}};
    EXPECT_TRUE(parse(board).ok());
}

TEST(Survey, TellsPartsOfOneReferenceApart) {
    json board = small_board();
    board["parts"].push_back(board["parts"][0]);
    board["parts"][1]["joints"] = {"H***.2"};
    board["parts"].push_back(board["parts"][0]);
    board["parts"][2]["joints"] = {"via1"};
    board["parts"][2]["ref"] = "R1#2";  // a reference that the numbering must step over
    const auto result = parse(board);
    ASSERT_TRUE(result.ok()) << result.error().message;
    EXPECT_EQ(result.value().assembly.parts[0].name, PartName("R1"));
    EXPECT_EQ(result.value().assembly.parts[1].name, PartName("R1#3"));
    EXPECT_EQ(result.value().assembly.parts[2].name, PartName("R1#2"));
}

TEST(Survey, GivesAJointToThePartItNames) {
    json board = small_board();
    board["parts"][0]["joints"] = {"R1.1"};
    const auto result = parse(board);
    ASSERT_TRUE(result.ok());
    EXPECT_EQ(result.value().assembly.joints[1].part, PartIndex(0));
    EXPECT_EQ(result.value().assembly.parts[0].joints.size(), 2U);
}

TEST(Survey, RoundTrip) {
    const auto first = parse(small_board());
    ASSERT_TRUE(first.ok());
    const std::string text = survey_json(first.value(), BoardIndex(0));
    const auto second = parse_survey(text, "again.json");
    ASSERT_TRUE(second.ok()) << second.error().message;
    EXPECT_EQ(survey_json(second.value(), BoardIndex(0)), text);
    EXPECT_EQ(second.value().assembly.joints[2].name, JointName("H***.2"));
    EXPECT_EQ(second.value().photos[0].tie_points[1].pixel, (Point{150.5, 50}));
    // The text is the same board as the one it came from, member by member where the first named it.
    const json was = small_board();
    const json is = json::parse(text);
    for (const char* key : {"schema", "slug", "units", "size", "outline", "parts"})
        EXPECT_EQ(is[key], was[key]) << key;
    for (std::size_t i = 0; i < was["joints"].size(); ++i)
        for (const auto& [key, value] : was["joints"][i].items()) {
            if (key == "ref") continue;
            EXPECT_EQ(is["joints"][i][key], value) << i << ' ' << key;
        }
}

// One change to a good board, and what its refusal must say: the place and what would be right.
struct BadSurvey {
    const char* name;
    const char* patch;  // RFC 6902
    std::vector<const char*> says;
};
void PrintTo(const BadSurvey& bad, std::ostream* out) {
    *out << bad.name;
}
class RefusesSurvey : public ::testing::TestWithParam<BadSurvey> {};

TEST_P(RefusesSurvey, InOneLineThatSaysWhere) {
    ASSERT_TRUE(parse(small_board()).ok());
    const std::string said = refusal(small_board().patch(json::parse(GetParam().patch)));
    for (const char* part : GetParam().says) EXPECT_THAT(said, HasSubstr(part));
}

const BadSurvey kBadSurveys[] = {
    {"schema_missing", R"([{"op":"remove","path":"/schema"}])", {"\"schema\" is missing", "board-survey/1"}},
    {"schema_other",
     R"([{"op":"replace","path":"/schema","value":"board-survey/2"}])",
     {"schema", "board-survey/2", "\"board-survey/1\""}},
    {"schema_number", R"([{"op":"replace","path":"/schema","value":1}])", {"schema", "\"board-survey/1\""}},
    {"slug_missing", R"([{"op":"remove","path":"/slug"}])", {"\"slug\" is missing"}},
    {"units_inch", R"([{"op":"replace","path":"/units","value":"inch"}])", {"units", "inch", "\"mm\""}},
    {"size_missing", R"([{"op":"remove","path":"/size"}])", {"\"size\" is missing"}},
    {"size_negative",
     R"([{"op":"replace","path":"/size","value":[-40,30]}])",
     {"size", "positive", "[-40,30]"}},
    {"size_zero", R"([{"op":"replace","path":"/size","value":[40,0]}])", {"size", "positive"}},
    {"size_text_nan",
     R"([{"op":"replace","path":"/size","value":["NaN",30]}])",
     {"size", "NaN", "positive numbers"}},
    {"size_one_number", R"([{"op":"replace","path":"/size","value":[40]}])", {"size", "two positive"}},
    {"size_huge", R"([{"op":"replace","path":"/size","value":[4e9,30]}])", {"size", "5000 mm"}},
    {"outline_short",
     R"([{"op":"replace","path":"/outline","value":[[0,0],[1,1]]}])",
     {"outline", "three or more"}},
    {"outline_point", R"([{"op":"replace","path":"/outline/2","value":[1,"a"]}])", {"outline[2]", "point"}},
    {"outline_far",
     R"([{"op":"replace","path":"/outline/2","value":[400,30]}])",
     {"outline[2]", "far outside"}},
    {"joints_missing", R"([{"op":"remove","path":"/joints"}])", {"\"joints\" is missing"}},
    {"joints_object", R"([{"op":"replace","path":"/joints","value":{}}])", {"joints", "list"}},
    {"joints_empty", R"([{"op":"replace","path":"/joints","value":[]}])", {"joints", "empty"}},
    {"joint_number", R"([{"op":"replace","path":"/joints/1","value":3}])", {"joints[1]", "object"}},
    {"joint_without_id", R"([{"op":"remove","path":"/joints/1/id"}])", {"joints[1]", "\"id\" is missing"}},
    {"joint_id_empty", R"([{"op":"replace","path":"/joints/1/id","value":""}])", {"joints[1]", "empty"}},
    {"joint_id_line_break",
     R"([{"op":"replace","path":"/joints/1/id","value":"a\nb"}])",
     {"joints[1].id", "control character"}},
    {"joint_twice",
     R"([{"op":"replace","path":"/joints/1/id","value":"R1.1"}])",
     {"joints[1]", "\"R1.1\"", "used twice"}},
    {"joint_kind",
     R"([{"op":"replace","path":"/joints/1/kind","value":"blob"}])",
     {"joints[1] \"R1.2\".kind", "\"pad\" or \"via\""}},
    {"joint_x_missing",
     R"([{"op":"remove","path":"/joints/1/x"}])",
     {"joints[1] \"R1.2\"", "\"x\" is missing"}},
    {"joint_x_text",
     R"([{"op":"replace","path":"/joints/1/x","value":"NaN"}])",
     {"joints[1] \"R1.2\".x", "number"}},
    {"joint_x_null",
     R"([{"op":"replace","path":"/joints/1/x","value":null}])",
     {"joints[1] \"R1.2\".x", "number", "null"}},
    {"joint_far",
     R"([{"op":"replace","path":"/joints/1/x","value":1500}])",
     {"joints[1] \"R1.2\"", "far outside", "40 x 30"}},
    {"joint_side",
     R"([{"op":"replace","path":"/joints/1/side","value":"left"}])",
     {"joints[1] \"R1.2\".side", "left", "\"both\""}},
    {"joint_shape",
     R"([{"op":"replace","path":"/joints/1/shape","value":"star"}])",
     {"joints[1] \"R1.2\".shape", "star", "circle"}},
    {"joint_size_zero",
     R"([{"op":"replace","path":"/joints/1/size","value":[0,1]}])",
     {"joints[1] \"R1.2\".size", "positive"}},
    {"joint_drill_negative",
     R"([{"op":"replace","path":"/joints/1/drill","value":[-0.8,0.8]}])",
     {"joints[1] \"R1.2\".drill", "positive"}},
    {"joint_rot_text",
     R"([{"op":"replace","path":"/joints/1/rot","value":"up"}])",
     {"joints[1] \"R1.2\".rot", "degrees"}},
    {"joint_plated_text",
     R"([{"op":"replace","path":"/joints/1/plated","value":"yes"}])",
     {"joints[1] \"R1.2\".plated", "true or false"}},
    {"parts_missing", R"([{"op":"remove","path":"/parts"}])", {"\"parts\" is missing"}},
    {"part_unknown_joint",
     R"([{"op":"replace","path":"/parts/0/joints/1","value":"R9.9"}])",
     {"parts[0] \"R1\".joints[1]", "R9.9", "not in this survey"}},
    {"part_joint_twice",
     R"([{"op":"replace","path":"/parts/0/joints/1","value":"R1.1"}])",
     {"parts[0] \"R1\".joints[1]", "R1.1", "already"}},
    {"part_side",
     R"([{"op":"replace","path":"/parts/0/side","value":"both"}])",
     {"parts[0] \"R1\".side", "\"top\" or \"bottom\""}},
    {"part_box",
     R"([{"op":"replace","path":"/parts/0/bbox","value":[14,4,6,6]}])",
     {"parts[0] \"R1\".bbox", "x0 < x1"}},
    {"part_box_short",
     R"([{"op":"replace","path":"/parts/0/bbox","value":[14,4,6]}])",
     {"parts[0] \"R1\".bbox", "x0, y0, x1, y1"}},
    {"photos_missing", R"([{"op":"remove","path":"/photos"}])", {"\"photos\" is missing"}},
    {"photo_absolute",
     R"([{"op":"replace","path":"/photos/0/file","value":"/etc/passwd"}])",
     {"photos[0].file", "/etc/passwd", "beside the survey"}},
    {"photo_above",
     R"([{"op":"replace","path":"/photos/0/file","value":"a/../../top.jpg"}])",
     {"photos[0].file", "leaves the survey's folder"}},
    {"photo_drive",
     R"([{"op":"replace","path":"/photos/0/file","value":"C:\\top.jpg"}])",
     {"photos[0].file", "beside the survey"}},
    {"photo_backslash",
     R"([{"op":"replace","path":"/photos/0/file","value":"..\\top.jpg"}])",
     {"photos[0].file", "backslash"}},
    {"photo_empty_name",
     R"([{"op":"replace","path":"/photos/0/file","value":""}])",
     {"photos[0].file", "empty"}},
    {"photo_side",
     R"([{"op":"replace","path":"/photos/0/side","value":"both"}])",
     {"photos[0] \"top.jpg\".side", "\"top\" or \"bottom\""}},
    {"photo_width_zero",
     R"([{"op":"replace","path":"/photos/0/width","value":0}])",
     {"photos[0] \"top.jpg\".width", "above 0"}},
    {"photo_width_negative",
     R"([{"op":"replace","path":"/photos/0/width","value":-400}])",
     {"photos[0] \"top.jpg\".width", "above 0"}},
    {"photo_width_fraction",
     R"([{"op":"replace","path":"/photos/0/width","value":400.5}])",
     {"photos[0] \"top.jpg\".width", "whole number"}},
    {"photo_width_huge",
     R"([{"op":"replace","path":"/photos/0/width","value":1e300}])",
     {"photos[0] \"top.jpg\".width", "65535"}},
    {"photo_too_many_pixels",
     R"([{"op":"replace","path":"/photos/0/width","value":40000},{"op":"replace","path":"/photos/0/height","value":40000}])",
     {"photos[0] \"top.jpg\"", "40000 x 40000", "300 megapixels"}},
    {"photo_listed_twice",
     R"([{"op":"copy","from":"/photos/0","path":"/photos/1"}])",
     {"photos[1] \"top.jpg\"", "twice"}},
    {"tie_few",
     R"([{"op":"remove","path":"/photos/0/tie_points/0"}])",
     {"photos[0] \"top.jpg\".tie_points", "holds 3", "four or more"}},
    {"tie_unknown_joint",
     R"([{"op":"replace","path":"/photos/0/tie_points/2/joint","value":"X1"}])",
     {"photos[0] \"top.jpg\".tie_points[2].joint", "X1", "not in this survey"}},
    {"tie_joint_twice",
     R"([{"op":"replace","path":"/photos/0/tie_points/2/joint","value":"R1.1"}])",
     {"tie_points[2] \"R1.1\"", "twice"}},
    {"tie_outside",
     R"([{"op":"replace","path":"/photos/0/tie_points/2/pixel","value":[400,10]}])",
     {"tie_points[2] \"H***.2\".pixel", "outside the picture", "400 x 300"}},
    {"tie_pixel_text",
     R"([{"op":"replace","path":"/photos/0/tie_points/2/pixel","value":["NaN",1]}])",
     {"tie_points[2] \"H***.2\".pixel", "pixel [u, v]"}},
    {"tie_pixel_missing",
     R"([{"op":"remove","path":"/photos/0/tie_points/2/pixel"}])",
     {"tie_points[2] \"H***.2\"", "\"pixel\" is missing"}},
};
INSTANTIATE_TEST_SUITE_P(Survey, RefusesSurvey, ::testing::ValuesIn(kBadSurveys),
                         [](const auto& test) { return std::string(test.param.name); });

TEST(Survey, RefusesWhatIsNotJson) {
    EXPECT_THAT(refusal(parse_survey("", "needle.json")), HasSubstr("empty"));
    EXPECT_THAT(refusal(parse_survey("{\n  \"schema\": }", "needle.json")),
                AllOf(HasSubstr("line 2, column 13"), HasSubstr("not JSON")));
    EXPECT_THAT(refusal(parse_survey("{\"x\": NaN}", "needle.json")), HasSubstr("line 1, column 7"));
    EXPECT_THAT(refusal(parse_survey("{\"x\": 1e999}", "needle.json")),
                AllOf(HasSubstr("1e999"), HasSubstr("finite")));
    EXPECT_THAT(refusal(parse_survey("[1, 2", "needle.json")), HasSubstr("line 1, column 6"));
    EXPECT_THAT(refusal(parse_survey("[]", "needle.json")), HasSubstr("object"));
    EXPECT_THAT(refusal(parse_survey(std::string(200'000, '['), "needle.json")), HasSubstr("not JSON"));
    EXPECT_THAT(refusal(parse_survey(std::string(kMaxSurveyBytes + 1, ' '), "needle.json")),
                HasSubstr("no more than"));
}

TEST(Survey, RefusesWhatIsNotUtf8) {
    // Latin-1 for "Mühle": 0xFC stands alone.
    EXPECT_THAT(refusal(parse_survey("{\n\"slug\": \"M\xFChle\"}", "needle.json")),
                AllOf(HasSubstr("line 2, column 11"), HasSubstr("0xFC"), HasSubstr("UTF-8")));
    EXPECT_THAT(refusal(parse_survey("\xFF\xFE{\0}\0", "needle.json")), HasSubstr("UTF-8"));
}

TEST(Survey, FindsMalformedUtf8) {
    // RFC 3629 section 4: overlong forms, surrogates and values beyond U+10FFFF are not UTF-8.
    for (const char* good :
         {"plain", "\xC2\xB5", "\xCE\xBC", "\xE2\x82\xAC", "\xED\x9F\xBF", "\xF4\x8F\xBF\xBF"})
        EXPECT_EQ(find_non_utf8(good), std::string_view::npos) << good;
    for (const char* bad : {"\x80", "\xC0\xAF", "\xC1\xBF", "\xE0\x80\x80", "\xED\xA0\x80",
                            "\xF0\x80\x80\x80", "\xF4\x90\x80\x80", "\xF5\x80\x80\x80", "\xE2\x82"})
        EXPECT_EQ(find_non_utf8(bad), 0U);
    EXPECT_EQ(find_non_utf8("ab\xC2"), 2U);
}

TEST_F(SurveyFolder, ReadsAFileOrTheFolderThatHoldsIt) {
    put("survey.json", small_board().dump());
    put("top.jpg", "not looked into here");
    for (const fs::path& path : {folder_, folder_ / "survey.json"}) {
        const auto result = read_survey(path);
        ASSERT_TRUE(result.ok()) << result.error().message;
        EXPECT_EQ(result.value().photos[0].path, folder_ / "top.jpg");
    }
}

TEST_F(SurveyFolder, RefusesWhatIsNotThere) {
    const auto message = [](const fs::path& path) {
        const auto result = read_survey(path);
        return result.ok() ? std::string("(not refused)") : result.error().message;
    };
    EXPECT_THAT(message(folder_ / "nowhere"),
                AllOf(HasSubstr("nowhere"), HasSubstr("no such file or folder")));
    EXPECT_THAT(message(folder_), HasSubstr("holds no survey.json"));
    EXPECT_THAT(message("/dev/null"), HasSubstr("not a file"));
    put("survey.json", small_board().dump());
    EXPECT_THAT(message(folder_), AllOf(HasSubstr("top.jpg"), HasSubstr("no such file")));
    put("top.jpg", "");
    EXPECT_THAT(message(folder_), AllOf(HasSubstr("top.jpg"), HasSubstr("empty")));
    fs::remove(folder_ / "top.jpg");
    fs::create_directory(folder_ / "top.jpg");
    EXPECT_THAT(message(folder_), AllOf(HasSubstr("top.jpg"), HasSubstr("not a file")));
}

json two_boards() {
    return json::parse(
        R"({"schema": "board-assembly/1", "name": "knitting head", "complaint": "drops stitches\nwhen warm",
      "unit": "0417", "boards": [{"name": "main", "survey": "main/survey.json"}, {"name": "drive", "survey": "drive/survey.json"}],
      "cables": [{"name": "W1", "conductors": [["main/R1.1", "drive/R1.2"]]}]})");
}

TEST_F(SurveyFolder, ReadsAnAssemblyOfSeveralBoards) {
    put("assembly.json", two_boards().dump());
    for (const char* board : {"main", "drive"}) {
        put(fs::path(board) / "survey.json", small_board().dump());
        put(fs::path(board) / "top.jpg", "picture");
    }
    const auto result = read_survey(folder_);
    ASSERT_TRUE(result.ok()) << result.error().message;
    const Survey& survey = result.value();
    EXPECT_EQ(survey.assembly.name, "knitting head");
    EXPECT_EQ(survey.complaint, "drops stitches\nwhen warm");
    EXPECT_EQ(survey.unit, "0417");
    ASSERT_EQ(survey.assembly.boards.size(), 2U);
    EXPECT_EQ(survey.assembly.boards[1].name, BoardName("drive"));
    ASSERT_EQ(survey.assembly.joints.size(), 8U);
    EXPECT_EQ(survey.assembly.joints[0].name, JointName("main/R1.1"));
    EXPECT_EQ(survey.assembly.joints[5].name, JointName("drive/R1.2"));
    EXPECT_EQ(survey.assembly.joints[5].board, BoardIndex(1));
    EXPECT_EQ(survey.assembly.joints[5].part, PartIndex(1));
    ASSERT_EQ(survey.assembly.cables.size(), 1U);
    EXPECT_EQ(survey.assembly.cables[0].conductors[0].from, JointIndex(0));
    EXPECT_EQ(survey.assembly.cables[0].conductors[0].to, JointIndex(5));
    ASSERT_EQ(survey.photos.size(), 2U);
    EXPECT_EQ(survey.photos[1].path, folder_ / "drive" / "top.jpg");
    EXPECT_EQ(survey.photos[1].tie_points[0].joint, JointIndex(4));

    // Written and read again it is the same.
    const fs::path copy = folder_ / "copy";
    ASSERT_TRUE(write_survey(survey, copy).ok());
    for (const char* board : {"main", "drive"})
        fs::copy_file(folder_ / board / "top.jpg", copy / board / "top.jpg");
    const auto again = read_survey(copy / "assembly.json");
    ASSERT_TRUE(again.ok()) << again.error().message;
    EXPECT_EQ(assembly_json(again.value()), assembly_json(survey));
    EXPECT_EQ(survey_json(again.value(), BoardIndex(1)), survey_json(survey, BoardIndex(1)));
    // And what is there is not overwritten.
    EXPECT_FALSE(write_survey(survey, copy).ok());
}

TEST_F(SurveyFolder, OneBoardOfAnAssemblyFileNeedsNoPrefix) {
    json assembly = two_boards();
    assembly["boards"].erase(1);
    assembly["cables"][0]["conductors"][0] = {"R1.1", "R1.2"};
    put("assembly.json", assembly.dump());
    put("main/survey.json", small_board().dump());
    put("main/top.jpg", "picture");
    const auto result = read_survey(folder_ / "assembly.json");
    ASSERT_TRUE(result.ok()) << result.error().message;
    EXPECT_EQ(result.value().assembly.joints[0].name, JointName("R1.1"));
}

TEST(Assembly, RefusesInOneLine) {
    const auto load = [](const std::string& file) -> Result<std::string> {
        if (file == "gone.json") return not_found("needle.json: gone.json is not there");
        return small_board().dump();
    };
    const auto said = [&](const char* patch) {
        return refusal(parse_assembly(two_boards().patch(json::parse(patch)).dump(), "needle.json", load));
    };
    ASSERT_TRUE(parse_assembly(two_boards().dump(), "needle.json", load).ok());
    EXPECT_THAT(said(R"([{"op":"replace","path":"/schema","value":"board-assembly/9"}])"),
                HasSubstr("\"board-assembly/1\""));
    EXPECT_THAT(said(R"([{"op":"remove","path":"/name"}])"), HasSubstr("\"name\" is missing"));
    EXPECT_THAT(said(R"([{"op":"replace","path":"/boards","value":[]}])"), HasSubstr("one board or more"));
    EXPECT_THAT(said(R"([{"op":"replace","path":"/boards/1/name","value":"main"}])"),
                HasSubstr("must differ"));
    EXPECT_THAT(said(R"([{"op":"replace","path":"/boards/1/name","value":"a/b"}])"), HasSubstr("slash"));
    EXPECT_THAT(said(R"([{"op":"replace","path":"/boards/1/survey","value":"../x.json"}])"),
                HasSubstr("leaves the survey's folder"));
    EXPECT_THAT(said(R"([{"op":"replace","path":"/boards/1/survey","value":"gone.json"}])"),
                HasSubstr("gone.json"));
    EXPECT_THAT(said(R"([{"op":"replace","path":"/cables/0/conductors/0/1","value":"R1.2"}])"),
                AllOf(HasSubstr("conductors[0][1]"), HasSubstr("BOARD/JOINT")));
    EXPECT_THAT(said(R"([{"op":"replace","path":"/cables/0/conductors/0/1","value":"main/R1.1"}])"),
                HasSubstr("to itself"));
    EXPECT_THAT(said(R"([{"op":"replace","path":"/cables/0/conductors/0","value":["main/R1.1"]}])"),
                HasSubstr("two joints"));
    EXPECT_THAT(said(R"([{"op":"replace","path":"/complaint","value":3}])"), HasSubstr("complaint"));
}

}  // namespace
}  // namespace eyelet
