#include "eyelet/core/engineering_number.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <string>
#include <vector>
#if __has_include(<rapidcheck.h>)
#include <rapidcheck.h>
#endif

namespace eyelet {
namespace {

using ::testing::HasSubstr;

struct Reads {
    const char* text;
    double value;
    Unit unit;
    std::optional<Tolerance> tolerance = std::nullopt;
};

void expect_reads(const Reads& wanted) {
    const auto result = parse_engineering_number(wanted.text);
    ASSERT_TRUE(result.ok()) << result.error().message;
    EXPECT_EQ(result.value().value, wanted.value) << wanted.text;
    EXPECT_EQ(result.value().unit, wanted.unit) << wanted.text;
    ASSERT_EQ(result.value().tolerance.has_value(), wanted.tolerance.has_value()) << wanted.text;
    if (wanted.tolerance) {
        EXPECT_DOUBLE_EQ(result.value().tolerance->low, wanted.tolerance->low) << wanted.text;
        EXPECT_DOUBLE_EQ(result.value().tolerance->high, wanted.tolerance->high) << wanted.text;
    }
}

TEST(EngineeringNumber, ReadsIec60062LetterCodes) {
    // IEC 60062, resistance letter code; examples as quoted on the public page "RKM code" (second-hand).
    for (const Reads& example :
         {Reads{"R47", 0.47, Unit::ohm}, Reads{"4R7", 4.7, Unit::ohm}, Reads{"470R", 470, Unit::ohm},
          Reads{"4K7", 4700, Unit::none}, Reads{"47K", 47e3, Unit::none}, Reads{"47K3", 47.3e3, Unit::none},
          Reads{"470K", 470e3, Unit::none}, Reads{"4M7", 4.7e6, Unit::none}})
        expect_reads(example);
    // IEC 60062, resistance letter code: R33, 3K3 and 59R04 (second-hand).
    for (const Reads& example :
         {Reads{"R33", 0.33, Unit::ohm}, Reads{"3K3", 3300, Unit::none}, Reads{"59R04", 59.04, Unit::ohm}})
        expect_reads(example);
    // IEC 60062, capacitance letter code with p, n, µ, m, and the larger multipliers G, T (from memory).
    for (const Reads& example : {Reads{"p33", 0.33e-12, Unit::none}, Reads{"3p3", 3.3e-12, Unit::none},
                                 Reads{"33p", 33e-12, Unit::none}, Reads{"n33", 0.33e-9, Unit::none},
                                 Reads{"3n32", 3.32e-9, Unit::none}, Reads{"330n", 330e-9, Unit::none},
                                 Reads{"µ33", 0.33e-6, Unit::none}, Reads{"3µ3", 3.3e-6, Unit::none},
                                 Reads{"m33", 0.33e-3, Unit::none}, Reads{"3m3", 3.3e-3, Unit::none},
                                 Reads{"1G0", 1e9, Unit::none}, Reads{"1T", 1e12, Unit::none}})
        expect_reads(example);
}

TEST(EngineeringNumber, ReadsWhatPeopleWrite) {
    for (const Reads& example : {
             Reads{"4k7", 4700, Unit::none},
             Reads{"2u2", 2.2e-6, Unit::none},
             Reads{"0R1", 0.1, Unit::ohm},
             Reads{"100n", 100e-9, Unit::none},
             Reads{"1M", 1e6, Unit::none},
             Reads{"1m", 1e-3, Unit::none},
             Reads{"4.7kΩ", 4700, Unit::ohm},
             Reads{"4,7 k\xE2\x84\xA6", 4700, Unit::ohm},
             Reads{"4.7 kohm", 4700, Unit::ohm},
             Reads{"47 ohms", 47, Unit::ohm},
             Reads{"47", 47, Unit::none},
             Reads{".5", 0.5, Unit::none},
             Reads{"2\xC2\xB5"
                   "2",
                   2.2e-6, Unit::none},
             Reads{"2\xCE\xBC"
                   "2",
                   2.2e-6, Unit::none},
             Reads{"10 \xC2\xB5"
                   "F",
                   10e-6, Unit::farad},
             Reads{"10 \xCE\xBC"
                   "F",
                   10e-6, Unit::farad},
             Reads{"4n7F", 4.7e-9, Unit::farad},
             Reads{"5V1", 5.1, Unit::volt},
             Reads{"-12 V", -12, Unit::volt},
             Reads{"630mA", 0.63, Unit::ampere},
             Reads{"0.25W", 0.25, Unit::watt},
             Reads{"4.000 MHz", 4e6, Unit::hertz},
             Reads{"100 µH", 100e-6, Unit::henry},
             Reads{"1e-7F", 1e-7, Unit::farad},
             Reads{"1E3", 1000, Unit::none},
             Reads{"0.1 MFD", 0.1e-6, Unit::farad},
             Reads{"50 MMFD", 50e-12, Unit::farad},
             Reads{"0R", 0, Unit::ohm},
             Reads{"10kR", 10e3, Unit::ohm},
         })
        expect_reads(example);
}

TEST(EngineeringNumber, ReadsTolerances) {
    for (const Reads& example : {
             Reads{"220 µF ±20 %", 220e-6, Unit::farad, Tolerance{-0.2, 0.2}},
             Reads{"220uF±20%", 220e-6, Unit::farad, Tolerance{-0.2, 0.2}},
             Reads{"4k7 +/-5%", 4700, Unit::none, Tolerance{-0.05, 0.05}},
             Reads{"4k7 +-5 %", 4700, Unit::none, Tolerance{-0.05, 0.05}},
             Reads{"4k7 1%", 4700, Unit::none, Tolerance{-0.01, 0.01}},
             Reads{"10n -20/+80 %", 10e-9, Unit::none, Tolerance{-0.2, 0.8}},
             Reads{"10n +80/-20%", 10e-9, Unit::none, Tolerance{-0.2, 0.8}},
             Reads{"10n -20% +80%", 10e-9, Unit::none, Tolerance{-0.2, 0.8}},
             Reads{"4.7pF ±0.25pF", 4.7e-12, Unit::farad, Tolerance{-0.25 / 4.7, 0.25 / 4.7}},
             // IEC 60062's letters for tolerance (from memory): J 5 %, K 10 %, F 1 %, M 20 %.
             Reads{"4K7J", 4700, Unit::none, Tolerance{-0.05, 0.05}},
             Reads{"59R04F", 59.04, Unit::ohm, Tolerance{-0.01, 0.01}},
             Reads{"470RJ", 470, Unit::ohm, Tolerance{-0.05, 0.05}},
             Reads{"33nK", 33e-9, Unit::none, Tolerance{-0.1, 0.1}},
             Reads{"100nFM", 100e-9, Unit::farad, Tolerance{-0.2, 0.2}},
             // Below 10 pF the letters are picofarads (from memory): C is 0.25 pF.
             Reads{"4p7C", 4.7e-12, Unit::none, Tolerance{-0.25 / 4.7, 0.25 / 4.7}},
         })
        expect_reads(example);
}

TEST(EngineeringNumber, ReadsSeveralValuesInOneText) {
    const auto two = parse_engineering_numbers("10uF 35V");
    ASSERT_TRUE(two.ok()) << two.error().message;
    EXPECT_EQ(two.value(), (std::vector<EngineeringNumber>{{10e-6, Unit::farad, {}}, {35, Unit::volt, {}}}));
    const auto three = parse_engineering_numbers("4k7 5% 0.25W");
    ASSERT_TRUE(three.ok()) << three.error().message;
    EXPECT_EQ(three.value(), (std::vector<EngineeringNumber>{{4700, Unit::none, Tolerance{-0.05, 0.05}},
                                                             {0.25, Unit::watt, {}}}));
    const auto slash = parse_engineering_numbers("100n/63V");
    ASSERT_TRUE(slash.ok()) << slash.error().message;
    EXPECT_EQ(slash.value().size(), 2U);
    EXPECT_FALSE(parse_engineering_numbers("").ok());
    EXPECT_FALSE(parse_engineering_numbers("10uF LM317").ok());
    EXPECT_FALSE(parse_engineering_number("10uF 35V").ok()) << "one value was asked for";
}

TEST(EngineeringNumber, TakesTheUnitThatIsAssumed) {
    EXPECT_EQ(parse_engineering_number("4k7", Unit::ohm).value(), (EngineeringNumber{4700, Unit::ohm, {}}));
    EXPECT_EQ(parse_engineering_number("100n", Unit::farad).value(),
              (EngineeringNumber{1e-7, Unit::farad, {}}));
    const auto wrong = parse_engineering_number("4R7", Unit::farad);
    ASSERT_FALSE(wrong.ok());
    EXPECT_THAT(wrong.error().message, HasSubstr("in ohm, where farad is needed"));
}

TEST(EngineeringNumber, RefusesNonsense) {
    const struct {
        const char* text;
        const char* says;
    } cases[] = {
        {"", "empty"},
        {"   ", "empty"},
        {"k", "does not begin with a number"},
        {"LM317", "does not begin with a number"},
        {"NaN", "does not begin with a number"},
        {"inf", "does not begin with a number"},
        {".", "no digits"},
        {"4k7k7", "unknown unit \"k\""},
        {"4.7.3", "cannot be read"},
        {"4.7k3", "cannot be read"},
        {"47 parsec", "unknown unit \"arsec\""},
        {"47 x", "unknown unit \"x\""},
        {"10 MF", "farad"},
        {"-4k7", "negative"},
        {"1e999", "too large"},
        {"1e-999", "too small"},
        {"4k7 ±", "behind its plus-minus"},
        {"4k7 ±20", "without % or unit"},
        {"4k7 -20 %", "half a tolerance"},
        {"4k7 ±5 % ±6 %", "does not belong to it"},
        {"4k7 ±5000 %", "beyond"},
        {"4.7pF ±1V", "tolerance in volt"},
        {"4k7\n", "control character"},
        {"4k7 €", "does not belong into a value"},
        {"4k7\xFF", "does not belong into a value"},
        {"100n 35V", "goes on with \"35V\""},
    };
    for (const auto& bad : cases) {
        const auto result = parse_engineering_number(bad.text);
        ASSERT_FALSE(result.ok()) << bad.text;
        EXPECT_THAT(result.error().message, HasSubstr(bad.says)) << bad.text;
        EXPECT_EQ(result.error().message.find('\n'), std::string::npos) << bad.text;
    }
    EXPECT_FALSE(parse_engineering_number(std::string(1000, '1')).ok());
}

TEST(EngineeringNumber, Prints) {
    EXPECT_EQ(to_text({4700, Unit::ohm, {}}), "4.7 kΩ");
    EXPECT_EQ(to_text({220e-6, Unit::farad, Tolerance{-0.2, 0.2}}), "220 µF ±20 %");
    EXPECT_EQ(to_text({10e-9, Unit::farad, Tolerance{-0.2, 0.8}}), "10 nF -20/+80 %");
    EXPECT_EQ(to_text({1e-7, Unit::none, {}}), "100 n");
    EXPECT_EQ(to_text({0, Unit::ohm, {}}), "0 Ω");
    EXPECT_EQ(to_text({47, Unit::none, {}}), "47");
    EXPECT_EQ(to_text({-12, Unit::volt, {}}), "-12 V");
    EXPECT_EQ(to_text({1e15, Unit::hertz, {}}), "1000 THz");
    EXPECT_EQ(to_text({1e-15, Unit::farad, {}}), "0.001 pF");
    EXPECT_EQ(to_text({999999, Unit::ohm, {}}), "999.999 kΩ");
}

TEST(EngineeringNumber, PrintsLetterCodes) {
    const auto code = [](double value, Unit unit) {
        const auto result = to_letter_code(value, unit);
        return result.ok() ? result.value() : result.error().message;
    };
    EXPECT_EQ(code(4700, Unit::ohm), "4k7");
    EXPECT_EQ(code(0.33, Unit::ohm), "R33");
    EXPECT_EQ(code(59.04, Unit::ohm), "59R04");
    EXPECT_EQ(code(100, Unit::ohm), "100R");
    EXPECT_EQ(code(0, Unit::ohm), "0R");
    EXPECT_EQ(code(2.2e-6, Unit::farad), "2µ2");
    EXPECT_EQ(code(330e-9, Unit::farad), "330n");
    EXPECT_EQ(code(5.1, Unit::volt), "5V1");
    EXPECT_FALSE(to_letter_code(1, Unit::watt).ok());
    EXPECT_FALSE(to_letter_code(-1, Unit::ohm).ok());
    EXPECT_FALSE(to_letter_code(1.234567, Unit::ohm).ok());
    EXPECT_FALSE(to_letter_code(std::nan(""), Unit::ohm).ok());
}

#if __has_include(<rapidcheck.h>)
Unit any_unit() {
    return *rc::gen::element(Unit::none, Unit::ohm, Unit::farad, Unit::henry, Unit::volt, Unit::ampere,
                             Unit::watt, Unit::hertz);
}

TEST(EngineeringNumber, RoundTripProperty) {
    EXPECT_TRUE(rc::check("parse(to_text(x)) is x, bit for bit", [] {
        EngineeringNumber number;
        number.unit = any_unit();
        // Any digits at any size that parts have, and numbers without a short decimal form.
        const double digits = *rc::gen::inRange(0, 1'000'000'000) / 1000.0;
        number.value = digits * std::pow(10.0, *rc::gen::inRange(-14, number.unit == Unit::farad ? -2 : 12));
        if (*rc::gen::arbitrary<bool>()) number.value /= 3;
        if ((number.unit == Unit::volt || number.unit == Unit::ampere) && *rc::gen::arbitrary<bool>())
            number.value *= -1;
        if (*rc::gen::arbitrary<bool>()) {
            const double high = *rc::gen::inRange(0, 100'000) / 100.0 / 100;
            const double low = *rc::gen::arbitrary<bool>() ? std::min(high, 1.0)
                                                           : *rc::gen::inRange(0, 10'000) / 100.0 / 100;
            number.tolerance = Tolerance{-low, high};
        }
        const std::string text = to_text(number);
        const auto again = parse_engineering_number(text);
        if (!again.ok()) RC_FAIL(again.error().message);
        RC_ASSERT(again.value().value == number.value);
        RC_ASSERT(again.value().unit == number.unit);
        RC_ASSERT(again.value().tolerance == number.tolerance);
    }));
}

TEST(EngineeringNumber, LetterCodeRoundTripProperty) {
    EXPECT_TRUE(rc::check("a letter code gives its value back", [] {
        const Unit unit = *rc::gen::element(Unit::ohm, Unit::farad);
        const int significant = *rc::gen::inRange(1, 100'000);
        const int power = unit == Unit::ohm ? *rc::gen::inRange(-2, 8) : *rc::gen::inRange(-13, -7);
        const double value = std::stod(std::to_string(significant) + "e" + std::to_string(power));
        const auto code = to_letter_code(value, unit);
        RC_PRE(code.ok());
        const auto again = parse_engineering_number(code.value(), unit);
        if (!again.ok()) RC_FAIL(again.error().message);
        RC_ASSERT(again.value().value == value);
    }));
}

TEST(EngineeringNumber, AnyTextIsReadOrRefusedInOneLine) {
    EXPECT_TRUE(rc::check("never crashes, never breaks the line", [] {
        const auto text = *rc::gen::container<std::string>(
            rc::gen::elementOf(std::string("0123456789.,kKMGmunpRFHVAWz%+-/ e\xC2\xB5\xB1\xCE\xBC\xA9\n")));
        const auto result = parse_engineering_number(text);
        if (result.ok())
            RC_ASSERT(std::isfinite(result.value().value));
        else
            RC_ASSERT(result.error().message.find('\n') == std::string::npos);
    }));
}
#endif

}  // namespace
}  // namespace eyelet
