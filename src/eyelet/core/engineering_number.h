// Values as people at a bench write them: 4k7, 2u2, 0R1, 100n, 4.7kΩ, 220 µF ±20 %, 10uF 35V.
//
// What is read (spaces, a decimal comma, both micro signs U+00B5 and U+03BC, and u are all fine):
//   a number, then a multiplier (p n µ m k K M G T) and a unit (Ω ohm R F H V A W Hz), either may be missing;
//   the letter code of IEC 60062, where the multiplier stands in the decimal point's place: 4k7, R33, 59R04,
//   3n3; a tolerance: ±20 %, +/-5%, 10 %, -20/+80 %, ±0.25pF, or IEC 60062's letter behind a letter code:
//   4K7J; old markings: MFD is µF and MMFD pF (common practice on parts of the 1960s and before).
// A capital M is mega and a small m is milli, as in IEC 60062; a value that no part has because of it (10 MF)
// is refused. Nothing is guessed: what cannot be read is refused with one line that says why.
//
// Property: parse(to_text(x)) gives x back, bit for bit, for every x that parse() gives (0, or 1e-21 to
// 1e18).
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "eyelet/core/result.h"

namespace eyelet {

enum class Unit { none, ohm, farad, henry, volt, ampere, watt, hertz };
[[nodiscard]] const char* symbol_of(Unit unit);  // "Ω"; empty for none
[[nodiscard]] const char* name_of(Unit unit);    // "ohm"; "number" for none

// Shares of the value: ±20 % is {-0.2, 0.2}, -20/+80 % is {-0.2, 0.8}.
struct Tolerance {
    double low = 0;
    double high = 0;
    friend bool operator==(const Tolerance&, const Tolerance&) = default;
};

struct EngineeringNumber {
    double value = 0;  // in the unit itself: ohm, farad ...
    Unit unit = Unit::none;
    std::optional<Tolerance> tolerance;
    friend bool operator==(const EngineeringNumber&, const EngineeringNumber&) = default;
};

// One value. Where the text names no unit, `assumed` is taken; where it names another one than `assumed`,
// that is refused (unless `assumed` is none).
[[nodiscard]] Result<EngineeringNumber> parse_engineering_number(std::string_view text,
                                                                 Unit assumed = Unit::none);

// Several values in one text, as printed on parts and in lists: "10uF 35V", "4k7 5% 0.25W". Never empty.
[[nodiscard]] Result<std::vector<EngineeringNumber>> parse_engineering_numbers(std::string_view text);

// "220 µF ±20 %", "4.7 kΩ", "100 n": the shortest digits that give the same value back.
[[nodiscard]] std::string to_text(const EngineeringNumber& number);

// Letter code of IEC 60062: 4700 ohm is "4k7", 0.33 ohm "R33", 2.2e-6 farad "2µ2", 100 ohm "100R". Volts,
// amperes and henries likewise with V, A, H (common practice). Values that need more than five digits are
// refused, as are units for which there is no letter.
[[nodiscard]] Result<std::string> to_letter_code(double value, Unit unit);

}  // namespace eyelet
