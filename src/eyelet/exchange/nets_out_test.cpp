#include "eyelet/exchange/nets_out.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>
#include <sstream>
#include <string>
#include <vector>

namespace eyelet {
namespace {

using nlohmann::json;
using ::testing::HasSubstr;

Assembly two_parts() {
    Assembly assembly;
    assembly.boards.push_back({BoardName("main"), {40, 30}, {}});
    assembly.parts.push_back({PartName("U1"), BoardIndex(0), "", "", Side::component, {}, {}});
    for (const auto& [name, pin] :
         {std::pair{"U1.3", "3"}, std::pair{"R2.1", ""}, std::pair{"a \"b\", c", "x"}}) {
        Joint joint;
        joint.name = JointName(name);
        joint.board = BoardIndex(0);
        joint.pin = pin;
        joint.hole = {1.5, 2.25};
        joint.pad_mm = {1, 1};
        assembly.joints.push_back(joint);
    }
    assembly.joints[0].part = PartIndex(0);
    return assembly;
}

const std::vector<Net> kNets = {{"U1.3", NetStanding::proven, {JointIndex(1), JointIndex(0)}},
                                {"a \"b\", c", NetStanding::proposed, {JointIndex(2)}}};

TEST(NetsOut, Json) {
    // The form is that of design.md, "Forms that other programs read".
    EXPECT_EQ(json::parse(nets_json(two_parts(), kNets)), json::parse(R"({"nets":[
        {"name":"U1.3","standing":"proven","joints":["R2.1","U1.3"]},
        {"name":"a \"b\", c","standing":"proposed","joints":["a \"b\", c"]}]})"));
    EXPECT_EQ(json::parse(nets_json(two_parts(), {})), json::parse(R"({"nets":[]})"));
}

TEST(NetsOut, LinksJson) {
    Link link;
    link.from = JointIndex(0);
    link.to = JointIndex(1);
    link.side = Side::component;
    link.probability = 0.93;
    link.width_mm = 0.3;
    link.hidden = 0.1;
    Link conductor;
    conductor.from = JointIndex(1);
    conductor.to = JointIndex(2);
    conductor.probability = 1;
    conductor.standing = Standing::proven;
    conductor.why = "conductor of W1";
    EXPECT_EQ(json::parse(links_json(two_parts(), {link, conductor})), json::parse(R"({"links":[
        {"from":"U1.3","to":"R2.1","side":"top","probability":0.93,"standing":"proposed","width_mm":0.3,"hidden":0.1},
        {"from":"R2.1","to":"a \"b\", c","side":null,"probability":1.0,"standing":"proven","width_mm":null,"hidden":0.0,
         "why":"conductor of W1"}]})"));
    EXPECT_THAT(links_table(two_parts(), {link, conductor}), HasSubstr("component side"));
}

// RFC 4180, section 2: records end with CR LF, quoted fields may hold commas and doubled quotes.
std::vector<std::vector<std::string>> read_csv(const std::string& text) {
    std::vector<std::vector<std::string>> records(1);
    std::string field;
    bool quoted = false;
    for (std::size_t i = 0; i < text.size(); ++i) {
        if (quoted) {
            if (text[i] != '"')
                field += text[i];
            else if (i + 1 < text.size() && text[i + 1] == '"')
                field += text[++i];
            else
                quoted = false;
        } else if (text[i] == '"') {
            EXPECT_TRUE(field.empty());
            quoted = true;
        } else if (text[i] == ',') {
            records.back().push_back(std::exchange(field, ""));
        } else if (text[i] == '\r') {
            EXPECT_EQ(text[i + 1], '\n');
            ++i;
            records.back().push_back(std::exchange(field, ""));
            records.emplace_back();
        } else {
            field += text[i];
        }
    }
    EXPECT_TRUE(records.back().empty()) << "the last record ends too";
    records.pop_back();
    return records;
}

TEST(NetsOut, Csv) {
    const auto records = read_csv(nets_csv(two_parts(), kNets));
    ASSERT_EQ(records.size(), 4U);
    EXPECT_EQ(records[0], (std::vector<std::string>{"net", "standing", "joint", "board", "part", "pin",
                                                    "x_mm", "y_mm", "side"}));
    EXPECT_EQ(records[1],
              (std::vector<std::string>{"U1.3", "proven", "R2.1", "main", "", "", "1.500", "2.250", "both"}));
    EXPECT_EQ(records[2], (std::vector<std::string>{"U1.3", "proven", "U1.3", "main", "U1", "3", "1.500",
                                                    "2.250", "both"}));
    EXPECT_EQ(records[3][0], "a \"b\", c");
    EXPECT_EQ(records[3][2], "a \"b\", c");
}

TEST(NetsOut, TableWrapsLongNets) {
    Assembly assembly = two_parts();
    Net net{"GND", NetStanding::joined, {}};
    for (int i = 0; i < 60; ++i) {
        Joint joint = assembly.joints[0];
        joint.name = JointName("U20." + std::to_string(i));
        assembly.joints.push_back(joint);
        net.joints.emplace_back(assembly.joints.size() - 1);
    }
    const std::string table = nets_table(assembly, {net});
    std::istringstream in(table);
    std::string words;
    for (std::string line; std::getline(in, line);) {
        EXPECT_LE(line.size(), 100U) << line;
        words += line + " ";
    }
    for (int i = 0; i < 60; ++i) EXPECT_THAT(words, HasSubstr(" U20." + std::to_string(i) + " "));
    EXPECT_THAT(words, HasSubstr("GND"));
    EXPECT_THAT(words, HasSubstr(" 60:"));
}

}  // namespace
}  // namespace eyelet
