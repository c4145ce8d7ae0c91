#include "eyelet/parts/marking.h"

#include <algorithm>
#include <array>
#include <cctype>
#include <cmath>
#include <map>

#include <fmt/format.h>

#include "eyelet/parts/preferred_numbers.h"

namespace eyelet {

namespace {

using Tolerance = std::pair<double, double>;
using Kind = ComponentKind;

// --- Tables -----------------------------------------------------------------------------------------

// IEC 60062 tolerance letters, symmetric ones in per cent.
std::optional<Tolerance> tolerance_letter(char letter) {
    static const std::map<char, Tolerance> table{
        {'E', {-0.005, 0.005}}, {'L', {-0.01, 0.01}}, {'P', {-0.02, 0.02}}, {'W', {-0.05, 0.05}}, {'B', {-0.1, 0.1}},
        {'C', {-0.25, 0.25}},   {'D', {-0.5, 0.5}},   {'F', {-1, 1}},       {'G', {-2, 2}},       {'J', {-5, 5}},
        {'K', {-10, 10}},       {'M', {-20, 20}},     {'N', {-30, 30}},     {'Q', {-10, 30}},     {'T', {-10, 50}},
        {'S', {-20, 50}},       {'Z', {-20, 80}}};
    const auto found = table.find(letter);
    if (found == table.end()) return std::nullopt;
    return Tolerance{found->second.first / 100, found->second.second / 100};
}

// Below 10 pF the same letters are picofarads.
std::optional<double> picofarad_letter(char letter) {
    switch (letter) {
        case 'B': return 0.1;
        case 'C': return 0.25;
        case 'D': return 0.5;
        case 'F': return 1.0;
        case 'G': return 2.0;
        default: return std::nullopt;
    }
}

std::optional<double> voltage_letter(char letter) {
    switch (letter) {
        case 'e': return 2.5;
        case 'G': return 4.0;
        case 'J': return 6.3;
        case 'A': return 10.0;
        case 'C': return 16.0;
        case 'D': return 20.0;
        case 'E': return 25.0;
        case 'V': return 35.0;
        case 'H': return 50.0;
        default: return std::nullopt;
    }
}

std::optional<double> voltage_code(std::string_view code) {
    static const std::map<std::string_view, double> table{
        {"0E", 2.5}, {"0G", 4},   {"0J", 6.3}, {"1A", 10},  {"1C", 16},  {"1D", 20},  {"1E", 25},  {"1V", 35},
        {"1H", 50},  {"1J", 63},  {"1K", 80},  {"2A", 100}, {"2C", 160}, {"2D", 200}, {"2E", 250}, {"2V", 350},
        {"2G", 400}, {"2W", 450}, {"2H", 500}, {"2J", 630}, {"3A", 1000}};
    const auto found = table.find(code);
    if (found == table.end()) return std::nullopt;
    return found->second;
}

constexpr const char* kLetterWarning =
    "Tables circulate that give this letter a higher voltage. If the part's family is not known, take the lower one or measure the rail.";

struct Band {
    const char* name;
    int digit;           // -1: none
    double multiplier;   // 0: none
    double tolerance;    // per cent, 0: none
    double ppm;          // 0: none
};
constexpr Band kBands[] = {
    {"black", 0, 1, 0, 250},        {"brown", 1, 10, 1, 100},   {"red", 2, 100, 2, 50},      {"orange", 3, 1e3, 0.05, 15},
    {"yellow", 4, 1e4, 0.02, 25},   {"green", 5, 1e5, 0.5, 20}, {"blue", 6, 1e6, 0.25, 10},  {"violet", 7, 1e7, 0.1, 5},
    {"purple", 7, 1e7, 0.1, 5},     {"grey", 8, 1e8, 0.01, 1},  {"gray", 8, 1e8, 0.01, 1},   {"white", 9, 1e9, 0, 0},
    {"gold", -1, 0.1, 5, 0},        {"silver", -1, 0.01, 10, 0}, {"pink", -1, 1e-3, 0, 0},   {"none", -1, 0, 20, 0}};

const Band* band_of(const std::string& word) {
    for (const Band& band : kBands)
        if (word == band.name) return &band;
    return nullptr;
}

// --- A reading in the making ------------------------------------------------------------------------

struct Candidate {
    MarkingReading reading;
    double weight = 1;
};

double belief_in(Kind kind, double value, int wanted_series) {
    // Values outside what is made are possible but unlikely.
    const auto within = [&](double low, double high) { return value >= low && value <= high ? 1.0 : 0.05; };
    double belief = kind == Kind::resistor ? within(1e-4, 1e8) : kind == Kind::capacitor ? within(2e-13, 1.0) : within(5e-10, 1.0);
    const int series = preferred_series(value);
    if (value > 0) belief *= series == 0 ? 0.08 : series <= wanted_series ? 1.0 : 0.3;
    return belief;
}

std::string scaled(double value, const char* unit) {
    static constexpr std::pair<double, const char*> kPrefixes[] = {{1e9, "G"},  {1e6, "M"},  {1e3, "k"},  {1, ""},
                                                                   {1e-3, "m"}, {1e-6, "µ"}, {1e-9, "n"}, {1e-12, "p"}};
    for (const auto& [scale, prefix] : kPrefixes)
        if (std::abs(value) >= scale * (1 - 1e-9)) return fmt::format("{:.4g} {}{}", value / scale, prefix, unit);
    return fmt::format("{:.4g} {}", value, unit);
}

const char* symbol_of(Kind kind) { return kind == Kind::resistor ? "Ω" : unit_of(kind); }

Candidate make(Kind kind, double value, double weight, std::string why) {
    Candidate candidate;
    candidate.reading.kind = kind;
    candidate.reading.value = value;
    candidate.reading.why = std::move(why);
    candidate.weight = weight;
    return candidate;
}

bool all_digits(std::string_view text) {
    return !text.empty() && std::all_of(text.begin(), text.end(), [](unsigned char c) { return std::isdigit(c); });
}

// Digits with at most one point; nothing else.
std::optional<double> plain_number(std::string_view text) {
    if (text.empty() || text == "." || std::count(text.begin(), text.end(), '.') > 1) return std::nullopt;
    for (unsigned char c : text)
        if (!std::isdigit(c) && c != '.') return std::nullopt;
    try {
        return std::stod(std::string(text));
    } catch (const std::exception&) {
        return std::nullopt;
    }
}

// 473 = 47 x 10^3. A last digit 8 or 9 is x 0.01 or x 0.1 on capacitors.
std::optional<double> digit_code(std::string_view digits, Kind kind) {
    if (digits.size() < 3 || digits.size() > 4 || !all_digits(digits)) return std::nullopt;
    const double mantissa = std::stod(std::string(digits.substr(0, digits.size() - 1)));
    const int power = digits.back() - '0';
    if (kind == Kind::capacitor && power >= 8) return mantissa * (power == 8 ? 0.01 : 0.1);
    if (power == 9 && kind == Kind::resistor) return mantissa * 0.1;
    if (power >= 8) return std::nullopt;
    return mantissa * std::pow(10, power);
}

void set_tolerance(MarkingReading& reading, char letter) {
    if (reading.kind == Kind::capacitor && reading.value < 9.99e-12)
        if (const auto picofarads = picofarad_letter(letter)) {
            reading.tolerance = Tolerance{-*picofarads * 1e-12 / reading.value, *picofarads * 1e-12 / reading.value};
            return;
        }
    reading.tolerance = tolerance_letter(letter);
}

// --- Forms of one token -----------------------------------------------------------------------------

struct Context {
    bool volts_told = false;   // another token says volts: then this is a capacitor, most likely
    bool celsius_told = false;
};

class TokenReader {
  public:
    TokenReader(std::string token, Context context) : token_(std::move(token)), context_(context) {}

    std::vector<Candidate> read() {
        link();
        with_unit();
        letter_code();
        digits_only();
        eia96();
        letter_and_digits();
        two_character_voltage();
        value_tolerance_volts();
        value_and_volts();
        return std::move(found_);
    }

  private:
    void add(Candidate candidate, int wanted_series = 24) {
        candidate.weight *= belief_in(candidate.reading.kind, candidate.reading.value, wanted_series);
        found_.push_back(std::move(candidate));
    }

    void link() {
        if (token_ == "0" || token_ == "00" || token_ == "000" || token_ == "0000" || token_ == "0R0" || token_ == "0R")
            found_.push_back(make(Kind::resistor, 0, 2, "zero is a link (jumper) in a resistor's case"));
    }

    // 4.7k, 220uF, 100 nH, 0.1MFD, 10kOhm: a number, a prefix and perhaps a unit, said in full.
    void with_unit() {
        std::size_t end = 0;
        while (end < token_.size() && (std::isdigit(static_cast<unsigned char>(token_[end])) || token_[end] == '.')) ++end;
        const auto number = plain_number(std::string_view(token_).substr(0, end));
        if (!number || end == token_.size()) return;
        const std::string rest = token_.substr(end);
        static const std::map<std::string, std::pair<Kind, double>> units{
            {"F", {Kind::capacitor, 1}},     {"mF", {Kind::capacitor, 1e-3}},  {"uF", {Kind::capacitor, 1e-6}},  {"UF", {Kind::capacitor, 1e-6}},
            {"nF", {Kind::capacitor, 1e-9}}, {"NF", {Kind::capacitor, 1e-9}},  {"pF", {Kind::capacitor, 1e-12}}, {"PF", {Kind::capacitor, 1e-12}},
            {"MFD", {Kind::capacitor, 1e-6}}, {"mfd", {Kind::capacitor, 1e-6}}, {"MF", {Kind::capacitor, 1e-6}},
            {"MMF", {Kind::capacitor, 1e-12}}, {"mmfd", {Kind::capacitor, 1e-12}}, {"MMFD", {Kind::capacitor, 1e-12}},
            {"H", {Kind::inductor, 1}},      {"mH", {Kind::inductor, 1e-3}},   {"uH", {Kind::inductor, 1e-6}},   {"nH", {Kind::inductor, 1e-9}},
            {"ohm", {Kind::resistor, 1}},    {"ohms", {Kind::resistor, 1}},    {"Ohm", {Kind::resistor, 1}},     {"OHM", {Kind::resistor, 1}},
            {"mohm", {Kind::resistor, 1e-3}}, {"kohm", {Kind::resistor, 1e3}}, {"kOhm", {Kind::resistor, 1e3}},  {"Mohm", {Kind::resistor, 1e6}},
            {"MOhm", {Kind::resistor, 1e6}}};
        if (const auto unit = units.find(rest); unit != units.end()) {
            const double value = *number * unit->second.second;
            Candidate candidate = make(unit->second.first, value, 8, "value and unit are written out");
            if (rest == "MF" || rest == "MFD" || rest == "mfd") candidate.reading.why = "MF and MFD on old parts mean microfarads";
            add(std::move(candidate), 192);
        }
    }

    // 4k7, R47, 470R, 1M5, n47, 4u7, 4N7, with a tolerance letter perhaps.
    void letter_code() {
        const std::size_t at = token_.find_first_not_of("0123456789.");
        if (at == std::string::npos) return;
        const char letter = token_[at];
        const std::string before = token_.substr(0, at);
        std::size_t end = at + 1;
        while (end < token_.size() && std::isdigit(static_cast<unsigned char>(token_[end]))) ++end;
        const std::string after = token_.substr(at + 1, end - at - 1);
        std::string suffix = token_.substr(end);
        if (before.empty() && after.empty()) return;
        if (before.find('.') != std::string::npos && !after.empty()) return;  // 4.7k5 is nothing
        if (suffix.size() > 1 || (!suffix.empty() && !tolerance_letter(suffix[0]))) return;
        const auto number = plain_number((before.empty() ? "0" : before) + (after.empty() ? "" : "." + after));
        if (!number) return;
        struct Meaning {
            char letter;
            Kind kind;
            double scale;
            double weight;
            const char* why;
        };
        static constexpr Meaning kMeanings[] = {
            {'R', Kind::resistor, 1, 4, "R stands for the decimal point of ohms (IEC 60062)"},
            {'k', Kind::resistor, 1e3, 4, "k stands for the decimal point of kilohms (IEC 60062)"},
            {'K', Kind::resistor, 1e3, 4, "K stands for the decimal point of kilohms (IEC 60062)"},
            {'M', Kind::resistor, 1e6, 4, "M stands for the decimal point of megohms (IEC 60062)"},
            {'G', Kind::resistor, 1e9, 1, "G stands for the decimal point of gigohms (IEC 60062)"},
            {'L', Kind::resistor, 1e-3, 1, "L stands for the decimal point of milliohms on shunts"},
            {'m', Kind::resistor, 1e-3, 1, "m stands for the decimal point of milliohms on shunts"},
            {'p', Kind::capacitor, 1e-12, 4, "p stands for the decimal point of picofarads (IEC 60062)"},
            {'P', Kind::capacitor, 1e-12, 2, "P stands for the decimal point of picofarads (IEC 60062)"},
            {'n', Kind::capacitor, 1e-9, 4, "n stands for the decimal point of nanofarads (IEC 60062)"},
            {'N', Kind::capacitor, 1e-9, 1, "N stands for the decimal point of nanofarads (IEC 60062)"},
            {'u', Kind::capacitor, 1e-6, 4, "µ stands for the decimal point of microfarads (IEC 60062)"},
            {'U', Kind::capacitor, 1e-6, 2, "µ stands for the decimal point of microfarads (IEC 60062)"},
            {'m', Kind::capacitor, 1e-3, 0.5, "m stands for the decimal point of millifarads (IEC 60062)"},
            {'R', Kind::capacitor, 1e-12, 0.5, "R stands for the decimal point of picofarads on ceramic chips"},
            {'R', Kind::capacitor, 1e-6, 0.4, "R stands for the decimal point of microfarads on some electrolytic and film parts"},
            {'R', Kind::inductor, 1e-6, 1, "R stands for the decimal point of microhenries"},
            {'N', Kind::inductor, 1e-9, 1, "N stands for the decimal point of nanohenries"},
            {'n', Kind::inductor, 1e-9, 0.5, "n stands for the decimal point of nanohenries"},
            {'u', Kind::inductor, 1e-6, 0.6, "µ stands for the decimal point of microhenries"},
            {'m', Kind::inductor, 1e-3, 0.4, "m stands for the decimal point of millihenries"}};
        for (const Meaning& meaning : kMeanings) {
            if (meaning.letter != letter) continue;
            double weight = meaning.weight;
            if (context_.volts_told && meaning.kind != Kind::capacitor) weight *= 0.05;
            Candidate candidate = make(meaning.kind, *number * meaning.scale, weight, meaning.why);
            if (!suffix.empty()) {
                set_tolerance(candidate.reading, suffix[0]);
                candidate.reading.why += fmt::format("; {} is the tolerance", suffix);
            }
            add(std::move(candidate), after.empty() ? 24 : after.size() + before.size() >= 3 ? 192 : 96);
        }
    }

    void digits_only() {
        if (all_digits(token_) && (token_.size() == 3 || token_.size() == 4)) {
            const bool three = token_.size() == 3;
            for (Kind kind : {Kind::resistor, Kind::capacitor, Kind::inductor}) {
                const auto code = digit_code(token_, kind);
                if (!code || *code == 0) continue;
                if (!three && kind != Kind::resistor) continue;
                const double scale = kind == Kind::resistor ? 1 : kind == Kind::capacitor ? 1e-12 : 1e-6;
                double weight = kind == Kind::resistor ? 2 : kind == Kind::capacitor ? 2 : 0.4;
                if (context_.volts_told) weight *= kind == Kind::capacitor ? 1 : 0.05;
                add(make(kind, *code * scale, weight,
                         fmt::format("{} is {} followed by {} zeros, in {}", token_, token_.substr(0, token_.size() - 1), token_.back(),
                                     kind == Kind::resistor ? "ohms" : kind == Kind::capacitor ? "picofarads" : "microhenries")),
                    three ? 24 : 192);
            }
        }
        if (const auto number = plain_number(token_); number && *number > 0) {
            const bool point = token_.find('.') != std::string::npos;
            // Electrolytic cans say plain microfarads, and nearly always the voltage with it.
            add(make(Kind::capacitor, *number * 1e-6, context_.volts_told ? 3 : point ? 2 : 0.4, "a plain number on a can or film part is microfarads"));
            if (!point && *number < 1000) add(make(Kind::capacitor, *number * 1e-12, token_.size() <= 2 ? 1 : 0.2, "a plain number on a small ceramic part is picofarads"));
            if (!context_.volts_told) add(make(Kind::resistor, *number, token_.size() <= 2 || point ? 1 : 0.3, "a plain number is ohms"));
        }
    }

    void eia96() {
        if (token_.size() != 3 || !all_digits(std::string_view(token_).substr(0, 2))) return;
        static const std::map<char, double> multipliers{{'Z', 1e-3}, {'Y', 1e-2}, {'R', 1e-2}, {'X', 0.1}, {'S', 0.1}, {'A', 1},
                                                        {'B', 10},   {'H', 10},   {'C', 100},  {'D', 1e3}, {'E', 1e4}, {'F', 1e5}};
        const auto multiplier = multipliers.find(token_[2]);
        const int code = std::stoi(token_.substr(0, 2));
        if (multiplier == multipliers.end() || code < 1 || code > 96) return;
        const int mantissa = preferred_mantissas(96)[static_cast<std::size_t>(code - 1)];
        Candidate candidate = make(Kind::resistor, mantissa * multiplier->second, context_.volts_told ? 0.1 : 3,
                                   fmt::format("EIA-96: code {} is {}, letter {} multiplies by {:g}", token_.substr(0, 2), mantissa, token_[2], multiplier->second));
        candidate.reading.tolerance = Tolerance{-0.01, 0.01};
        add(std::move(candidate), 96);
    }

    // 104K, 473J, 107J, A475, J107: three digits with one letter before or behind.
    void letter_and_digits() {
        if (token_.size() != 4 && token_.size() != 3) return;
        const bool letter_first = std::isalpha(static_cast<unsigned char>(token_.front()));
        const char letter = letter_first ? token_.front() : token_.back();
        const std::string digits = letter_first ? token_.substr(1) : token_.substr(0, token_.size() - 1);
        if (!std::isalpha(static_cast<unsigned char>(letter)) || !all_digits(digits)) return;
        if (digits.size() == 2) {  // 47J: plain picofarads with a tolerance
            if (!letter_first && tolerance_letter(letter)) {
                Candidate candidate = make(Kind::capacitor, std::stod(digits) * 1e-12, 0.8, fmt::format("plain picofarads; {} is the tolerance", letter));
                set_tolerance(candidate.reading, letter);
                add(std::move(candidate));
            }
            return;
        }
        for (Kind kind : {Kind::capacitor, Kind::resistor, Kind::inductor}) {
            const auto code = digit_code(digits, kind);
            if (!code || *code == 0) continue;
            const double scale = kind == Kind::resistor ? 1 : kind == Kind::capacitor ? 1e-12 : 1e-6;
            if (!letter_first && tolerance_letter(letter)) {
                double weight = kind == Kind::capacitor ? 3 : 1;
                if (letter == 'A' || letter == 'V' || letter == 'H') weight = 0;
                if (kind == Kind::capacitor && *code > 2e6) weight *= 0.25;  // film and ceramic end near 2 uF
                if (kind == Kind::capacitor && *code >= 10 && (letter == 'B' || letter == 'C' || letter == 'D' || letter == 'E')) weight *= 0.1;
                if (context_.volts_told && kind != Kind::capacitor) weight *= 0.05;
                Candidate candidate = make(kind, *code * scale, weight, fmt::format("{} is the digit code in {}, {} the tolerance", digits,
                                           kind == Kind::resistor ? "ohms" : kind == Kind::capacitor ? "picofarads" : "microhenries", letter));
                set_tolerance(candidate.reading, letter);
                if (weight > 0) add(std::move(candidate));
            }
            if (kind == Kind::capacitor)
                if (const auto volts = voltage_letter(letter)) {
                    Candidate candidate = make(kind, *code * scale, letter_first ? 4 : 2, fmt::format("{} is the digit code in picofarads, {} stands for {:g} V", digits, letter, *volts));
                    if (*code < 1e5) candidate.weight *= 0.1;  // chips and cans with a voltage letter start near 0.1 uF
                    candidate.reading.volts = volts;
                    candidate.reading.warnings.push_back(kLetterWarning);
                    add(std::move(candidate));
                }
        }
    }

    // 2A333J, 1H104, 104K1H: the two-character voltage before or behind a digit code.
    void two_character_voltage() {
        for (bool first : {true, false}) {
            if (token_.size() < 5 || token_.size() > 6) return;
            const std::string code = first ? token_.substr(0, 2) : token_.substr(token_.size() - 2);
            const std::string rest = first ? token_.substr(2) : token_.substr(0, token_.size() - 2);
            const auto volts = voltage_code(code);
            const auto value = digit_code(rest.substr(0, 3), Kind::capacitor);
            if (!volts || !value || *value == 0 || rest.size() > 4) continue;
            if (rest.size() == 4 && !tolerance_letter(rest[3])) continue;
            Candidate candidate = make(Kind::capacitor, *value * 1e-12, 6, fmt::format("{} stands for {:g} V, {} is the digit code in picofarads", code, *volts, rest.substr(0, 3)));
            candidate.reading.volts = volts;
            if (rest.size() == 4) {
                set_tolerance(candidate.reading, rest[3]);
                candidate.reading.why += fmt::format(", {} the tolerance", rest[3]);
            }
            add(std::move(candidate));
        }
    }

    // 104K50, .047K100, 0.1J250: value, tolerance letter, volts.
    void value_tolerance_volts() {
        const std::size_t at = token_.find_first_not_of("0123456789.");
        if (at == std::string::npos || at == 0 || at + 2 >= token_.size()) return;
        const char letter = token_[at];
        const std::string before = token_.substr(0, at), after = token_.substr(at + 1);
        if (!(letter == 'J' || letter == 'K' || letter == 'M' || letter == 'G' || letter == 'F') || !all_digits(after)) return;
        const double volts = std::stod(after);
        static constexpr double kUsual[] = {16, 25, 35, 50, 63, 100, 160, 200, 250, 275, 310, 400, 500, 600, 630, 1000, 1250, 1600, 2000};
        if (std::find(std::begin(kUsual), std::end(kUsual), volts) == std::end(kUsual)) return;
        const auto add_with = [&](double farads, const char* how) {
            Candidate candidate = make(Kind::capacitor, farads, 5, fmt::format("{} {}, {} the tolerance, {} volts", before, how, letter, after));
            set_tolerance(candidate.reading, letter);
            candidate.reading.volts = volts;
            add(std::move(candidate));
        };
        if (const auto code = before.size() == 3 ? digit_code(before, Kind::capacitor) : std::nullopt; code && *code > 0)
            add_with(*code * 1e-12, "is the digit code in picofarads");
        if (const auto number = plain_number(before); number && before.find('.') != std::string::npos && *number > 0)
            add_with(*number * 1e-6, "is microfarads");
    }

    // 10u16, 220uF35V, 47/25, 22n400: value and volts glued together.
    void value_and_volts() {
        std::size_t at = token_.find_first_not_of("0123456789.");
        if (at == std::string::npos || at == 0) return;
        const auto number = plain_number(token_.substr(0, at));
        if (!number || *number <= 0) return;
        double scale = 0;
        switch (token_[at]) {
            case 'u': scale = 1e-6; break;
            case 'n': scale = 1e-9; break;
            case 'p': scale = 1e-12; break;
            case '/': scale = 1e-6; break;
            default: return;
        }
        ++at;
        if (at < token_.size() && (token_[at] == 'F' || token_[at] == 'f')) ++at;
        std::string rest = token_.substr(at);
        const bool said_volts = !rest.empty() && (rest.back() == 'V' || rest.back() == 'v');
        if (said_volts) rest.pop_back();
        const auto volts = plain_number(rest);
        static constexpr double kRated[] = {2.5, 4, 6.3, 10, 16, 20, 25, 35, 40, 50, 63, 80, 100, 160, 200, 250, 275, 310, 350, 385, 400, 450, 500, 630, 1000};
        if (!volts || (!said_volts && std::find(std::begin(kRated), std::end(kRated), *volts) == std::end(kRated))) return;
        Candidate candidate = make(Kind::capacitor, *number * scale, said_volts ? 8 : 3, "value and volts in one");
        candidate.reading.volts = volts;
        add(std::move(candidate));
    }

    std::string token_;
    Context context_;
    std::vector<Candidate> found_;
};

// --- Colour bands -----------------------------------------------------------------------------------

std::optional<Candidate> read_bands(const std::vector<const Band*>& bands, Kind kind, double weight) {
    const std::size_t n = bands.size();
    const std::size_t digits = n >= 5 ? 3 : 2;
    double mantissa = 0;
    for (std::size_t i = 0; i < digits; ++i) {
        if (bands[i]->digit < 0) return std::nullopt;
        mantissa = 10 * mantissa + bands[i]->digit;
    }
    const Band& multiplier = *bands[digits];
    if (multiplier.multiplier == 0) return std::nullopt;
    const double scale = kind == Kind::resistor ? 1 : kind == Kind::capacitor ? 1e-12 : 1e-6;
    Candidate candidate = make(kind, mantissa * multiplier.multiplier * scale, weight,
                               fmt::format("{} digits, then a multiplier of {:g}, in {} (IEC 60062)", digits, multiplier.multiplier,
                                           kind == Kind::resistor ? "ohms" : kind == Kind::capacitor ? "picofarads" : "microhenries"));
    if (n == 3) {
        candidate.reading.tolerance = Tolerance{-0.2, 0.2};
    } else {
        const Band& tolerance = *bands[digits + 1];
        if (tolerance.tolerance == 0) return std::nullopt;
        candidate.reading.tolerance = Tolerance{-tolerance.tolerance / 100, tolerance.tolerance / 100};
        if (tolerance.digit == 8)
            candidate.reading.warnings.push_back("Grey is 0.01 % since IEC 60062:2016; older tables give 0.05 %.");
    }
    if (n == 6) {
        if (bands[5]->ppm == 0) return std::nullopt;
        candidate.reading.ppm_per_kelvin = bands[5]->ppm;
    }
    candidate.weight *= belief_in(kind, candidate.reading.value, n >= 5 ? 192 : 24);
    return candidate;
}

Result<std::vector<Candidate>> read_colours(const std::vector<const Band*>& bands, std::optional<Kind> wanted) {
    if (bands.size() < 3 || bands.size() > 6)
        return bad_input(fmt::format("marking: {} colour bands; a colour code has three to six", bands.size()));
    std::vector<Candidate> found;
    std::vector<const Band*> reversed(bands.rbegin(), bands.rend());
    for (Kind kind : {Kind::resistor, Kind::inductor, Kind::capacitor}) {
        if (kind == Kind::capacitor && wanted != Kind::capacitor) continue;  // long out of use: only if asked
        const double weight = kind == Kind::resistor ? 1 : 0.15;
        if (auto candidate = read_bands(bands, kind, weight)) found.push_back(*candidate);
        if (auto candidate = read_bands(reversed, kind, 0.12 * weight)) {
            candidate->reading.why += ", read from the other end";
            found.push_back(*candidate);
        }
    }
    return found;
}

// --- The text around the value ----------------------------------------------------------------------

std::string normalised(std::string_view text) {
    std::string out;
    for (std::size_t i = 0; i < text.size(); ++i) {
        const std::string_view rest = text.substr(i);
        const auto replace = [&](std::string_view from, std::string_view to) {
            if (!rest.starts_with(from)) return false;
            out += to;
            i += from.size() - 1;
            return true;
        };
        if (replace("µ", "u") || replace("μ", "u") || replace("Ω", "ohm") || replace("Ω", "ohm") || replace("°", "deg") ||
            replace("℃", "degC") || replace("±", "+-") || replace("+/-", "+-"))
            continue;
        const char c = rest[0];
        out += c == ',' && i + 1 < text.size() && std::isdigit(static_cast<unsigned char>(text[i + 1])) && i > 0 &&
                       std::isdigit(static_cast<unsigned char>(text[i - 1]))
                   ? '.'  // a decimal comma
                   : std::isspace(static_cast<unsigned char>(c)) || c == ',' || c == ';' || c == '(' || c == ')' ? ' '
                                                                                                                   : c;
    }
    return out;
}

std::string lower(std::string text) {
    for (char& c : text) c = static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    return text;
}

std::vector<std::string> split(const std::string& text) {
    std::vector<std::string> words;
    std::string word;
    for (char c : text + " ") {
        if (c != ' ') {
            word += c;
        } else if (!word.empty()) {
            words.push_back(word);
            word.clear();
        }
    }
    return words;
}

struct Surroundings {
    std::optional<double> volts, celsius;
    std::optional<Tolerance> tolerance;
    bool non_polar = false;
    std::vector<std::string> dates;
    std::vector<std::string> rest;  // what may be the value
    std::vector<std::string> warnings;
};

std::optional<double> number_before(const std::string& word, std::initializer_list<const char*> endings) {
    for (const char* ending : endings) {
        const std::string_view end(ending);
        if (word.size() > end.size() && std::string_view(word).substr(word.size() - end.size()) == end)
            if (const auto number = plain_number(std::string_view(word).substr(0, word.size() - end.size()))) return number;
    }
    return std::nullopt;
}

void read_dates(const std::string& word, Surroundings& around) {
    if (word.size() == 4 && all_digits(word)) {
        const int year = std::stoi(word.substr(0, 2)), week = std::stoi(word.substr(2));
        if (week >= 1 && week <= 53) around.dates.push_back(fmt::format("week {} of {}", week, year >= 60 ? 1900 + year : 2000 + year));
    }
    // Twenty-year letter and month (IEC 60062): A = 1990 and 2010.
    static constexpr std::string_view kYears = "ABCDEFHJKLMNPRSTUVWX";
    static constexpr std::string_view kMonths = "123456789OND";
    if (word.size() == 2) {
        const std::size_t year = kYears.find(word[0]), month = kMonths.find(word[1]);
        if (year != std::string_view::npos && month != std::string_view::npos)
            for (std::size_t base : {1990U, 2010U}) around.dates.push_back(fmt::format("month {} of {}", month + 1, base + year));
    }
}

Surroundings look_around(const std::vector<std::string>& words) {
    Surroundings around;
    std::vector<std::string> undecided;
    for (std::size_t i = 0; i < words.size(); ++i) {
        std::string word = words[i];
        // "220 uF", "10 k": a number and its unit apart.
        if (i + 1 < words.size() && plain_number(word)) {
            static constexpr std::string_view kUnits[] = {"uF", "nF", "pF", "mF", "F", "MFD", "mfd", "MF", "uH", "mH", "nH", "H", "ohm", "ohms", "Ohm", "kohm", "Mohm", "k", "K", "M", "R", "V", "v", "%"};
            const std::string& next = words[i + 1];
            if (std::find(std::begin(kUnits), std::end(kUnits), next) != std::end(kUnits)) {
                word += next;
                ++i;
            }
        }
        const std::string small = lower(word);
        if (const auto volts = number_before(small, {"vdc", "vac", "wv", "v~", "v-", "v"}); volts && *volts > 0 && words.size() > 1) {
            around.volts = volts;
            if (small.find("ac") != std::string::npos || small.back() == '~')
                around.warnings.push_back("The voltage is AC: on a mains part (X or Y) only a part of the same class may replace it.");
        } else if (const auto celsius = number_before(small, {"degc", "deg"})) {
            around.celsius = celsius;
        } else if (small == "np" || small == "bp" || small == "n.p." || small == "b.p." || small == "non-polar" || small == "bipolar" || small == "nonpolar") {
            around.non_polar = true;
        } else if (small.size() > 1 && small.back() == '%') {
            std::string digits = small.substr(0, small.size() - 1);
            if (digits.starts_with("+-")) digits = digits.substr(2);
            if (const auto percent = plain_number(digits)) around.tolerance = Tolerance{-*percent / 100, *percent / 100};
            else undecided.push_back(word);
        } else if (const auto code = voltage_code(word); code && words.size() > 1) {
            around.volts = code;
        } else {
            undecided.push_back(word);
        }
    }
    // 105C beside a value is a temperature; alone it is a value.
    for (const std::string& word : undecided) {
        const auto celsius = number_before(word, {"C"});
        if (undecided.size() > 1 && celsius && (*celsius == 85 || *celsius == 105 || *celsius == 125 || *celsius == 130 || *celsius == 135 || *celsius == 150))
            around.celsius = celsius;
        else if (undecided.size() > 1 && word.size() == 1 && tolerance_letter(word[0]))
            around.tolerance = tolerance_letter(word[0]);
        else
            around.rest.push_back(word);
    }
    return around;
}

}  // namespace

const char* name_of(ComponentKind kind) {
    switch (kind) {
        case Kind::resistor: return "resistor";
        case Kind::capacitor: return "capacitor";
        case Kind::inductor: return "inductor";
    }
    return "";
}

const char* unit_of(ComponentKind kind) { return kind == Kind::resistor ? "ohm" : kind == Kind::capacitor ? "F" : "H"; }

std::optional<ComponentKind> component_kind_from_name(std::string_view name) {
    for (Kind kind : {Kind::resistor, Kind::capacitor, Kind::inductor})
        if (name == name_of(kind)) return kind;
    return std::nullopt;
}

Result<std::vector<MarkingReading>> read_marking(std::string_view text, std::optional<ComponentKind> kind) {
    if (text.size() > 200) return bad_input("marking: longer than 200 characters; give the text of one part");
    const std::vector<std::string> words = split(normalised(text));
    if (words.empty()) return bad_input("marking: it is empty; give the text as it stands on the part");

    std::vector<Candidate> candidates;
    Surroundings around;
    std::vector<const Band*> bands;
    for (const std::string& word : words)
        for (const std::string& piece : split([&] {
                 std::string spaced = lower(word);
                 std::replace(spaced.begin(), spaced.end(), '-', ' ');
                 return spaced;
             }()))
            if (const Band* band = band_of(piece)) bands.push_back(band);
            else if (!bands.empty()) return bad_input(fmt::format("marking: '{}' is not a colour of the code (black brown red orange yellow green blue violet grey white gold silver pink)", piece));
    if (!bands.empty()) {
        EYELET_ASSIGN(candidates, read_colours(bands, kind));
    } else {
        around = look_around(words);
        for (std::size_t i = 0; i < around.rest.size(); ++i) {
            Context context{around.volts.has_value(), around.celsius.has_value()};
            std::vector<Candidate> read = TokenReader(around.rest[i], context).read();
            // The word that is read as the value; the others may be dates or a maker's name.
            for (Candidate& candidate : read) {
                for (std::size_t j = 0; j < around.rest.size(); ++j)
                    if (j != i) {
                        Surroundings dates;
                        read_dates(around.rest[j], dates);
                        candidate.reading.dates.insert(candidate.reading.dates.end(), dates.dates.begin(), dates.dates.end());
                    }
                if (i > 0) candidate.weight *= 0.6;  // values stand before what follows them
                candidates.push_back(std::move(candidate));
            }
        }
    }

    std::vector<MarkingReading> readings;
    for (Candidate& candidate : candidates) {
        MarkingReading& reading = candidate.reading;
        if (kind && reading.kind != *kind) continue;
        if (around.volts) {
            if (reading.volts && std::abs(*reading.volts - *around.volts) > 1e-9) continue;
            if (!reading.volts) reading.volts = around.volts;
            if (reading.kind != Kind::capacitor) candidate.weight *= 0.1;
        }
        if (around.celsius) {
            reading.highest_celsius = around.celsius;
            if (reading.kind != Kind::capacitor) candidate.weight *= 0.2;
        }
        if (around.non_polar) {
            if (reading.kind != Kind::capacitor) continue;
            reading.non_polar = true;
        }
        if (around.tolerance && !reading.tolerance) reading.tolerance = around.tolerance;
        reading.warnings.insert(reading.warnings.end(), around.warnings.begin(), around.warnings.end());
        reading.share = candidate.weight;
        const auto same = std::find_if(readings.begin(), readings.end(), [&](const MarkingReading& other) {
            return other.kind == reading.kind && std::abs(other.value - reading.value) <= 1e-9 * std::abs(reading.value) &&
                   other.tolerance == reading.tolerance && other.volts == reading.volts;
        });
        if (same == readings.end()) {
            readings.push_back(std::move(reading));
        } else {
            if (reading.share > same->share) same->why = reading.why;
            same->share += reading.share;
        }
    }
    if (readings.empty())
        return bad_input(fmt::format("marking '{}': nothing fits{}; looked for letter codes (4k7, R47), digit codes (473, 104K), EIA-96 (68X), "
                                     "voltage letters (A475, 2A333J), plain values (220uF 35V) and colour bands",
                                     text, kind ? fmt::format(" a {}", name_of(*kind)) : std::string()));
    double sum = 0;
    for (const MarkingReading& reading : readings) sum += reading.share;
    for (MarkingReading& reading : readings) {
        reading.share /= sum;
        reading.why = fmt::format("{}: {}", scaled(reading.value, symbol_of(reading.kind)), reading.why);
    }
    std::stable_sort(readings.begin(), readings.end(), [](const MarkingReading& a, const MarkingReading& b) { return a.share > b.share; });
    return readings;
}

}  // namespace eyelet
