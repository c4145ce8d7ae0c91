// The built command, from outside: what it prints, how it ends, and what it leaves on the bench.
#include <fcntl.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/mount.h>
#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cstdint>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <nlohmann/json.hpp>
#include <set>
#include <string>
#include <vector>

#include "eyelet/cli/process_for_test.h"

namespace eyelet::cli {
namespace {

using nlohmann::json;
using ::testing::AllOf;
using testing::Finished;
using ::testing::HasSubstr;
using ::testing::Not;
using testing::Process;
namespace fs = std::filesystem;

const fs::path kBoard = fs::path(EYELET_SOURCE_DIR) / "tests" / "data" / "thru-hole-psu-a";

std::string content_of(const fs::path& path) {
    std::ifstream in(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}
void put(const fs::path& path, const std::string& text) {
    std::ofstream(path, std::ios::binary) << text;
}

// Each test has a folder with a bench and a copy of the board's survey that it may spoil.
class Command : public ::testing::Test {
  protected:
    void SetUp() override {
        std::string pattern = (fs::temp_directory_path() / "eyelet-command-XXXXXX").string();
        ASSERT_NE(mkdtemp(pattern.data()), nullptr);
        folder_ = pattern;
        bench_ = folder_ / "bench";
        survey_ = folder_ / "survey";
        fs::create_directory(survey_);
        for (const char* file : {"survey.json", "top.jpg", "bottom.jpg"})
            fs::copy_file(kBoard / file, survey_ / file);
    }
    void TearDown() override {
        umount2(bench_.c_str(), MNT_DETACH);  // where a test mounted something and did not come to its end
        std::error_code ignored;
        fs::remove_all(folder_, ignored);
    }

    [[nodiscard]] std::vector<std::string> with_bench(std::vector<std::string> words) const {
        words.emplace_back("--bench");
        words.push_back(bench_.string());
        return words;
    }
    [[nodiscard]] Finished eyelet(const std::vector<std::string>& words,
                                  const std::string& input = "") const {
        return testing::run_process(EYELET_COMMAND, with_bench(words), input);
    }
    [[nodiscard]] json eyelet_json(const std::vector<std::string>& words) const {
        const Finished done = eyelet(words);
        EXPECT_EQ(done.exit, 0) << done.err;
        return json::parse(done.out, nullptr, false);
    }
    void import_board() const {
        ASSERT_EQ(eyelet_json({"import", survey_.string(), "--json"}), (json{{"job", "J1"}}));
    }

    void change_survey(const char* patch) const {
        put(survey_ / "survey.json",
            json::parse(content_of(survey_ / "survey.json")).patch(json::parse(patch)).dump());
    }

    // Everything that a person could see of the bench, and every photograph file in it.
    [[nodiscard]] std::string seen() const {
        std::string out = eyelet({"jobs", "--json"}).out + eyelet({"journal", "J1", "--json"}).out +
                          eyelet({"show", "J1", "--json"}).out + eyelet({"nets", "J1", "--json"}).out;
        std::set<std::string> files;
        for (const auto& entry : fs::recursive_directory_iterator(bench_ / "photographs"))
            if (entry.is_regular_file()) files.insert(entry.path().string());
        for (const std::string& file : files) out += file + "\n";
        return out;
    }

    fs::path folder_, bench_, survey_;
};

void expect_refused(const Finished& done, const std::string& says) {
    EXPECT_EQ(done.exit, 1) << done.err;
    EXPECT_EQ(done.out, "");
    EXPECT_EQ(done.err.rfind("eyelet: ", 0), 0U) << done.err;
    EXPECT_EQ(std::count(done.err.begin(), done.err.end(), '\n'), 1) << "one line: " << done.err;
    EXPECT_THAT(done.err, HasSubstr(says));
}

// --- Bad input -------------------------------------------------------------------------------------

// CRC-32 as the PNG specification gives it (ISO/IEC 15948, annex D).
std::uint32_t crc32_of(const std::string& bytes) {
    std::uint32_t crc = 0xFFFFFFFFU;
    for (const char c : bytes) {
        crc ^= static_cast<unsigned char>(c);
        for (int bit = 0; bit < 8; ++bit) crc = (crc >> 1U) ^ ((crc & 1U) ? 0xEDB88320U : 0U);
    }
    return ~crc;
}
std::string big_endian(std::uint32_t value) {
    std::string out;
    for (int shift = 24; shift >= 0; shift -= 8) out += static_cast<char>((value >> shift) & 0xFFU);
    return out;
}
std::string chunk(const std::string& type, const std::string& data) {
    return big_endian(static_cast<std::uint32_t>(data.size())) + type + data +
           big_endian(crc32_of(type + data));
}
// A PNG that declares a size and holds a handful of bytes.
std::string declared_png(std::uint32_t width, std::uint32_t height) {
    return "\x89PNG\r\n\x1a\n" +
           chunk("IHDR", big_endian(width) + big_endian(height) + std::string("\x08\x02\x00\x00\x00", 5)) +
           chunk("IDAT", std::string("\x78\x9c\x03\x00\x00\x00\x00\x01", 8)) + chunk("IEND", "");
}

struct Spoiled {
    const char* name;
    void (*spoil)(const fs::path& survey);
    const char* says;
};
void PrintTo(const Spoiled& spoiled, std::ostream* out) {
    *out << spoiled.name;
}

void patch(const fs::path& survey, const char* operations) {
    put(survey / "survey.json",
        json::parse(content_of(survey / "survey.json")).patch(json::parse(operations)).dump());
}
void replace_text(const fs::path& survey, const std::string& from, const std::string& to) {
    std::string text = content_of(survey / "survey.json");
    const std::size_t at = text.find(from);
    ASSERT_NE(at, std::string::npos) << from;
    put(survey / "survey.json", text.replace(at, from.size(), to));
}

const Spoiled kSpoiled[] = {
    {"missing_photograph", [](const fs::path& s) { fs::remove(s / "top.jpg"); }, "top.jpg"},
    {"truncated_photograph",
     [](const fs::path& s) { fs::resize_file(s / "top.jpg", fs::file_size(s / "top.jpg") / 2); }, "top.jpg"},
    {"photograph_cut_by_a_byte_of_data",
     [](const fs::path& s) { fs::resize_file(s / "bottom.jpg", fs::file_size(s / "bottom.jpg") - 600); },
     "bottom.jpg"},
    {"empty_photograph", [](const fs::path& s) { put(s / "top.jpg", ""); }, "top.jpg"},
    {"not_an_image", [](const fs::path& s) { put(s / "top.jpg", "This is a letter, not a picture.\n"); },
     "top.jpg"},
    {"not_an_image_but_called_so", [](const fs::path& s) { put(s / "top.jpg", "%PDF-1.4\n"); }, "top.jpg"},
    {"declared_40000_by_40000", [](const fs::path& s) { put(s / "top.jpg", declared_png(40'000, 40'000)); },
     "40000"},
    {"survey_says_40000_by_40000",
     [](const fs::path& s) {
         patch(
             s,
             R"([{"op":"replace","path":"/photos/0/width","value":40000},{"op":"replace","path":"/photos/0/height","value":40000}])");
     },
     "40000 x 40000"},
    {"photograph_of_another_size",
     [](const fs::path& s) { patch(s, R"([{"op":"replace","path":"/photos/0/width","value":901}])"); },
     "901"},
    {"unknown_joint_in_a_part",
     [](const fs::path& s) { patch(s, R"([{"op":"replace","path":"/parts/0/joints/0","value":"U999.9"}])"); },
     "U999.9"},
    {"unknown_joint_in_a_tie_point",
     [](const fs::path& s) {
         patch(s, R"([{"op":"replace","path":"/photos/0/tie_points/0/joint","value":"U999.9"}])");
     },
     "U999.9"},
    {"duplicate_joint",
     [](const fs::path& s) { patch(s, R"([{"op":"copy","from":"/joints/3","path":"/joints/4"}])"); },
     "used twice"},
    {"nan", [](const fs::path& s) { replace_text(s, "\"x\": 53.34", "\"x\": NaN"); }, "not JSON"},
    {"nan_as_text", [](const fs::path& s) { replace_text(s, "\"x\": 53.34", "\"x\": \"NaN\""); }, "NaN"},
    {"infinite", [](const fs::path& s) { replace_text(s, "\"x\": 53.34", "\"x\": 1e999"); }, "1e999"},
    {"negative_pad",
     [](const fs::path& s) { patch(s, R"([{"op":"replace","path":"/joints/0/size","value":[-1,1]}])"); },
     "positive"},
    {"negative_board",
     [](const fs::path& s) { patch(s, R"([{"op":"replace","path":"/size","value":[-99,99]}])"); },
     "positive"},
    {"zero_drill",
     [](const fs::path& s) { patch(s, R"([{"op":"replace","path":"/joints/0/drill","value":[0,0]}])"); },
     "positive"},
    {"wrong_schema_version",
     [](const fs::path& s) { patch(s, R"([{"op":"replace","path":"/schema","value":"board-survey/2"}])"); },
     "board-survey/1"},
    {"no_schema", [](const fs::path& s) { patch(s, R"([{"op":"remove","path":"/schema"}])"); }, "schema"},
    {"not_utf8", [](const fs::path& s) { replace_text(s, "LM317", "LM\xFC\x80"); }, "UTF-8"},
    {"not_json", [](const fs::path& s) { put(s / "survey.json", "joint,x,y\n1,2,3\n"); }, "not JSON"},
    {"cut_json", [](const fs::path& s) { fs::resize_file(s / "survey.json", 5'000); }, "not JSON"},
    {"empty_survey", [](const fs::path& s) { put(s / "survey.json", ""); }, "empty"},
    {"photograph_outside",
     [](const fs::path& s) {
         patch(s, R"([{"op":"replace","path":"/photos/0/file","value":"../survey/top.jpg"}])");
     },
     "beside the survey"},
    {"no_survey_in_the_folder", [](const fs::path& s) { fs::remove(s / "survey.json"); }, "survey.json"},
    {"no_folder", [](const fs::path& s) { fs::remove_all(s); }, "no such file or folder"},
};

class RefusesImport : public Command, public ::testing::WithParamInterface<Spoiled> {};

TEST_P(RefusesImport, OnAnEmptyBench) {
    GetParam().spoil(survey_);
    expect_refused(eyelet({"import", survey_.string(), "--json"}), GetParam().says);
    // No job, and not a single photograph was left behind.
    const Finished jobs = eyelet({"jobs", "--json"});
    if (jobs.exit == 0) {
        EXPECT_EQ(json::parse(jobs.out), (json{{"jobs", json::array()}}));
    }
    if (fs::exists(bench_ / "photographs")) {
        for (const auto& entry : fs::recursive_directory_iterator(bench_ / "photographs"))
            EXPECT_FALSE(entry.is_regular_file()) << entry.path();
    }
}

TEST_P(RefusesImport, AndLeavesAUsedBenchAsItWas) {
    import_board();
    const std::string before = seen();
    ASSERT_THAT(before, HasSubstr("J1"));
    GetParam().spoil(survey_);
    expect_refused(eyelet({"import", survey_.string()}), GetParam().says);
    EXPECT_EQ(seen(), before);
}

INSTANTIATE_TEST_SUITE_P(Command, RefusesImport, ::testing::ValuesIn(kSpoiled),
                         [](const auto& test) { return std::string(test.param.name); });

TEST_F(Command, RefusesABenchThatIsNotThere) {
    for (const std::vector<std::string>& words : {std::vector<std::string>{"jobs"},
                                                  {"show", "J1"},
                                                  {"align", "J1"},
                                                  {"follow", "J1"},
                                                  {"links", "J1"},
                                                  {"nets", "J1"},
                                                  {"ring", "J1", "--stdio"},
                                                  {"journal", "J1"},
                                                  {"note", "J1", "text"},
                                                  {"undo", "J1"}})
        expect_refused(eyelet(words), "no bench");
    EXPECT_FALSE(fs::exists(bench_));
}

TEST_F(Command, RefusesABenchThatIsAFile) {
    put(bench_, "not a folder");
    expect_refused(eyelet({"import", survey_.string()}), bench_.string());
    EXPECT_EQ(content_of(bench_), "not a folder");
}

TEST_F(Command, RefusesAJobThatIsNotThere) {
    import_board();
    const std::string before = seen();
    for (const std::vector<std::string>& words : {std::vector<std::string>{"show", "J7"},
                                                  {"align", "J7"},
                                                  {"follow", "J7"},
                                                  {"links", "J7"},
                                                  {"nets", "J7"},
                                                  {"ring", "J7", "--stdio"},
                                                  {"journal", "J7"},
                                                  {"note", "J7", "text"},
                                                  {"undo", "J7"},
                                                  {"withdraw", "J7", "E1"}})
        expect_refused(eyelet(words), "J7");
    expect_refused(eyelet({"show", "J\xFF\n1"}), "job");  // even then one line of text
    EXPECT_EQ(seen(), before);
}

TEST_F(Command, FullDisk) {
    // A limit on the size of files stops the photograph as a full disk would: write() fails half-way.
    import_board();
    const std::string before = seen();
    ASSERT_EQ(eyelet({"withdraw", "J1", "E1", "E2"}).exit, 0);
    ASSERT_EQ(eyelet({"undo", "J1"}).exit, 0);
    put(survey_ / "top.jpg", content_of(survey_ / "top.jpg") + "x");  // another hash: it must be written
    const Finished limited =
        testing::run_process(EYELET_COMMAND, with_bench({"import", survey_.string()}), "", {}, [] {
            const rlimit limit{50'000, 50'000};
            setrlimit(RLIMIT_FSIZE, &limit);
        });
    expect_refused(limited, "");
    EXPECT_EQ(seen(), before);
}

TEST_F(Command, FullDiskForTrue) {
    fs::create_directory(bench_);
    if (mount("eyelet-test", bench_.c_str(), "tmpfs", 0, "size=480k") != 0)
        GTEST_SKIP()
            << "mounting a small file system needs root; the limit on the size of files stands in for it";
    // Fill the bench with jobs until the disk says no: each import is whole or not there.
    int made = 0;
    Finished last;
    for (; made < 60; ++made) {
        change_survey(R"([{"op":"add","path":"/slug","value":"another board"}])");
        put(survey_ / "top.jpg",
            content_of(kBoard / "top.jpg") + std::string(static_cast<std::size_t>(made), 'x'));
        last = eyelet({"import", survey_.string(), "--json"});
        if (last.exit != 0) break;
    }
    EXPECT_GT(made, 0) << "the first job should fit: " << last.err;
    EXPECT_LT(made, 60);
    expect_refused(last, "");
    const json jobs = eyelet_json({"jobs", "--json"});
    EXPECT_EQ(jobs["jobs"].size(), static_cast<std::size_t>(made));
    for (const json& job : jobs["jobs"])
        EXPECT_EQ(eyelet_json({"show", job["job"], "--json"})["photographs"].size(), 2U);
    EXPECT_EQ(umount(bench_.c_str()), 0);
}

// --- Usage -----------------------------------------------------------------------------------------

TEST_F(Command, WrongUsageIsTwo) {
    for (const std::vector<std::string>& words : {std::vector<std::string>{"solder", "J1"},
                                                  {"import"},
                                                  {"import", "a", "b"},
                                                  {"nets", "J1", "--json", "--csv"},
                                                  {"ring", "J1", "--risk", "little"},
                                                  {"jobs", "--colour"},
                                                  {"trial", "J1"},
                                                  {"help", "solder"},
                                                  {"follow", "J1", "--copper"}}) {
        const Finished done = testing::run_process(EYELET_COMMAND, words);
        EXPECT_EQ(done.exit, 2) << ::testing::PrintToString(words) << done.err;
        EXPECT_EQ(done.out, "");
        EXPECT_EQ(done.err.rfind("eyelet: ", 0), 0U) << done.err;
        EXPECT_EQ(std::count(done.err.begin(), done.err.end(), '\n'), 1) << done.err;
    }
    EXPECT_EQ(testing::run_process(EYELET_COMMAND, {}).exit, 2);
}

TEST_F(Command, HelpAndVersion) {
    const Finished help = testing::run_process(EYELET_COMMAND, {"help"});
    EXPECT_EQ(help.exit, 0);
    for (const char* command : {"import",   "jobs",    "show",    "align",  "follow",  "links",  "nets",
                                "ring",     "reading", "journal", "note",   "finding", "work",   "trial",
                                "withdraw", "undo",    "redo",    "report", "corpus",  "version"}) {
        EXPECT_THAT(help.out, HasSubstr(command));
        const Finished one = testing::run_process(EYELET_COMMAND, {"help", command});
        EXPECT_EQ(one.exit, 0) << command;
        EXPECT_THAT(one.out, HasSubstr("Usage")) << command;
        EXPECT_EQ(testing::run_process(EYELET_COMMAND, {command, "--help"}).out, one.out) << command;
    }
    EXPECT_THAT(testing::run_process(EYELET_COMMAND, {"version"}).out, HasSubstr("eyelet "));
    EXPECT_TRUE(
        json::parse(testing::run_process(EYELET_COMMAND, {"version", "--json"}).out).contains("version"));
}

TEST_F(Command, BenchMayStandAnywhere) {
    import_board();
    const std::string jobs = eyelet({"jobs", "--json"}).out;
    ASSERT_THAT(jobs, HasSubstr("J1"));
    const std::string bench = bench_.string();
    EXPECT_EQ(testing::run_process(EYELET_COMMAND, {"--bench", bench, "jobs", "--json"}).out, jobs);
    EXPECT_EQ(testing::run_process(EYELET_COMMAND, {"jobs", "--bench", bench, "--json"}).out, jobs);
    EXPECT_EQ(testing::run_process(EYELET_COMMAND, {"jobs", "--json", "--bench=" + bench}).out, jobs);
    EXPECT_EQ(testing::run_process(EYELET_COMMAND, {"jobs", "--json"}, "", {"EYELET_BENCH=" + bench}).out,
              jobs);
    const std::string shown =
        testing::run_process(EYELET_COMMAND, {"--bench", bench, "show", "J1", "--json"}).out;
    EXPECT_EQ(testing::run_process(EYELET_COMMAND, {"show", "--bench", bench, "J1", "--json"}).out, shown);
}

// --- Standard streams ------------------------------------------------------------------------------

TEST_F(Command, ClosedOutputRefusesBeforeAnythingIsDone) {
    const Finished done = testing::run_process(EYELET_COMMAND, with_bench({"import", survey_.string()}), "",
                                               {}, [] { close(1); });
    expect_refused(done, "standard output");
    EXPECT_FALSE(fs::exists(bench_));
}

TEST_F(Command, ClosedInputAndErrorsHarmNothing) {
    const Finished done =
        testing::run_process(EYELET_COMMAND, with_bench({"import", survey_.string(), "--json"}), "", {}, [] {
            close(0);
            close(2);
        });
    EXPECT_EQ(done.exit, 0);
    EXPECT_EQ(json::parse(done.out), (json{{"job", "J1"}}));
    EXPECT_EQ(eyelet({"show", "J1"}).exit, 0) << "no message went into a file of the bench";
}

TEST_F(Command, FullOutputIsToldWithWhatWasDone) {
    const auto to_full = [] { dup2(open("/dev/full", O_WRONLY), 1); };
    const Finished import =
        testing::run_process(EYELET_COMMAND, with_bench({"import", survey_.string()}), "", {}, to_full);
    expect_refused(import, "J1 was made");
    expect_refused(testing::run_process(EYELET_COMMAND, with_bench({"nets", "J1"}), "", {}, to_full),
                   "standard output");
}

TEST_F(Command, AReaderThatGoesAwayIsNoFault) {
    import_board();
    Process process(EYELET_COMMAND, with_bench({"nets", "J1"}));
    process.close_output();
    const Finished done = process.finish();
    EXPECT_EQ(done.err, "");
    EXPECT_LE(done.exit, 1);
}

// --- The main job ----------------------------------------------------------------------------------

std::map<std::string, std::size_t> true_net_of_joint() {
    std::map<std::string, std::size_t> net_of;
    const json truth = json::parse(content_of(kBoard / "nets.json"));
    const json& nets = truth["nets"];
    for (std::size_t i = 0; i < nets.size(); ++i)
        for (const json& joint : nets[i]) net_of[joint] = i;
    return net_of;
}

std::set<std::set<std::string>> partition(const json& nets) {
    std::set<std::set<std::string>> out;
    for (const json& net : nets) out.insert(net["joints"].get<std::set<std::string>>());
    return out;
}
std::set<std::set<std::string>> true_partition() {
    std::set<std::set<std::string>> out;
    const json truth = json::parse(content_of(kBoard / "nets.json"));
    for (const json& net : truth["nets"]) out.insert(net.get<std::set<std::string>>());
    return out;
}

// Answers a gesture from the true nets, in one of the forms that are allowed.
json answer_to(const json& asked, const std::map<std::string, std::size_t>& net_of, bool beeps) {
    const std::size_t held = net_of.at(asked["hold"]);
    if (asked["gesture"] == "touch") {
        if (net_of.at(asked["to"]) != held) return {{"open", true}};
        return beeps ? json{{"beep", true}} : json{{"ohms", 0.21}};
    }
    json answers = json::object();
    json beeped = json::array();
    for (const json& joint : asked["along"]) {
        const bool joined = net_of.at(joint) == held;
        answers[joint.get<std::string>()] = joined ? json(0.2) : json("open");
        if (joined) beeped.push_back(joint);
    }
    return beeps ? json{{"beeps", beeped}} : json{{"answers", answers}};
}

TEST_F(Command, RingsABoardOutOverLinesOfJson) {
    import_board();
    const auto net_of = true_net_of_joint();
    Process ring(EYELET_COMMAND, with_bench({"ring", "J1", "--stdio"}));
    json done;
    int answered = 0;
    for (std::optional<std::string> line; (line = ring.read_line());) {
        const json asked = json::parse(*line);
        if (asked.contains("done")) {
            done = asked;
            break;
        }
        ASSERT_TRUE(asked.contains("gesture")) << *line;
        ASSERT_FALSE(asked["why"].get<std::string>().empty());
        if (answered == 3) {  // bad lines: an error, and the same question again
            for (const char* bad : {"", "nonsense", "{\"ohms\":\"NaN\"}", "{\"ohms\":-5}", "[]",
                                    "{\"answers\":{\"X9\":1}}", "{\"ohms\":1e999}", "\xFF\xFE"}) {
                ASSERT_TRUE(ring.write_line(bad));
                const auto error = ring.read_line();
                ASSERT_TRUE(error.has_value()) << bad;
                EXPECT_TRUE(json::parse(*error).contains("error")) << *error;
                EXPECT_EQ(ring.read_line(), line) << "after " << bad;
            }
            // Undone, the question before it comes again.
            ASSERT_TRUE(ring.write_line(answer_to(asked, net_of, false).dump()));
            ASSERT_TRUE(ring.read_line().has_value());
            ASSERT_TRUE(ring.write_line("{\"undo\":true}"));
            EXPECT_EQ(ring.read_line(), line);
        }
        ASSERT_TRUE(ring.write_line(answer_to(asked, net_of, answered % 2 == 1).dump()));
        ASSERT_LT(++answered, 2000);
    }
    const Finished finished = ring.finish();
    EXPECT_EQ(finished.exit, 0) << finished.err;
    EXPECT_EQ(finished.out, "") << "done is the last line";
    ASSERT_TRUE(done.contains("done"));
    EXPECT_EQ(done["done"], true);
    EXPECT_EQ(done["joints"], 120);
    EXPECT_EQ(done["nets"], true_partition().size());
    EXPECT_EQ(done["gestures"], answered);

    // The map is the known one, and every pad is in exactly one net.
    const json nets = eyelet_json({"nets", "J1", "--json"});
    EXPECT_EQ(partition(nets["nets"]), true_partition());
    std::size_t joints = 0;
    for (const json& net : nets["nets"]) joints += net["joints"].size();
    EXPECT_EQ(joints, 120U);

    // Other forms hold the same nets.
    const std::string csv = eyelet({"nets", "J1", "--csv"}).out;
    EXPECT_EQ(std::count(csv.begin(), csv.end(), '\n'), 121);
    const std::string ipc = eyelet({"nets", "J1", "--ipc356"}).out;
    EXPECT_THAT(ipc, AllOf(HasSubstr("\nP  UNITS CUST 1\n"), HasSubstr("\n999\n")));
    EXPECT_THAT(eyelet({"nets", "J1"}).out, HasSubstr("H***.2"));
    const fs::path file = folder_ / "nets.csv";
    EXPECT_EQ(eyelet({"nets", "J1", "--csv", "--out", file.string()}).out, "");
    EXPECT_EQ(content_of(file), csv);
    expect_refused(eyelet({"nets", "J1", "--out", (folder_ / "nowhere" / "nets").string()}), "nowhere");

    // Taken up again there is nothing to ask.
    const Finished again = eyelet({"ring", "J1", "--stdio"});
    EXPECT_EQ(again.exit, 0);
    EXPECT_EQ(json::parse(again.out)["done"], true);
}

TEST_F(Command, RingStopsCleanlyAndKeepsWhatWasAnswered) {
    import_board();
    const auto net_of = true_net_of_joint();
    const auto readings = [this] { return eyelet_json({"show", "J1", "--json"})["readings"].get<int>(); };
    const auto answer_one = [&](Process& ring) {
        const auto line = ring.read_line();
        ASSERT_TRUE(line.has_value());
        ASSERT_TRUE(ring.write_line(answer_to(json::parse(*line), net_of, false).dump()));
        ASSERT_TRUE(ring.read_line().has_value()) << "the next question acknowledges the answer";
    };
    int before = readings();
    EXPECT_EQ(before, 0);
    const auto expect_stopped = [&](Process& ring) {
        const Finished done = ring.finish();
        EXPECT_EQ(done.exit, 0) << done.err;
        const json last = json::parse(done.out);
        EXPECT_EQ(last["done"], true);
        const int now = readings();
        EXPECT_GT(now, before) << "what was acknowledged is stored";
        before = now;
    };
    {
        Process ring(EYELET_COMMAND, with_bench({"ring", "J1", "--stdio"}));
        answer_one(ring);
        expect_stopped(ring);  // end of input
    }
    {
        Process ring(EYELET_COMMAND, with_bench({"ring", "J1", "--stdio"}));
        answer_one(ring);
        ASSERT_TRUE(ring.write_line("{\"stop\":true}"));
        expect_stopped(ring);
    }
    {
        Process ring(EYELET_COMMAND, with_bench({"ring", "J1", "--stdio"}));
        answer_one(ring);
        ring.signal(SIGINT);
        const auto last = ring.read_line();
        ASSERT_TRUE(last.has_value());
        EXPECT_EQ(json::parse(*last)["done"], true);
        EXPECT_EQ(ring.finish().exit, 0);
        EXPECT_GT(readings(), before);
        before = readings();
    }
    {
        Process ring(EYELET_COMMAND, with_bench({"ring", "J1", "--stdio"}));
        answer_one(ring);
        ring.signal(SIGKILL);
        EXPECT_EQ(ring.finish().exit, 128 + SIGKILL);
        EXPECT_GT(readings(), before);
    }
}

TEST_F(Command, PhotographsProposeLinksAndNeverProve) {
    import_board();
    const json align = eyelet_json({"align", "J1", "--json"});
    ASSERT_EQ(align["photographs"].size(), 2U);
    for (const json& photograph : align["photographs"]) {
        EXPECT_EQ(photograph["tie_points"].size(), 7U);
        EXPECT_LT(photograph["rms_mm"].get<double>(), photograph["limit_mm"].get<double>());
    }
    EXPECT_THAT(eyelet({"align", "J1"}).out, AllOf(HasSubstr("component side"), HasSubstr("H***.2")));
    const json follow = eyelet_json({"follow", "J1", "--json"});
    const json listed = eyelet_json({"links", "J1", "--json"});
    ASSERT_GT(follow["links"].get<std::size_t>(), 0U);
    ASSERT_EQ(listed["links"].size(), follow["links"].get<std::size_t>());
    const auto net_of = true_net_of_joint();
    double last = 1;
    int likely = 0;
    int likely_true = 0;
    for (const json& link : listed["links"]) {
        // The members of the interface table, and nothing that a photograph gave is called proven.
        for (const char* key : {"from", "to", "side", "probability", "standing", "width_mm", "hidden"})
            ASSERT_TRUE(link.contains(key)) << key;
        EXPECT_EQ(link["standing"], "proposed");
        EXPECT_TRUE(link["side"] == "top" || link["side"] == "bottom") << link;
        const double probability = link["probability"];
        EXPECT_LE(probability, last) << "likeliest first";
        last = probability;
        if (probability < 0.8) continue;
        ++likely;
        if (net_of.at(link["from"]) == net_of.at(link["to"])) ++likely_true;
    }
    // Loose on purpose: how good the proposals are is measured by the corpus, on photographs that were not
    // reduced.
    EXPECT_GT(likely_true * 2, likely) << likely;
    const json nets = eyelet_json({"nets", "J1", "--proposed", "--json"});
    std::size_t joints = 0;
    for (const json& net : nets["nets"]) {
        EXPECT_EQ(net["standing"], "proposed");
        joints += net["joints"].size();
    }
    EXPECT_EQ(joints, 120U) << "every pad in exactly one net";
    const fs::path pdf = folder_ / "report.pdf";
    EXPECT_EQ(eyelet({"report", "J1", "--pdf", pdf.string()}).exit, 0);
    EXPECT_EQ(content_of(pdf).substr(0, 5), "%PDF-");
    expect_refused(eyelet({"report", "J1", "--pdf", (folder_ / "nowhere" / "report.pdf").string()}),
                   "nowhere");
}

TEST_F(Command, CorpusRefusesFoldersWithoutBoards) {
    expect_refused(eyelet({"corpus", (folder_ / "nowhere").string()}), "nowhere");
    expect_refused(eyelet({"corpus", survey_.string()}), "board.json");
}

TEST_F(Command, AReadingThatNobodyAskedFor) {
    import_board();
    const auto net_of_c101 = [this] {
        const json nets = eyelet_json({"nets", "J1", "--json"});
        for (const json& net : nets["nets"])
            for (const json& joint : net["joints"])
                if (joint == "C101.1") return net["joints"].get<std::set<std::string>>();
        return std::set<std::string>();
    };
    EXPECT_EQ(net_of_c101(), (std::set<std::string>{"C101.1"}));
    const Finished done = eyelet({"reading", "J1", "C101.1", "C102.1", "0R2", "--instrument", "bench meter"});
    EXPECT_EQ(done.exit, 0) << done.err;
    EXPECT_EQ(net_of_c101(), (std::set<std::string>{"C101.1", "C102.1"}));
    EXPECT_EQ(eyelet({"undo", "J1"}).exit, 0);
    EXPECT_EQ(net_of_c101(), (std::set<std::string>{"C101.1"}));
    const std::string before = seen();
    expect_refused(eyelet({"reading", "J1", "C101.1", "C999.1", "0.2"}), "C999.1");
    expect_refused(eyelet({"reading", "J1", "C101.1", "C101.1", "0.2"}), "both probes on one joint");
    expect_refused(eyelet({"reading", "J1", "C101.1", "C102.1", "perhaps"}), "perhaps");
    expect_refused(eyelet({"reading", "J1", "C101.1", "C102.1", "NaN"}), "NaN");
    EXPECT_EQ(seen(), before);
}

TEST_F(Command, RingAsksAPersonInWords) {
    import_board();
    const Finished done = eyelet({"ring", "J1"}, "what\nu\ns cannot reach it\nq\n");
    EXPECT_EQ(done.exit, 0) << done.err;
    EXPECT_THAT(done.out, AllOf(HasSubstr("Hold one probe on "), HasSubstr("> "), HasSubstr("q to stop"),
                                HasSubstr("Stopped."), HasSubstr("nothing to undo")));
}

TEST_F(Command, JournalCommands) {
    import_board();
    const auto entry = [&](const std::vector<std::string>& words) {
        return eyelet_json(words)["entry"].get<std::string>();
    };
    const std::string note = entry({"note", "J1", "came in wet", "--json", "--who", "Ada"});
    const std::string finding = entry({"finding", "J1", "leaked", "--part", "C103", "--side", "top", "--at",
                                       "10.5,20", "stain under it", "--json"});
    const std::string work = entry({"work", "J1", "removed", "--part", "C103", "--json"});
    const std::string trial =
        entry({"trial", "J1", "--minutes", "30", "--recurrences", "2", "--condition", "warm", "--json"});
    const json journal = eyelet_json({"journal", "J1", "--json"})["entries"];
    std::map<std::string, json> by_name;
    for (const json& one : journal) by_name[one["entry"]] = one;
    EXPECT_EQ(by_name.at(note)["note"]["text"], "came in wet");
    EXPECT_EQ(by_name.at(note)["person"], "Ada");
    EXPECT_EQ(by_name.at(finding)["finding"]["what"], "leaked");
    EXPECT_EQ(by_name.at(finding)["finding"]["place"]["point_mm"], (json{10.5, 20.0}));
    EXPECT_EQ(by_name.at(work)["work"]["place"]["parts"], (json{"C103"}));
    EXPECT_EQ(by_name.at(trial)["trial"]["recurrences"], 2);

    EXPECT_EQ(eyelet({"withdraw", "J1", note, "--why", "wrong unit"}).exit, 0);
    const auto note_now = [&] {
        const json all = eyelet_json({"journal", "J1", "--json"});
        for (const json& one : all["entries"])
            if (one["entry"] == note) return one;
        return json();
    };
    EXPECT_EQ(note_now()["withdrawn"], true);
    EXPECT_EQ(note_now()["withdrawn_why"], "wrong unit");
    EXPECT_EQ(eyelet({"undo", "J1"}).exit, 0);
    EXPECT_EQ(note_now()["withdrawn"], false);
    EXPECT_EQ(eyelet({"redo", "J1"}).exit, 0);
    EXPECT_EQ(note_now()["withdrawn"], true);

    const std::string before = seen();
    expect_refused(eyelet({"finding", "J1", "enchanted", "--part", "C103"}), "enchanted");
    expect_refused(eyelet({"finding", "J1", "leaked", "--part", "C9999"}), "C9999");
    expect_refused(eyelet({"finding", "J1", "leaked", "--joint", "C9999.1"}), "C9999.1");
    expect_refused(eyelet({"finding", "J1", "leaked", "--side", "left"}), "left");
    expect_refused(eyelet({"finding", "J1", "leaked", "--at", "here"}), "here");
    expect_refused(eyelet({"work", "J1", "removed", "--at", "nan,3"}), "nan,3");
    expect_refused(eyelet({"trial", "J1", "--minutes", "-5", "--recurrences", "0", "--condition", "warm"}),
                   "");
    expect_refused(eyelet({"withdraw", "J1", "E999"}), "E999");
    expect_refused(eyelet({"ring", "J1", "--stdio", "--risk", "-1"}), "risk");
    expect_refused(eyelet({"follow", "J1", "--copper", "left=pink"}), "left=pink");
    EXPECT_EQ(seen(), before);
}

}  // namespace
}  // namespace eyelet::cli
