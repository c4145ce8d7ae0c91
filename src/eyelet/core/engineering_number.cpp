#include "eyelet/core/engineering_number.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <utility>

namespace eyelet {
namespace {

// Beyond these no value at a bench lies, in any unit.
constexpr double kLargest = 1e18;
constexpr double kSmallest = 1e-21;
constexpr std::size_t kLongestText = 120;  // bytes; no marking on a part is near that

// Inside this file signs beyond ASCII are single bytes.
constexpr char kOhmSign = '\x01';
constexpr char kPlusMinus = '\x02';

struct Sign {
    std::string_view utf8;
    char plain;
};
constexpr Sign kSigns[] = {
    {"\xC2\xB5", 'u'},           // U+00B5 micro sign
    {"\xCE\xBC", 'u'},           // U+03BC Greek small mu
    {"\xCE\xA9", kOhmSign},      // U+03A9 Greek capital omega
    {"\xE2\x84\xA6", kOhmSign},  // U+2126 ohm sign
    {"\xC2\xB1", kPlusMinus},    // U+00B1
    {"\xE2\x88\x92", '-'},       // U+2212 minus sign
    {"\xC2\xA0", ' '},           // U+00A0 no-break space
    {"\xE2\x80\xAF", ' '},       // U+202F narrow no-break space
    {"\xE2\x80\x89", ' '},       // U+2009 thin space
};

bool is_digit(char c) {
    return c >= '0' && c <= '9';
}
bool is_letter(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

std::optional<int> exponent_of(char prefix) {
    switch (prefix) {
        case 'p':
            return -12;
        case 'n':
            return -9;
        case 'u':
            return -6;
        case 'm':
            return -3;
        case 'k':
        case 'K':
            return 3;
        case 'M':
            return 6;
        case 'G':
            return 9;
        case 'T':
            return 12;
        default:
            return std::nullopt;
    }
}

// IEC 60062's letters for symmetrical tolerances, as quoted in public tables (second-hand).
std::optional<double> tolerance_of_letter(char letter) {
    switch (letter) {
        case 'B':
            return 0.001;
        case 'C':
            return 0.0025;
        case 'D':
            return 0.005;
        case 'F':
            return 0.01;
        case 'G':
            return 0.02;
        case 'J':
            return 0.05;
        case 'K':
            return 0.10;
        case 'M':
            return 0.20;
        case 'N':
            return 0.30;
        default:
            return std::nullopt;
    }
}
// Below 10 pF the same letters mean picofarads (second-hand, as above).
std::optional<double> tolerance_in_pf_of_letter(char letter) {
    switch (letter) {
        case 'B':
            return 0.1;
        case 'C':
            return 0.25;
        case 'D':
            return 0.5;
        case 'F':
            return 1;
        case 'G':
            return 2;
        default:
            return std::nullopt;
    }
}

struct UnitWord {
    std::string_view word;
    Unit unit;
};
constexpr UnitWord kUnitWords[] = {
    {"ohms", Unit::ohm}, {"ohm", Unit::ohm},     {"Ohms", Unit::ohm},  {"Ohm", Unit::ohm},
    {"OHM", Unit::ohm},  {"R", Unit::ohm},       {"F", Unit::farad},   {"farad", Unit::farad},
    {"H", Unit::henry},  {"henry", Unit::henry}, {"V", Unit::volt},    {"volt", Unit::volt},
    {"A", Unit::ampere}, {"W", Unit::watt},      {"watt", Unit::watt}, {"Hz", Unit::hertz},
};
std::optional<Unit> unit_of_word(std::string_view word) {
    if (word == std::string_view(&kOhmSign, 1)) return Unit::ohm;
    for (const UnitWord& known : kUnitWords)
        if (word == known.word) return known.unit;
    return std::nullopt;
}

// Letters that stand in the decimal point's place and mean the unit itself. R and F are IEC 60062's; V, A and
// H are common practice (5V1, 1A6).
std::optional<Unit> unit_of_point_letter(char letter) {
    switch (letter) {
        case 'R':
        case kOhmSign:
            return Unit::ohm;
        case 'F':
            return Unit::farad;
        case 'H':
            return Unit::henry;
        case 'V':
            return Unit::volt;
        case 'A':
            return Unit::ampere;
        default:
            return std::nullopt;
    }
}

// Digits as written, so that the value is rounded once, from the decimal text.
struct Decimal {
    std::string before;
    std::string after;
    int exponent = 0;

    [[nodiscard]] std::optional<double> value(int power) const {
        const std::string text = fmt::format("{}.{}e{}", before.empty() ? "0" : before,
                                             after.empty() ? "0" : after, exponent + power);
        double out = 0;
        const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), out);
        if (error == std::errc::result_out_of_range || end != text.data() + text.size()) return std::nullopt;
        return out;
    }
};

class Parser {
  public:
    explicit Parser(std::string_view original) : original_(original) {}

    Status prepare() {
        if (original_.size() > kLongestText)
            return wrong(fmt::format("is longer than {} bytes", kLongestText));
        for (std::size_t i = 0; i < original_.size();) {
            const char c = original_[i];
            if (static_cast<unsigned char>(c) < 0x80) {
                if (static_cast<unsigned char>(c) < 0x20 && c != '\t')
                    return wrong("holds a control character");
                text_ += c == '\t' ? ' ' : c;
                ++i;
                continue;
            }
            const auto* known = std::find_if(std::begin(kSigns), std::end(kSigns), [&](const Sign& sign) {
                return original_.substr(i, sign.utf8.size()) == sign.utf8;
            });
            if (known == std::end(kSigns)) return wrong("holds a sign that does not belong into a value");
            text_ += known->plain;
            i += known->utf8.size();
        }
        return {};
    }

    void skip_spaces() {
        while (at_ < text_.size() && text_[at_] == ' ') ++at_;
    }
    [[nodiscard]] bool at_end() const { return at_ >= text_.size(); }

    // One value with its tolerance, from here on.
    Result<EngineeringNumber> value() {
        skip_spaces();
        bool negative = false;
        if (peek() == '+' || peek() == '-') negative = take() == '-';
        Decimal digits;
        digits.before = take_digits();
        EngineeringNumber number;
        int power = 0;
        bool letter_code = false;
        if (peek() == '.' || peek() == ',') {
            take();
            digits.after = take_digits();
            if (digits.before.empty() && digits.after.empty()) return wrong("has no digits");
            EYELET_TRY(multiplier_and_unit(digits, power, number.unit));
        } else if (!digits.before.empty() && !is_point_letter_followed_by_digit()) {
            EYELET_TRY(multiplier_and_unit(digits, power, number.unit));
            // 470R, 47K and 33n are letter codes too, and may carry the letter of a tolerance: 470RJ.
            letter_code = number.unit == Unit::none || number.unit == Unit::ohm || number.unit == Unit::farad;
        } else if (is_point_letter_followed_by_digit()) {
            const char letter = take();
            digits.after = take_digits();
            if (const auto exponent = exponent_of(letter)) {
                power = *exponent;
                EYELET_TRY(unit_after_code(number.unit));
            } else {
                number.unit = *unit_of_point_letter(letter);
                if (number.unit == Unit::ohm && peek() == kOhmSign) take();
            }
            letter_code = true;
        } else {
            return wrong("does not begin with a number");
        }
        const auto magnitude = digits.value(power);
        if (!magnitude || !(*magnitude <= kLargest) || (*magnitude != 0 && *magnitude < kSmallest))
            return wrong("is too large or too small to be a value");
        number.value = negative ? -*magnitude : *magnitude;
        if (negative && number.unit != Unit::volt && number.unit != Unit::ampere)
            return wrong("is negative; only volts and amperes may be");
        if (number.unit == Unit::farad && *magnitude >= 1e5)
            return wrong(fmt::format("would be {:g} farad; a small m is milli, u or µ is micro, MFD is micro",
                                     *magnitude));
        if (letter_code) EYELET_TRY(tolerance_letter(number));
        EYELET_TRY(tolerance(number));
        if (!at_end() && peek() != ' ' && peek() != '/' && peek() != ';')
            return wrong(fmt::format("cannot be read from \"{}\" on", shown(at_)));
        return number;
    }

    void skip_separators() {
        while (!at_end() && (peek() == ' ' || peek() == '/' || peek() == ';')) ++at_;
    }

    [[nodiscard]] Error wrong(const std::string& what) const {
        std::string text;
        for (const char c : original_.substr(0, 40))
            text += static_cast<unsigned char>(c) < 0x20 || c == 0x7F ? '?' : c;
        // Never cut a character in half.
        while (!text.empty() && original_.size() > text.size() &&
               (static_cast<unsigned char>(original_[text.size()]) & 0xC0U) == 0x80U)
            text.pop_back();
        return bad_input(
            fmt::format("value \"{}\" {}; write it like 4k7, 2u2, 0R1, 100n or 220 uF +/-20 %", text, what));
    }
    [[nodiscard]] std::string rest() const { return shown(at_); }

  private:
    [[nodiscard]] char peek(std::size_t ahead = 0) const {
        return at_ + ahead < text_.size() ? text_[at_ + ahead] : '\0';
    }
    char take() { return text_[at_++]; }
    std::string take_digits() {
        const std::size_t start = at_;
        while (is_digit(peek())) ++at_;
        return text_.substr(start, at_ - start);
    }
    [[nodiscard]] bool is_point_letter_followed_by_digit() const {
        return (exponent_of(peek()) || unit_of_point_letter(peek())) && is_digit(peek(1));
    }
    [[nodiscard]] std::string take_word() {
        const std::size_t start = at_;
        while (is_letter(peek())) ++at_;
        if (at_ == start && peek() == kOhmSign) ++at_;
        return text_.substr(start, at_ - start);
    }
    [[nodiscard]] std::string shown(std::size_t from) const {
        std::string out;
        for (const char c : text_.substr(from, 20))
            out += c == kOhmSign ? "Ω" : c == kPlusMinus ? "±" : std::string(1, c);
        return out;
    }

    // After a number without a letter in its middle: [e-7] [space] [multiplier] [unit].
    Status multiplier_and_unit(Decimal& digits, int& power, Unit& unit) {
        if ((peek() == 'e' || peek() == 'E') &&
            (is_digit(peek(1)) || ((peek(1) == '-' || peek(1) == '+') && is_digit(peek(2))))) {
            take();
            const bool down = peek() == '-';
            if (peek() == '-' || peek() == '+') take();
            const std::string exponent = take_digits();
            if (exponent.size() > 3) return wrong("is too large or too small to be a value");
            digits.exponent = (down ? -1 : 1) * std::stoi(exponent);
        }
        const std::size_t before_space = at_;
        skip_spaces();
        const std::size_t word_start = at_;
        const std::string word = take_word();
        if (word.empty()) {
            at_ = before_space;
            return {};
        }
        if (word == "MFD" || word == "mfd" || word == "UFD" || word == "ufd") {
            power = -6;
            unit = Unit::farad;
            return {};
        }
        if (word == "MMFD" || word == "mmfd" || word == "MMF" || word == "PFD") {
            power = -12;
            unit = Unit::farad;
            return {};
        }
        if (const auto plain = unit_of_word(word)) {
            unit = *plain;
            return {};
        }
        if (word.size() == 2 && (word[0] == 'R' || word[0] == 'F') &&
            tolerance_of_letter(word[1])) {  // 470RJ
            unit = word[0] == 'R' ? Unit::ohm : Unit::farad;
            --at_;
            return {};
        }
        const auto exponent = exponent_of(word.front());
        if (!exponent) {
            at_ = word_start;
            return wrong(fmt::format("has an unknown unit \"{}\"", word));
        }
        power = *exponent;
        at_ = word_start + 1;
        skip_spaces_before_unit();
        return unit_after_code(unit);
    }
    // "220 µ F" is read; "100n 35V" must not take the 35.
    void skip_spaces_before_unit() {
        std::size_t i = at_;
        while (i < text_.size() && text_[i] == ' ') ++i;
        if (i < text_.size() && (is_letter(text_[i]) || text_[i] == kOhmSign)) at_ = i;
    }
    // A unit that may follow a multiplier; a letter that is none is left for the tolerance.
    Status unit_after_code(Unit& unit) {
        const std::size_t start = at_;
        const std::string word = take_word();
        if (word.empty()) return {};
        if (const auto known = unit_of_word(word)) {
            unit = *known;
            return {};
        }
        at_ = start;
        if (word.size() == 1 && tolerance_of_letter(word.front())) return {};
        // One letter of unit and one of tolerance: 100nFK.
        if (word.size() == 2 && unit_of_word(word.substr(0, 1)) && tolerance_of_letter(word[1])) {
            unit = *unit_of_word(word.substr(0, 1));
            ++at_;
            return {};
        }
        return wrong(fmt::format("has an unknown unit \"{}\"", word));
    }

    Status tolerance_letter(EngineeringNumber& number) {
        const std::size_t start = at_;
        const std::string word = take_word();
        if (word.size() != 1 || !tolerance_of_letter(word.front())) {
            at_ = start;
            return {};
        }
        double share = *tolerance_of_letter(word.front());
        const auto picofarads = tolerance_in_pf_of_letter(word.front());
        if (number.unit != Unit::ohm && number.value > 0 && number.value < 10e-12 && picofarads)
            share = *picofarads * 1e-12 / number.value;
        return set_tolerance(number, -share, share);
    }

    // ±20 %, +/-20%, +-20%, 20 %, -20/+80 %, -20 +80 %, +80 -20 %, ±0.25pF. Leaves the place alone if there
    // is none.
    Status tolerance(EngineeringNumber& number) {
        const std::size_t start = at_;
        skip_spaces();
        bool both = false;
        if (peek() == kPlusMinus) {
            take();
            both = true;
        } else if (peek() == '+' && peek(1) == '/' && peek(2) == '-') {
            at_ += 3;
            both = true;
        } else if (peek() == '+' && peek(1) == '-') {
            at_ += 2;
            both = true;
        }
        if (both) {
            skip_spaces();
            const auto amount = plain_number();
            if (!amount) return wrong("has no number behind its plus-minus");
            skip_spaces();
            if (peek() == '%') {
                take();
                return set_tolerance(number, -*amount / 100, *amount / 100);
            }
            return absolute_tolerance(number, *amount);
        }
        if (peek() == '+' || peek() == '-') {
            const char first_sign = take();
            const auto first = plain_number();
            skip_spaces();
            if (peek() == '%') take();
            skip_spaces();
            if (peek() == '/') take();
            skip_spaces();
            const char second_sign = peek();
            if (!first || (second_sign != '+' && second_sign != '-') || second_sign == first_sign) {
                return wrong("has half a tolerance; write it like +/-20 % or -20/+80 %");
            }
            take();
            const auto second = plain_number();
            skip_spaces();
            if (!second || peek() != '%') return wrong("has half a tolerance; write it like -20/+80 %");
            take();
            return first_sign == '-' ? set_tolerance(number, -*first / 100, *second / 100)
                                     : set_tolerance(number, -*second / 100, *first / 100);
        }
        const auto amount = plain_number();
        skip_spaces();
        if (amount && peek() == '%') {
            take();
            return set_tolerance(number, -*amount / 100, *amount / 100);
        }
        at_ = start;
        return {};
    }
    Status absolute_tolerance(EngineeringNumber& number, double amount) {
        const auto exponent = exponent_of(peek());
        if (exponent) take();
        Unit unit = Unit::none;
        EYELET_TRY(unit_after_code(unit));
        if (!exponent && unit == Unit::none) return wrong("has a tolerance without % or unit");
        if (unit != Unit::none && number.unit != Unit::none && unit != number.unit)
            return wrong(
                fmt::format("has a tolerance in {} on a value in {}", name_of(unit), name_of(number.unit)));
        if (number.value == 0) return wrong("is zero and cannot have a tolerance");
        const double share = amount * std::pow(10.0, exponent.value_or(0)) / std::abs(number.value);
        return set_tolerance(number, -share, share);
    }
    Status set_tolerance(EngineeringNumber& number, double low, double high) {
        if (number.tolerance) return wrong("has two tolerances");
        if (!(low >= -1) || !(high <= 10)) return wrong("has a tolerance beyond -100 % or +1000 %");
        number.tolerance = Tolerance{low, high};
        return {};
    }
    std::optional<double> plain_number() {
        Decimal digits;
        digits.before = take_digits();
        if (peek() == '.' || peek() == ',') {
            take();
            digits.after = take_digits();
        }
        // Exponents appear only in what to_text printed for odd shares.
        if (peek() == 'e' && peek(1) == '-' && is_digit(peek(2))) {
            at_ += 2;
            const std::string exponent = take_digits();
            if (exponent.size() > 3) return std::nullopt;
            digits.exponent = -std::stoi(exponent);
        }
        if (digits.before.empty() && digits.after.empty()) return std::nullopt;
        return digits.value(0);
    }

    std::string_view original_;
    std::string text_;
    std::size_t at_ = 0;
};

// The shortest digits that give the value back, and the power of ten of the first: 4700 is "47" and 3.
std::pair<std::string, int> shortest_digits(double magnitude) {
    std::array<char, 64> buffer{};
    const auto end =
        std::to_chars(buffer.data(), buffer.data() + buffer.size(), magnitude, std::chars_format::scientific)
            .ptr;
    const std::string text(buffer.data(), end);
    const std::size_t e = text.find('e');
    std::string digits = text.substr(0, e);
    std::erase(digits, '.');
    while (digits.size() > 1 && digits.back() == '0') digits.pop_back();
    return {digits, std::stoi(text.substr(e + 1))};
}

// Digits with the point behind the first `places` of them.
std::string with_point(const std::string& digits, int places, std::string_view point) {
    const int count = static_cast<int>(digits.size());
    if (places <= 0)
        return fmt::format("{}{}{}{}", "0", point, std::string(static_cast<std::size_t>(-places), '0'),
                           digits);
    if (places >= count) return digits + std::string(static_cast<std::size_t>(places - count), '0');
    return fmt::format("{}{}{}", digits.substr(0, static_cast<std::size_t>(places)), point,
                       digits.substr(static_cast<std::size_t>(places)));
}

int engineering_power(int first_digit_power) {
    const int power = first_digit_power >= 0 ? first_digit_power / 3 * 3 : -((2 - first_digit_power) / 3 * 3);
    return std::clamp(power, -12, 12);
}

const char* prefix_of(int power) {
    switch (power) {
        case -12:
            return "p";
        case -9:
            return "n";
        case -6:
            return "µ";
        case -3:
            return "m";
        case 3:
            return "k";
        case 6:
            return "M";
        case 9:
            return "G";
        case 12:
            return "T";
        default:
            return "";
    }
}

// A share as percent whose text gives the same double back after "divide by 100".
std::string percent_text(double share) {
    const double percent = share * 100;
    for (const double candidate : {percent, std::nextafter(percent, 0.0), std::nextafter(percent, 1e9)})
        for (int digits = 1; digits <= 17; ++digits) {
            const std::string text = fmt::format("{:.{}g}", candidate, digits);
            if (text.find("e+") == std::string::npos && std::stod(text) / 100 == share) return text;
        }
    return fmt::format("{}", percent);
}

}  // namespace

const char* symbol_of(Unit unit) {
    switch (unit) {
        case Unit::none:
            return "";
        case Unit::ohm:
            return "Ω";
        case Unit::farad:
            return "F";
        case Unit::henry:
            return "H";
        case Unit::volt:
            return "V";
        case Unit::ampere:
            return "A";
        case Unit::watt:
            return "W";
        case Unit::hertz:
            return "Hz";
    }
    return "";
}

const char* name_of(Unit unit) {
    switch (unit) {
        case Unit::none:
            return "number";
        case Unit::ohm:
            return "ohm";
        case Unit::farad:
            return "farad";
        case Unit::henry:
            return "henry";
        case Unit::volt:
            return "volt";
        case Unit::ampere:
            return "ampere";
        case Unit::watt:
            return "watt";
        case Unit::hertz:
            return "hertz";
    }
    return "";
}

Result<EngineeringNumber> parse_engineering_number(std::string_view text, Unit assumed) {
    Parser parser(text);
    EYELET_TRY(parser.prepare());
    parser.skip_spaces();
    if (parser.at_end()) return parser.wrong("is empty");
    EYELET_ASSIGN(EngineeringNumber number, parser.value());
    parser.skip_spaces();
    if (!parser.at_end())
        return parser.wrong(fmt::format("goes on with \"{}\", which does not belong to it", parser.rest()));
    if (number.unit == Unit::none)
        number.unit = assumed;
    else if (assumed != Unit::none && number.unit != assumed)
        return parser.wrong(
            fmt::format("is in {}, where {} is needed", name_of(number.unit), name_of(assumed)));
    return number;
}

Result<std::vector<EngineeringNumber>> parse_engineering_numbers(std::string_view text) {
    Parser parser(text);
    EYELET_TRY(parser.prepare());
    parser.skip_spaces();
    if (parser.at_end()) return parser.wrong("is empty");
    std::vector<EngineeringNumber> numbers;
    while (!parser.at_end()) {
        EYELET_ASSIGN(const EngineeringNumber number, parser.value());
        numbers.push_back(number);
        parser.skip_separators();
    }
    return numbers;
}

std::string to_text(const EngineeringNumber& number) {
    std::string out;
    if (number.value == 0) {
        out = fmt::format("0{}{}", number.unit == Unit::none ? "" : " ", symbol_of(number.unit));
    } else {
        const auto [digits, first] = shortest_digits(std::abs(number.value));
        const int power = engineering_power(first);
        const std::string prefix = prefix_of(power);
        const bool bare = prefix.empty() && number.unit == Unit::none;
        out =
            fmt::format("{}{}{}{}{}", number.value < 0 ? "-" : "", with_point(digits, first - power + 1, "."),
                        bare ? "" : " ", prefix, symbol_of(number.unit));
    }
    if (number.tolerance) {
        const auto [low, high] = *number.tolerance;
        out += -low == high ? fmt::format(" ±{} %", percent_text(high))
                            : fmt::format(" -{}/+{} %", percent_text(-low), percent_text(high));
    }
    return out;
}

Result<std::string> to_letter_code(double value, Unit unit) {
    const char* own = unit == Unit::ohm      ? "R"
                      : unit == Unit::farad  ? "F"
                      : unit == Unit::henry  ? "H"
                      : unit == Unit::volt   ? "V"
                      : unit == Unit::ampere ? "A"
                                             : nullptr;
    if (!own)
        return bad_input(fmt::format(
            "a value in {} has no letter code; IEC 60062 has them for ohms and farads", name_of(unit)));
    if (!(value >= 0) || !std::isfinite(value))
        return bad_input("a letter code needs a finite value of 0 or more");
    if (value == 0) return std::string("0") + own;
    const auto [digits, first] = shortest_digits(value);
    // Tenths of an ohm are written R33; farads use the next smaller multiplier (33n, not µ033).
    int power = unit == Unit::ohm ? std::max(0, engineering_power(first)) : engineering_power(first);
    power = std::clamp(power, -12, 12);
    const int places = first - power + 1;
    const std::string letter = power == 0 ? own : prefix_of(power);
    if (digits.size() > 5 || places < 0 || places > 5)
        return bad_input(
            fmt::format("{:g} {} does not fit a letter code of five digits", value, name_of(unit)));
    if (places >= static_cast<int>(digits.size())) return with_point(digits, places, "") + letter;
    if (places == 0) return letter + digits;
    return with_point(digits, places, letter);
}

}  // namespace eyelet
