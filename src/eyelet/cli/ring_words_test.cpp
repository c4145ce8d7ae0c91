#include "eyelet/cli/ring_words.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>
#include <variant>
#include <vector>

namespace eyelet::cli {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::Not;

Assembly row() {
    Assembly map;
    for (const char* name : {"J12", "J40", "J41", "3"}) {
        map.joints.emplace_back();
        map.joints.back().name = JointName(name);
    }
    return map;
}
Gesture touch() {
    Gesture gesture;
    gesture.hold = JointIndex(0);
    gesture.along = {JointIndex(1)};
    gesture.why = "Copper seems to join them.";
    return gesture;
}
Gesture sweep() {
    Gesture gesture = touch();
    gesture.kind = Gesture::Kind::sweep;
    gesture.along = {JointIndex(1), JointIndex(2), JointIndex(3)};
    return gesture;
}

std::optional<Said> touched(const char* line) {
    const auto read = read_short_answer(row(), touch(), line);
    if (!read.ok() || !std::holds_alternative<Answer>(read.value())) return std::nullopt;
    const auto* answer = std::get_if<TouchAnswer>(&std::get<Answer>(read.value()));
    return answer ? std::optional<Said>(answer->said) : std::nullopt;
}
std::vector<Said> swept(const char* line) {
    const auto read = read_short_answer(row(), sweep(), line);
    if (!read.ok() || !std::holds_alternative<Answer>(read.value())) return {};
    const auto* answer = std::get_if<SweepAnswer>(&std::get<Answer>(read.value()));
    return answer ? answer->said : std::vector<Said>{};
}

TEST(RingWords, ReadsATouch) {
    EXPECT_EQ(touched("0.2"), Said(Ohms{0.2}));
    EXPECT_EQ(touched(" 4k7 "), Said(Ohms{4700}));
    EXPECT_EQ(touched("0R3"), Said(Ohms{0.3}));
    EXPECT_EQ(touched("12 ohm"), Said(Ohms{12}));
    for (const char* open : {"o", "open", "OL"}) EXPECT_EQ(touched(open), Said(Open{})) << open;
    EXPECT_EQ(touched("b"), Said(Beep{}));
    // What is no answer is never taken for one: a lost reading is not open.
    for (const char* bad : {"", "x", "0.2 0.3", "-1", "NaN", "2V", "5 %", "4k7 5%", "\xFF"}) {
        const auto read = read_short_answer(row(), touch(), bad);
        ASSERT_FALSE(read.ok()) << bad;
        EXPECT_EQ(read.error().message.find('\n'), std::string::npos);
    }
}

TEST(RingWords, ReadsASweep) {
    const Said open = Open{};
    const Said beep = Beep{};
    EXPECT_EQ(swept("-"), (std::vector<Said>{open, open, open}));
    EXPECT_EQ(swept("J40 J41"), (std::vector<Said>{beep, beep, open}));
    EXPECT_EQ(swept("2"), (std::vector<Said>{open, beep, open})) << "by its place in the row";
    EXPECT_EQ(swept("3"), (std::vector<Said>{open, open, beep})) << "a joint's name comes before a place";
    EXPECT_EQ(swept("J40 0.2, J41=open; 3 0R4"), (std::vector<Said>{Ohms{0.2}, open, Ohms{0.4}}));
    for (const char* bad : {"", "J99", "J40 maybe", "4", "0.2"})
        EXPECT_FALSE(read_short_answer(row(), sweep(), bad).ok()) << bad;
}

TEST(RingWords, ReadsSkipUndoStop) {
    for (const Gesture& gesture : {touch(), sweep()}) {
        EXPECT_TRUE(std::holds_alternative<UndoLine>(read_short_answer(row(), gesture, "u").value()));
        EXPECT_TRUE(std::holds_alternative<StopLine>(read_short_answer(row(), gesture, "q").value()));
        const auto skip = read_short_answer(row(), gesture, "s under the can");
        ASSERT_TRUE(skip.ok());
        EXPECT_EQ(std::get<SkipAnswer>(std::get<Answer>(skip.value())).reason, "under the can");
    }
}

TEST(RingWords, SaysTheGesture) {
    const std::string first = gesture_in_words(row(), touch(), nullptr);
    EXPECT_THAT(first, AllOf(HasSubstr("Hold one probe on J12 (component side)"), HasSubstr("Touch J40"),
                             HasSubstr("Copper seems")));
    const Gesture before = touch();
    const std::string next = gesture_in_words(row(), sweep(), &before);
    EXPECT_THAT(next,
                AllOf(HasSubstr("Stay on J12"), HasSubstr("1:J40 2:J41 3:3"), Not(HasSubstr("Hold one"))));
    Gesture turned = touch();
    turned.hold_side = Side::solder;
    EXPECT_THAT(gesture_in_words(row(), turned, &before), HasSubstr("Hold one probe on J12 (solder side)"));
}

TEST(RingWords, SaysTheEnd) {
    RingState state;
    state.counts.joints = 12;
    state.contradictions.push_back({{0, 1}, JointIndex(0), JointIndex(1), "Two readings disagree."});
    const std::string text = end_in_words(row(), state, RingEnd::stopped);
    EXPECT_THAT(text, AllOf(HasSubstr("Stopped"), HasSubstr("12 joints"),
                            HasSubstr("Touch J12 and J40 to settle it")));
    EXPECT_THAT(end_in_words(row(), state, RingEnd::settled), HasSubstr("proven to the stated risk"));
}

}  // namespace
}  // namespace eyelet::cli
