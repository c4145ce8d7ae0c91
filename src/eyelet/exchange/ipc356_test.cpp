// The reader here is written from the column table in "IPC-D-356(A), 1-based columns", which three public
// writers and readers and a public description agree on (second-hand: the standard was not read). It shares
// no code with the writer and accepts nothing else in a column.
#include "eyelet/exchange/ipc356.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <map>
#include <optional>
#include <set>
#include <sstream>
#include <string>
#include <vector>

namespace eyelet {
namespace {

using ::testing::HasSubstr;

struct Record {
    std::string operation, net, part, pin;
    bool midpoint = false;
    std::optional<double> hole_mm;
    char plating = ' ';
    std::string access;
    double x_mm = 0, y_mm = 0, width_mm = 0, height_mm = 0;
    bool round = false;
    int degrees = 0;
    std::string mask;
};

struct Netlist {
    std::map<std::string, std::string> parameters;
    std::map<std::string, std::string> long_names;
    std::vector<std::string> comments;
    std::vector<Record> records;
    bool ended = false;
};

std::string columns(const std::string& line, std::size_t first, std::size_t last) {
    const std::string padded = line + std::string(100, ' ');
    return padded.substr(first - 1, last - first + 1);
}
std::string trimmed(std::string text) {
    while (!text.empty() && text.back() == ' ') text.pop_back();
    return text;
}
void expect_blank(const std::string& line, std::size_t first, std::size_t last) {
    EXPECT_EQ(columns(line, first, last), std::string(last - first + 1, ' '))
        << first << '-' << last << " of " << line;
}
double signed_number(const std::string& text, double unit_mm) {
    EXPECT_TRUE(text[0] == '+' || text[0] == '-' || text[0] == ' ') << text;
    for (const char c : text.substr(1)) EXPECT_TRUE(c >= '0' && c <= '9') << text;
    return (text[0] == '-' ? -1 : 1) * std::stod(text.substr(1)) * unit_mm;
}
double number(const std::string& text, double unit_mm) {
    for (const char c : text) EXPECT_TRUE(c >= '0' && c <= '9') << text;
    return std::stod(text) * unit_mm;
}

Record read_record(const std::string& line, double unit_mm) {
    Record record;
    EXPECT_LE(line.size(), 80U) << line;
    record.operation = columns(line, 1, 3);
    record.net = trimmed(columns(line, 4, 17));
    EXPECT_FALSE(record.net.empty()) << line;
    expect_blank(line, 18, 20);
    record.part = trimmed(columns(line, 21, 26));
    if (record.part == "VIA") {
        expect_blank(line, 27, 31);
    } else {
        EXPECT_EQ(columns(line, 27, 27), "-") << line;
        record.pin = trimmed(columns(line, 28, 31));
    }
    record.midpoint = columns(line, 32, 32) == "M";
    if (!record.midpoint) expect_blank(line, 32, 32);
    if (columns(line, 33, 33) == "D") {
        record.hole_mm = number(columns(line, 34, 37), unit_mm);
        record.plating = line[37];
        EXPECT_TRUE(record.plating == 'P' || record.plating == 'U') << line;
    } else {
        expect_blank(line, 33, 38);
    }
    EXPECT_EQ(columns(line, 39, 39), "A") << line;
    record.access = columns(line, 40, 41);
    EXPECT_EQ(columns(line, 42, 42), "X") << line;
    record.x_mm = signed_number(columns(line, 43, 49), unit_mm);
    EXPECT_EQ(columns(line, 50, 50), "Y") << line;
    record.y_mm = signed_number(columns(line, 51, 57), unit_mm);
    EXPECT_EQ(columns(line, 58, 58), "X") << line;
    record.width_mm = number(columns(line, 59, 62), unit_mm);
    EXPECT_EQ(columns(line, 63, 63), "Y") << line;
    record.round = columns(line, 64, 67) == "0000";
    record.height_mm = record.round ? record.width_mm : number(columns(line, 64, 67), unit_mm);
    EXPECT_EQ(columns(line, 68, 68), "R") << line;
    record.degrees = std::stoi(columns(line, 69, 71));
    // Older writers put the S into column 72; the table says that readers should take both.
    const std::size_t s = columns(line, 72, 72) == "S" ? 72 : 73;
    if (s == 73) expect_blank(line, 72, 72);
    EXPECT_EQ(columns(line, s, s), "S") << line;
    record.mask = columns(line, s + 1, s + 1);
    expect_blank(line, s + 2, 80);
    return record;
}

Netlist read_netlist(const std::string& text) {
    Netlist list;
    double unit_mm = 0;
    std::istringstream in(text);
    for (std::string line; std::getline(in, line);) {
        EXPECT_FALSE(list.ended) << "behind 999: " << line;
        EXPECT_LE(line.size(), 80U) << line;
        for (const char c : line) EXPECT_TRUE(c >= 0x20 && c < 0x7F) << line;
        if (line[0] == 'C') {
            list.comments.push_back(line.substr(3));
        } else if (line[0] == 'P') {
            EXPECT_EQ(columns(line, 2, 3), "  ") << line;
            const std::string key = trimmed(line.substr(3, line.find(' ', 3) - 3));
            const std::string value = line.substr(line.find_first_not_of(' ', 3 + key.size()));
            if (key.rfind("NNAME", 0) == 0) {
                EXPECT_TRUE(list.long_names.emplace(key, value).second) << line;
            }
            list.parameters[key] = value;
            if (key == "UNITS") unit_mm = value == "CUST 1" ? 0.001 : 0;
        } else if (line == "999") {
            list.ended = true;
        } else {
            EXPECT_GT(unit_mm, 0) << "units must be told before the first record";
            list.records.push_back(read_record(line, unit_mm));
        }
    }
    EXPECT_TRUE(list.ended);
    return list;
}

Joint pad(const std::string& name, PartIndex part, const std::string& pin, Point at) {
    Joint joint;
    joint.name = JointName(name);
    joint.board = BoardIndex(0);
    joint.part = part;
    joint.pin = pin;
    joint.hole = joint.copper_centre = at;
    joint.pad_mm = {1.6, 1.6};
    joint.drill_mm = Size{0.8, 0.8};
    return joint;
}

// A board 40 x 30 mm with one joint of each sort.
struct Example {
    Assembly assembly;
    std::vector<Net> nets;
    Example() {
        assembly.name = "knitting head";
        assembly.boards.push_back({BoardName("main"), {40, 30}, {}});
        for (const char* part : {"R1", "H***", "CONNECTOR7", "CONNECTOR8"}) {
            assembly.parts.push_back({});
            assembly.parts.back().name = PartName(part);
            assembly.parts.back().board = BoardIndex(0);
        }
        assembly.joints.push_back(pad("R1.1", PartIndex(0), "1", {5, 10.25}));
        Joint surface = pad("H***.2", PartIndex(1), "2", {35.1236, 25});
        surface.drill_mm.reset();
        surface.sides = JointSides::solder;
        surface.shape = PadShape::oval;
        surface.pad_mm = {2.5, 1.2};
        surface.rotation_deg = -90;
        assembly.joints.push_back(surface);
        Joint tooling = pad("CONNECTOR7.SHIELD", PartIndex(2), "SHIELD", {-0.5, 31});
        tooling.plated = false;
        tooling.pad_mm = {12, 12};
        tooling.drill_mm = Size{3.2, 3.0};
        assembly.joints.push_back(tooling);
        assembly.joints.push_back(pad("CONNECTOR8.1", PartIndex(3), "1", {20, 20}));
        Joint via = pad("via1", {}, "", {15, 15});
        via.kind = JointKind::via;
        via.drill_mm = Size{0.4, 0.4};
        assembly.joints.push_back(via);
        Joint top = pad("TP1", {}, "", {1, 1});
        top.drill_mm.reset();
        top.sides = JointSides::component;
        assembly.joints.push_back(top);
        nets.push_back({"GND", NetStanding::proven, {JointIndex(0), JointIndex(1), JointIndex(4)}});
        nets.push_back(
            {"the supply of the needle magnets", NetStanding::joined, {JointIndex(2), JointIndex(5)}});
        nets.push_back({"CONNECTOR8.1", NetStanding::proposed, {JointIndex(3)}});
    }
};

TEST(Ipc356, ReaderReadsThePublishedRecord) {
    // Sample record and its values in both units: "IPC-D-356(A)", as above. It has the older S column.
    const std::string sample = "317GND              R1    -1    D0394PA00X+012500Y-003750X0700Y0000R000S0";
    ASSERT_EQ(sample.size(), 73U);
    const Record inch = read_record(sample, 0.00254);  // CUST 0: 0.0001 inch
    EXPECT_EQ(inch.operation, "317");
    EXPECT_EQ(inch.net, "GND");
    EXPECT_EQ(inch.part, "R1");
    EXPECT_EQ(inch.pin, "1");
    EXPECT_NEAR(inch.x_mm, 31.75, 1e-9);
    EXPECT_NEAR(inch.y_mm, -9.525, 1e-9);
    EXPECT_NEAR(inch.hole_mm.value(), 1.00076, 1e-9);
    EXPECT_TRUE(inch.round);
    EXPECT_NEAR(inch.width_mm, 1.778, 1e-9);
    EXPECT_EQ(inch.access, "00");
    EXPECT_EQ(inch.mask, "0");
    const Record metric = read_record(sample, 0.001);  // CUST 1
    EXPECT_NEAR(metric.x_mm, 12.5, 1e-9);
    EXPECT_NEAR(metric.y_mm, -3.75, 1e-9);
    EXPECT_NEAR(metric.hole_mm.value(), 0.394, 1e-9);
}

TEST(Ipc356, WritesThePublishedRecord) {
    // The same joint written by us in CUST 1: all columns as in the sample, but the S in column 73.
    Assembly assembly;
    assembly.boards.push_back({BoardName("b"), {40, 30}, {}});
    assembly.parts.push_back({PartName("R1"), BoardIndex(0), "", "", Side::component, {}, {}});
    Joint joint = pad("R1.1", PartIndex(0), "1", {12.5, 33.75});
    joint.pad_mm = {0.7, 0.7};
    joint.drill_mm = Size{0.394, 0.394};
    assembly.joints = {joint, pad("R1.2", PartIndex(0), "2", {1, 1})};
    const auto text =
        ipc356(assembly, BoardIndex(0), {{"GND", NetStanding::proven, {JointIndex(0), JointIndex(1)}}});
    ASSERT_TRUE(text.ok()) << text.error().message;
    EXPECT_THAT(text.value(),
                HasSubstr("\n317GND              R1    -1    D0394PA00X+012500Y-003750X0700Y0000R000 S0\n"));
}

TEST(Ipc356, EveryColumnRoundTrips) {
    const Example example;
    const auto text = ipc356(example.assembly, BoardIndex(0), example.nets);
    ASSERT_TRUE(text.ok()) << text.error().message;
    const Netlist list = read_netlist(text.value());
    EXPECT_EQ(list.parameters.at("UNITS"), "CUST 1");
    EXPECT_EQ(list.parameters.at("JOB"), "knitting head");
    EXPECT_EQ(list.parameters.at("TITLE"), "main");
    EXPECT_EQ(list.parameters.at("VER"), "IPC-D-356A");
    EXPECT_EQ(list.long_names,
              (std::map<std::string, std::string>{{"NNAME1", "the supply of the needle magnets"}}));
    ASSERT_EQ(list.records.size(), 6U);

    const Record& r1 = list.records[0];
    EXPECT_EQ(r1.operation, "317");
    EXPECT_EQ(r1.net, "GND");
    EXPECT_EQ(r1.part, "R1");
    EXPECT_EQ(r1.pin, "1");
    EXPECT_FALSE(r1.midpoint);
    EXPECT_NEAR(r1.hole_mm.value(), 0.8, 1e-9);
    EXPECT_EQ(r1.plating, 'P');
    EXPECT_EQ(r1.access, "00");
    EXPECT_NEAR(r1.x_mm, 5, 1e-9);
    EXPECT_NEAR(r1.y_mm, 30 - 10.25, 1e-9) << "y runs upwards from the lower edge";
    EXPECT_TRUE(r1.round);
    EXPECT_NEAR(r1.width_mm, 1.6, 1e-9);
    EXPECT_EQ(r1.mask, "0");

    const Record& h = list.records[1];
    EXPECT_EQ(h.operation, "327");
    EXPECT_EQ(h.part, "H***") << "any printable text that fits is kept";
    EXPECT_FALSE(h.hole_mm.has_value());
    EXPECT_EQ(h.access, "02");
    EXPECT_NEAR(h.x_mm, 35.124, 1e-9) << "rounded to thousandths";
    EXPECT_FALSE(h.round);
    EXPECT_NEAR(h.width_mm, 2.5, 1e-9);
    EXPECT_NEAR(h.height_mm, 1.2, 1e-9);
    EXPECT_EQ(h.degrees, 270) << "-90 degrees, counter-clockwise as the survey has it";

    const Record& via = list.records[2];
    EXPECT_EQ(via.operation, "317");
    EXPECT_EQ(via.part, "VIA");
    EXPECT_TRUE(via.midpoint);
    EXPECT_EQ(via.mask, "3");
    EXPECT_NEAR(via.hole_mm.value(), 0.4, 1e-9);

    const Record& tooling = list.records[3];
    EXPECT_EQ(tooling.operation, "367");
    EXPECT_EQ(tooling.net, "NNAME1");
    EXPECT_EQ(tooling.plating, 'U');
    EXPECT_NEAR(tooling.x_mm, -0.5, 1e-9);
    EXPECT_NEAR(tooling.y_mm, -1, 1e-9);
    EXPECT_NEAR(tooling.width_mm, 9.999, 1e-9) << "the most that four digits hold";
    EXPECT_NEAR(tooling.hole_mm.value(), 3.0, 1e-9) << "a slot by its narrower way";
    EXPECT_LE(tooling.part.size(), 6U);
    EXPECT_LE(tooling.pin.size(), 4U);

    const Record& top = list.records[4];
    EXPECT_EQ(top.net, "NNAME1");
    EXPECT_EQ(top.access, "01");
    EXPECT_EQ(top.part, "TP1") << "a joint of no part goes by its own name";

    const Record& alone = list.records[5];
    EXPECT_EQ(alone.net, "N/C") << "a joint that joins nothing";
    EXPECT_NE(alone.part, tooling.part) << "stand-ins differ";
    // Each stand-in is explained.
    const std::string comments = ::testing::PrintToString(list.comments);
    for (const char* explained :
         {"CONNECTOR7 is written as ", "CONNECTOR8 is written as ", "SHIELD is written as "})
        EXPECT_THAT(comments, HasSubstr(explained));
    EXPECT_THAT(comments, HasSubstr("the pad of CONNECTOR7.SHIELD is 12.000 mm"));
}

TEST(Ipc356, NamesNeverMeetByAccident) {
    Example example;
    // Real names that look like stand-ins or like the format's own words.
    example.assembly.parts[0].name = PartName("CONN~1");
    example.nets[0].name = "N/C";
    example.nets[1].name = "NNAME1";
    const auto text = ipc356(example.assembly, BoardIndex(0), example.nets);
    ASSERT_TRUE(text.ok());
    const Netlist list = read_netlist(text.value());
    std::set<std::string> parts;
    for (const Record& record : list.records)
        if (record.part != "VIA") parts.insert(record.part);
    EXPECT_EQ(parts.size(), 5U) << "CONN~1, H***, TP1 and two stand-ins";
    EXPECT_EQ(list.records[0].net, "NNAME1");
    EXPECT_EQ(list.records[3].net, "NNAME2");
    EXPECT_EQ(list.long_names.at("NNAME1"), "N/C");
    EXPECT_EQ(list.long_names.at("NNAME2"), "NNAME1");
}

TEST(Ipc356, WritesOneBoardOfSeveral) {
    Example example;
    example.assembly.boards.push_back({BoardName("drive"), {20, 20}, {}});
    Joint other = pad("drive/R1.1", {}, "1", {3, 4});
    other.board = BoardIndex(1);
    example.assembly.joints.push_back(other);
    example.nets[2].joints.push_back(JointIndex(example.assembly.joints.size() - 1));
    const auto drive = ipc356(example.assembly, BoardIndex(1), example.nets);
    ASSERT_TRUE(drive.ok());
    const Netlist list = read_netlist(drive.value());
    ASSERT_EQ(list.records.size(), 1U);
    EXPECT_EQ(list.records[0].net, "CONNECTOR8.1") << "its net goes on, on the other board";
    EXPECT_EQ(list.records[0].part, "R1.1");
    EXPECT_NEAR(list.records[0].y_mm, 16, 1e-9);
    EXPECT_FALSE(ipc356(example.assembly, BoardIndex(2), example.nets).ok());
}

TEST(Ipc356, RefusesABoardThatDoesNotFit) {
    Example example;
    example.assembly.joints[0].hole.x = 1000;
    const auto text = ipc356(example.assembly, BoardIndex(0), example.nets);
    ASSERT_FALSE(text.ok());
    EXPECT_THAT(text.error().message, HasSubstr("R1.1"));
}

}  // namespace
}  // namespace eyelet
