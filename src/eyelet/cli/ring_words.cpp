#include "eyelet/cli/ring_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <vector>

#include "eyelet/core/engineering_number.h"
#include "eyelet/exchange/json_text.h"

namespace eyelet::cli {
namespace {

const std::string& name_of(const Assembly& map, JointIndex joint) {
    return map.joint(joint).name.text();
}

std::vector<std::string> words_of(std::string_view line, std::string_view separators) {
    std::vector<std::string> words;
    std::string word;
    for (const char c : line) {
        if (separators.find(c) != std::string_view::npos) {
            if (!word.empty()) words.push_back(std::exchange(word, ""));
        } else {
            word += c;
        }
    }
    if (!word.empty()) words.push_back(word);
    return words;
}

bool is_one_of(std::string_view word, std::initializer_list<std::string_view> known) {
    return std::find(known.begin(), known.end(), word) != known.end();
}

constexpr const char* kTouchHelp =
    "type the ohms (0.2, 4k7), o for open, b for a beep, s to skip, u to undo, q to stop";
constexpr const char* kSweepHelp =
    "type those that answered (J40 J41, or their places 1 3), or with values (J40 0.2, J41 0.3), - for none, "
    "s to skip, "
    "u to undo, q to stop";

// A joint of the sweep by its name, or by its place in the row counted from 1.
std::optional<std::size_t> place_in(const Assembly& map, const std::vector<JointIndex>& along,
                                    const std::string& word) {
    for (std::size_t i = 0; i < along.size(); ++i)
        if (name_of(map, along[i]) == word) return i;
    if (word.size() <= 4 &&
        std::all_of(word.begin(), word.end(), [](char c) { return c >= '0' && c <= '9'; })) {
        const std::size_t place = std::stoul(word);
        if (place >= 1 && place <= along.size()) return place - 1;
    }
    return std::nullopt;
}

Result<RingLine> read_sweep(const Assembly& map, const Gesture& asked, std::string_view line) {
    SweepAnswer answer{std::vector<Said>(asked.along.size(), Said(Open{}))};
    if (is_one_of(line, {"-", "o", "open", "none"})) return RingLine(Answer(answer));
    for (const std::string& item : words_of(line, ",;")) {
        const std::vector<std::string> words = words_of(item, " \t=");
        for (std::size_t i = 0; i < words.size(); ++i) {
            const auto place = place_in(map, asked.along, words[i]);
            if (!place)
                return bad_input(fmt::format("\"{}\" is not one of the row's joints; {}",
                                             for_message(words[i]), kSweepHelp));
            answer.said[*place] = Beep{};
            // A value may follow, unless the word is itself a joint of the row.
            if (i + 1 < words.size() && !place_in(map, asked.along, words[i + 1])) {
                const auto said = said_from_word(words[i + 1]);
                if (!said)
                    return bad_input(fmt::format("\"{}\" is neither a joint of the row nor a value; {}",
                                                 for_message(words[i + 1]), kSweepHelp));
                answer.said[*place] = *said;
                ++i;
            }
        }
    }
    return RingLine(Answer(answer));
}

std::string_view trimmed(std::string_view line) {
    while (!line.empty() && (line.front() == ' ' || line.front() == '\t')) line.remove_prefix(1);
    while (!line.empty() && (line.back() == ' ' || line.back() == '\t')) line.remove_suffix(1);
    return line;
}

}  // namespace

std::optional<Said> said_from_word(const std::string& word) {
    if (is_one_of(word, {"o", "O", "open", "OL", "ol", "inf"})) return Said(Open{});
    if (is_one_of(word, {"b", "B", "beep"})) return Said(Beep{});
    const Result<EngineeringNumber> number = parse_engineering_number(word, Unit::ohm);
    if (number.ok() && !number.value().tolerance) return Said(Ohms{number.value().value});
    return std::nullopt;
}

std::string ring_introduction() {
    return "Before a probe touches the board: disconnect it, let capacitors discharge, check that they did.\n"
           "Zero the meter with its leads together, or tell --lead.\n\n";
}

std::string gesture_in_words(const Assembly& map, const Gesture& gesture, const Gesture* last) {
    std::string out;
    if (!last || last->hold != gesture.hold || last->hold_side != gesture.hold_side)
        out += fmt::format("Hold one probe on {} ({}).\n", name_of(map, gesture.hold),
                           eyelet::name_of(gesture.hold_side));
    else
        out += fmt::format("Stay on {}.\n", name_of(map, gesture.hold));
    if (gesture.kind == Gesture::Kind::touch) {
        out += fmt::format("Touch {} ({}) with the other.\n", name_of(map, gesture.to()),
                           eyelet::name_of(gesture.along_side));
    } else {
        out += fmt::format("Draw the other along {} joints ({}):", gesture.along.size(),
                           eyelet::name_of(gesture.along_side));
        for (std::size_t i = 0; i < gesture.along.size(); ++i)
            out += fmt::format(" {}:{}", i + 1, name_of(map, gesture.along[i]));
        out += "\n";
    }
    if (!gesture.why.empty()) out += "  " + gesture.why + "\n";
    return out;
}

Result<RingLine> read_short_answer(const Assembly& map, const Gesture& asked, std::string_view typed) {
    if (find_non_utf8(typed) != std::string_view::npos) return bad_input("the answer is not UTF-8 text");
    const std::string_view line = trimmed(typed);
    const bool touch = asked.kind == Gesture::Kind::touch;
    if (is_one_of(line, {"u", "undo"})) return RingLine(UndoLine{});
    if (is_one_of(line, {"q", "quit", "stop"})) return RingLine(StopLine{});
    if (line == "s" || line == "skip" || line.starts_with("s ") || line.starts_with("skip ")) {
        const std::size_t space = line.find(' ');
        SkipAnswer skip;
        skip.reason =
            space == std::string_view::npos ? "cannot reach" : std::string(trimmed(line.substr(space)));
        return RingLine(Answer(skip));
    }
    if (line.empty() || line == "?" || line == "help") return bad_input(touch ? kTouchHelp : kSweepHelp);
    if (!touch) return read_sweep(map, asked, line);
    const auto said = said_from_word(std::string(line));
    if (!said) return bad_input(fmt::format("\"{}\" is not an answer; {}", for_message(line), kTouchHelp));
    return RingLine(Answer(TouchAnswer{*said}));
}

std::string end_in_words(const Assembly& map, const RingState& state, RingEnd end) {
    const RingCounts& counts = state.counts;
    std::string out = end == RingEnd::settled ? "\nDone: the map is proven to the stated risk.\n"
                      : end == RingEnd::nothing_left_to_ask
                          ? "\nNothing is left that can be asked.\n"
                          : "\nStopped. All answers are stored; the same command goes on from here.\n";
    out += fmt::format("{} joints in {} nets, {} gestures, about {:.0f} minutes.\n", counts.joints,
                       counts.nets, counts.gestures, counts.seconds / 60);
    out += fmt::format("{} joints proven, {} not. Expected mistakes that remain: {:.3g}.\n",
                       counts.joints_proven, counts.joints_unproven, state.expected_mistakes);
    for (const Contradiction& contradiction : state.contradictions)
        out +=
            fmt::format("Readings that cannot all be true: {} Touch {} and {} to settle it.\n",
                        contradiction.why, name_of(map, contradiction.hold), name_of(map, contradiction.to));
    for (const Unsettled& unsettled : state.unsettled)
        out += fmt::format("Not settled: {} and {}: {}\n", name_of(map, unsettled.from),
                           name_of(map, unsettled.to), unsettled.why);
    return out;
}

}  // namespace eyelet::cli
