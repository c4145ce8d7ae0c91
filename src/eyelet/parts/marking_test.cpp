#include "eyelet/parts/marking.h"

#include <cmath>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace eyelet {
namespace {

using testing::HasSubstr;

constexpr ComponentKind R = ComponentKind::resistor;
constexpr ComponentKind C = ComponentKind::capacitor;
constexpr ComponentKind L = ComponentKind::inductor;

struct Row {
    const char* text;
    ComponentKind kind;
    double value;
    double tolerance = 0;  // symmetric, relative; 0: not told
    double volts = 0;      // 0: not told
};

// Sources: [62] IEC 60062 as quoted in public tables; [96] EIA-96 rule round(100 * 10^((n-1)/96)); [V] maker's data
// sheets of chip tantalums and a maker's part-number sheet for the two-character codes; [CP] common practice.
constexpr Row kRows[] = {
    // [62] letter codes of resistors
    {"R47", R, 0.47}, {"4R7", R, 4.7}, {"470R", R, 470}, {"4K7", R, 4700}, {"47K3", R, 47300}, {"4M7", R, 4.7e6}, {"4k7", R, 4700},
    {"R33", R, 0.33}, {"3K3", R, 3300}, {"59R04", R, 59.04}, {"R10", R, 0.1}, {"0R1", R, 0.1}, {"1R0", R, 1}, {"10R", R, 10},
    {"100R", R, 100}, {"1K0", R, 1000}, {"10K", R, 1e4}, {"100K", R, 1e5}, {"1M0", R, 1e6}, {"10M", R, 1e7}, {"R005", R, 0.005},
    {"12R0", R, 12}, {"1K5J", R, 1500, 0.05}, {"4K7F", R, 4700, 0.01}, {"R22K", R, 0.22, 0.1}, {"2M2J", R, 2.2e6, 0.05}, {"3G3", R, 3.3e9},
    {"5m6", R, 0.0056},
    // [62] three and four digits
    {"103", R, 1e4}, {"1001", R, 1000}, {"2491", R, 2490}, {"4992", R, 49900}, {"1002", R, 1e4}, {"8202", R, 82000}, {"000", R, 0}, {"0", R, 0},
    // [96]
    {"01A", R, 100, 0.01}, {"39D", R, 249e3, 0.01}, {"68X", R, 49.9, 0.01}, {"01Y", R, 1, 0.01}, {"24C", R, 17400, 0.01}, {"48B", R, 3090, 0.01},
    {"51A", R, 332, 0.01}, {"66H", R, 4750, 0.01}, {"96F", R, 97.6e6, 0.01}, {"10S", R, 12.4, 0.01},
    // [62] letter codes of capacitors
    {"n47", C, 0.47e-9}, {"4n7", C, 4.7e-9}, {"47n", C, 47e-9}, {"4p7", C, 4.7e-12}, {"p47", C, 0.47e-12}, {"4u7", C, 4.7e-6}, {"4µ7", C, 4.7e-6},
    {"µ47", C, 0.47e-6}, {"100n", C, 100e-9}, {"33p", C, 33e-12}, {"2n2K", C, 2.2e-9, 0.1}, {"10nJ", C, 10e-9, 0.05}, {"470nM", C, 470e-9, 0.2},
    // [CP] digit codes of capacitors with a tolerance letter
    {"104K", C, 100e-9, 0.1}, {"103M", C, 10e-9, 0.2}, {"473J", C, 47e-9, 0.05}, {"222K", C, 2.2e-9, 0.1}, {"101J", C, 100e-12, 0.05}, {"223J", C, 22e-9, 0.05},
    {"474K", C, 470e-9, 0.1}, {"331K", C, 330e-12, 0.1}, {"105K", C, 1e-6, 0.1},
    {"47J", C, 47e-12, 0.05}, {"22K", R, 22e3},
    // [V] voltage letters
    {"A475", C, 4.7e-6, 0, 10}, {"C106", C, 10e-6, 0, 16}, {"J107", C, 100e-6, 0, 6.3}, {"e337", C, 330e-6, 0, 2.5}, {"G227", C, 220e-6, 0, 4},
    {"V105", C, 1e-6, 0, 35}, {"E106", C, 10e-6, 0, 25}, {"D226", C, 22e-6, 0, 20}, {"H474", C, 0.47e-6, 0, 50}, {"107A", C, 100e-6, 0, 10},
    {"226V", C, 22e-6, 0, 35}, {"476A", C, 47e-6, 0, 10}, {"107J", C, 100e-6, 0, 6.3}, {"476C", C, 47e-6, 0, 16},
    // [V] two-character voltages
    {"2A333J", C, 33e-9, 0.05, 100}, {"1H104K", C, 100e-9, 0.1, 50}, {"2E104K", C, 100e-9, 0.1, 250}, {"2G473J", C, 47e-9, 0.05, 400}, {"1E224", C, 220e-9, 0, 25},
    {"2A102J", C, 1e-9, 0.05, 100}, {"1H223J", C, 22e-9, 0.05, 50}, {"0J226M", C, 22e-6, 0.2, 6.3}, {"2W103K", C, 10e-9, 0.1, 450}, {"104K1H", C, 100e-9, 0.1, 50},
    {"104K 1H", C, 100e-9, 0.1, 50},
    // [CP] value, tolerance and volts in one
    {"104K50", C, 100e-9, 0.1, 50}, {"104J100", C, 100e-9, 0.05, 100}, {".047K100", C, 47e-9, 0.1, 100}, {"0.1J250", C, 100e-9, 0.05, 250}, {".22K63", C, 220e-9, 0.1, 63},
    {"10u16", C, 10e-6, 0, 16}, {"47u35", C, 47e-6, 0, 35}, {"220uF35V", C, 220e-6, 0, 35}, {"100u25", C, 100e-6, 0, 25}, {"22n400", C, 22e-9, 0, 400}, {"47/25", C, 47e-6, 0, 25},
    // [CP] electrolytic cans
    {"220 35V", C, 220e-6, 0, 35}, {"220µF 35V", C, 220e-6, 0, 35}, {"220 µF 35 V", C, 220e-6, 0, 35}, {"1000uF 16V 105°C", C, 1e-3, 0, 16}, {"47 25V", C, 47e-6, 0, 25},
    {"4.7 50V", C, 4.7e-6, 0, 50}, {"100uF 25V", C, 100e-6, 0, 25}, {"2200 16V 85°C", C, 2.2e-3, 0, 16}, {"10MFD 450V", C, 10e-6, 0, 450}, {"3.3uF 50V NP", C, 3.3e-6, 0, 50},
    {"1 50V", C, 1e-6, 0, 50}, {"470 6.3V 105C", C, 470e-6, 0, 6.3}, {"0.1MF 630V", C, 0.1e-6, 0, 630}, {"22uF 25V ±20%", C, 22e-6, 0.2, 25},
    {"0,47 63V", C, 0.47e-6, 0, 63}, {"100nF 275VAC", C, 100e-9, 0, 275},
    // written out
    {"220uF", C, 220e-6}, {"100 nF", C, 100e-9}, {"47pF", C, 47e-12}, {"4.7kohm", R, 4700}, {"10 ohm", R, 10}, {"4.7 kΩ", R, 4700}, {"10uH", L, 10e-6}, {"3.3mH", L, 3.3e-3},
    {"22 nH", L, 22e-9}, {"4.7k", R, 4700}, {"10 k", R, 1e4},
    // [62] colour bands
    {"brown black red gold", R, 1000, 0.05}, {"yellow violet red gold", R, 4700, 0.05}, {"red red orange gold", R, 22e3, 0.05},
    {"brown black black gold brown", R, 10, 0.01}, {"red violet green brown", R, 2.7e6, 0.01}, {"brown black orange", R, 1e4, 0.2},
    {"orange orange black brown brown red", R, 3300, 0.01}, {"yellow-violet-gold-gold", R, 4.7, 0.05}, {"blue grey black red brown", R, 68e3, 0.01},
    {"green blue silver gold", R, 0.56, 0.05}, {"Brown Black Black Red Brown", R, 1e4, 0.01},
};

TEST(Marking, ReadsWhatStandsOnParts) {
    int first = 0, total = 0;
    for (const Row& row : kRows) {
        ++total;
        const auto readings = read_marking(row.text);
        ASSERT_TRUE(readings.ok()) << row.text << ": " << readings.error().message;
        const auto fits = [&](const MarkingReading& reading) {
            const bool tolerance = row.tolerance == 0 || (reading.tolerance && std::abs(reading.tolerance->second - row.tolerance) < 1e-9);
            const bool volts = row.volts == 0 || (reading.volts && std::abs(*reading.volts - row.volts) < 1e-9);
            return reading.kind == row.kind && std::abs(reading.value - row.value) <= 1e-9 * row.value && tolerance && volts;
        };
        EXPECT_TRUE(std::any_of(readings.value().begin(), readings.value().end(), fits)) << row.text << " is not among the readings";
        const bool right = fits(readings.value().front());
        first += right;
        if (!right) std::printf("not first: %s (first: %s)\n", row.text, readings.value().front().why.c_str());
    }
    EXPECT_GE(first, 0.98 * total) << first << " of " << total;
}

TEST(Marking, AmbiguityIsAnAnswer) {
    const auto readings = read_marking("473");
    ASSERT_TRUE(readings.ok());
    std::vector<ComponentKind> kinds;
    double sum = 0;
    for (const MarkingReading& reading : readings.value()) {
        kinds.push_back(reading.kind);
        sum += reading.share;
    }
    EXPECT_THAT(kinds, testing::IsSupersetOf({R, C, L}));
    EXPECT_NEAR(sum, 1, 1e-9);
    const auto capacitor = read_marking("473", C);
    ASSERT_TRUE(capacitor.ok());
    EXPECT_NEAR(capacitor.value().front().value, 47e-9, 1e-18);
}

TEST(Marking, LetterJIsSixVoltsOrFivePerCentAndBothAreSaid) {
    const auto readings = read_marking("107J", C);
    ASSERT_TRUE(readings.ok());
    const auto& all = readings.value();
    EXPECT_TRUE(std::any_of(all.begin(), all.end(), [](const auto& r) { return r.volts == 6.3 && !r.warnings.empty(); }));
    EXPECT_TRUE(std::any_of(all.begin(), all.end(), [](const auto& r) { return r.tolerance && !r.volts; }));
}

TEST(Marking, BelowTenPicofaradsToleranceLettersArePicofarads) {
    const auto readings = read_marking("4p7C");
    ASSERT_TRUE(readings.ok());
    EXPECT_NEAR(readings.value().front().tolerance->second, 0.25 / 4.7, 1e-9);
}

TEST(Marking, KeepsTemperaturePolarityAndDates) {
    const auto readings = read_marking("47uF 16V NP 105°C 9348");
    ASSERT_TRUE(readings.ok());
    const MarkingReading& reading = readings.value().front();
    EXPECT_TRUE(reading.non_polar);
    EXPECT_EQ(reading.highest_celsius, 105);
    EXPECT_THAT(reading.dates, testing::Contains("week 48 of 1993"));
    const auto letters = read_marking("47uF 16V M6");
    ASSERT_TRUE(letters.ok());
    // M6: June 2000 or 2020, both are said (IEC 60062).
    EXPECT_THAT(letters.value().front().dates, testing::IsSupersetOf({std::string("month 6 of 2000"), std::string("month 6 of 2020")}));
}

TEST(Marking, TemperatureCoefficientOfSixBands) {
    const auto readings = read_marking("orange orange black brown brown red");
    ASSERT_TRUE(readings.ok());
    EXPECT_EQ(readings.value().front().ppm_per_kelvin, 50);
}

// Traps met in public tables: code 24 is 174 and 48 is 309; 105 is 1 uF, not 10 uF.
TEST(Marking, DoesNotFollowWrongTables) {
    EXPECT_NEAR(read_marking("24A").value().front().value, 174, 1e-9);
    EXPECT_NEAR(read_marking("V105").value().front().value, 1e-6, 1e-15);
    EXPECT_NE(read_marking("A475").value().front().volts, 16);
}

TEST(Marking, RefusesNonsenseInWords) {
    for (const char* text : {"", "   ", "hello", "??", "97A!", "brown black purplish gold", "red red", "4.7.1", "ohm"}) {
        const auto readings = read_marking(text);
        ASSERT_FALSE(readings.ok()) << text;
        EXPECT_THAT(readings.error().message, HasSubstr("marking"));
    }
    EXPECT_FALSE(read_marking("4k7", C).ok());
}

}  // namespace
}  // namespace eyelet
