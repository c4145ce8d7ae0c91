#include "eyelet/exchange/ring_lines.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace eyelet {
namespace {

using nlohmann::json;
using testing::HasSubstr;

Assembly three_joints() {
    Assembly assembly;
    assembly.boards.push_back({BoardName("main"), {50, 40}, {}});
    for (const char* name : {"J12", "J40", "J\"41"}) {
        Joint joint;
        joint.name = JointName(name);
        joint.board = BoardIndex(0);
        joint.pad_mm = {1.6, 1.6};
        assembly.joints.push_back(joint);
    }
    return assembly;
}

Gesture touch() {
    Gesture g;
    g.hold = JointIndex(0);
    g.along = {JointIndex(1)};
    g.why = "Copper is plain to see from J12 to J40.";
    return g;
}
Gesture sweep() {
    Gesture g = touch();
    g.kind = Gesture::Kind::sweep;
    g.along.push_back(JointIndex(2));
    return g;
}

std::string error_of(const Gesture& asked, const char* line) {
    const auto result = read_ring_line(three_joints(), asked, line);
    return result.ok() ? "no error" : result.error().message;
}
Said said(const Gesture& asked, const char* line, std::size_t at = 0) {
    const RingLine read = read_ring_line(three_joints(), asked, line).value();
    const Answer& answer = std::get<Answer>(read);
    return at == 0 && asked.kind == Gesture::Kind::touch ? std::get<TouchAnswer>(answer).said : std::get<SweepAnswer>(answer).said[at];
}

TEST(RingLines, AsksOneObjectALine) {
    const std::string line = gesture_line(three_joints(), sweep());
    EXPECT_EQ(line.find('\n'), std::string::npos);
    const json object = json::parse(line);
    EXPECT_EQ(object["gesture"], "sweep");
    EXPECT_EQ(object["hold"], "J12");
    EXPECT_EQ(object["along"], json::parse(R"(["J40","J\"41"])"));
    EXPECT_EQ(json::parse(gesture_line(three_joints(), touch()))["to"], "J40");
}

TEST(RingLines, ReadsEveryAnswerOfATouch) {
    EXPECT_EQ(said(touch(), R"({"ohms":0.21})"), Said(Ohms{0.21}));
    EXPECT_EQ(said(touch(), R"({"open":true,"note":"cold"})"), Said(Open{}));
    EXPECT_EQ(said(touch(), R"({"beep":true})"), Said(Beep{}));
    EXPECT_TRUE(std::holds_alternative<UndoLine>(read_ring_line(three_joints(), touch(), R"({"undo":true})").value()));
    EXPECT_TRUE(std::holds_alternative<StopLine>(read_ring_line(three_joints(), touch(), R"({"stop":true})").value()));
    const RingLine skip = read_ring_line(three_joints(), touch(), R"({"skip":"cannot reach","joint":"J40"})").value();
    EXPECT_EQ(std::get<SkipAnswer>(std::get<Answer>(skip)).reason, "cannot reach");
    EXPECT_EQ(std::get<SkipAnswer>(std::get<Answer>(skip)).joint, JointIndex(1));
}

TEST(RingLines, ReadsEveryAnswerOfASweep) {
    EXPECT_EQ(said(sweep(), R"({"answers":{"J40":0.2,"J\"41":"open"}})", 0), Said(Ohms{0.2}));
    EXPECT_EQ(said(sweep(), R"({"answers":{"J40":0.2,"J\"41":"open"}})", 1), Said(Open{}));
    EXPECT_EQ(said(sweep(), R"({"beeps":["J40"]})", 0), Said(Beep{}));
    EXPECT_EQ(said(sweep(), R"({"beeps":["J40"]})", 1), Said(Open{}));
}

TEST(RingLines, RefusesWithWhatWouldBeRight) {
    EXPECT_THAT(error_of(touch(), "ohms 3"), HasSubstr("not JSON"));
    EXPECT_THAT(error_of(touch(), "[1]"), HasSubstr("one JSON object"));
    EXPECT_THAT(error_of(touch(), "{}"), HasSubstr("no answer"));
    EXPECT_THAT(error_of(touch(), "{\"open\":\xff}"), HasSubstr("not JSON"));
    EXPECT_THAT(error_of(touch(), R"({"ohms":"0.2"})"), HasSubstr("must be a number"));
    EXPECT_THAT(error_of(touch(), R"({"ohms":-7})"), HasSubstr("not below zero"));
    EXPECT_THAT(error_of(touch(), R"({"ohms":1,"open":true})"), HasSubstr("more than one"));
    EXPECT_THAT(error_of(touch(), R"({"open":false})"), HasSubstr("must be true"));
    EXPECT_THAT(error_of(touch(), R"({"beeps":["J40"]})"), HasSubstr("a touch was asked"));
    EXPECT_THAT(error_of(sweep(), R"({"ohms":0.2})"), HasSubstr("a sweep was asked"));
    EXPECT_THAT(error_of(sweep(), R"({"beeps":["J99"]})"), HasSubstr("\"J99\" is not in this sweep"));
    EXPECT_THAT(error_of(sweep(), R"({"answers":{"J40":0.2}})"), HasSubstr("J\"41"));
    EXPECT_THAT(error_of(sweep(), R"({"answers":{"J40":0.2,"J\"41":null}})"), HasSubstr("number of ohms"));
    EXPECT_THAT(error_of(sweep(), R"({"answers":{"J40":0.2,"J\"41":1,"J9":1}})"), HasSubstr("J9"));
    EXPECT_THAT(error_of(touch(), R"({"skip":true})"), HasSubstr("reason in words"));
    EXPECT_THAT(error_of(touch(), R"({"skip":"no","joint":"J9"})"), HasSubstr("not in this gesture"));
}

TEST(RingLines, SaysAtTheEndWhatStaysUnproven) {
    RingState state;
    state.joints.resize(3);
    state.joints[0].standing = JointStanding::proven;
    state.joints[1].standing = JointStanding::unreachable;
    state.joints[1].why = "No probe could reach it (cannot reach).";
    state.joints[2].standing = JointStanding::presumed;
    state.counts.joints = 3;
    const json line = json::parse(done_line(three_joints(), state, RingEnd::stopped));
    EXPECT_EQ(line["done"], true);
    EXPECT_EQ(line["joints"], 3);
    ASSERT_EQ(line["unproven"].size(), 1U);
    EXPECT_EQ(line["unproven"][0]["joint"], "J40");
    EXPECT_EQ(json::parse(error_line(bad_input("no")))["error"], "no");
}

}  // namespace
}  // namespace eyelet
