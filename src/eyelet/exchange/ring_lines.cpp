#include "eyelet/exchange/ring_lines.h"

#include <cmath>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace eyelet {
namespace {

using Json = nlohmann::ordered_json;

std::string text_of(const Json& json) {
    return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

std::string name_in(const Assembly& assembly, JointIndex joint) { return assembly.joint(joint).name.text(); }

Result<Said> read_ohms(const Json& value, const std::string& where) {
    if (!value.is_number()) return bad_input(fmt::format("{}: ohms must be a number, such as 0.21", where));
    const double ohms = value.get<double>();
    if (!std::isfinite(ohms) || ohms < -1)
        return bad_input(fmt::format("{}: ohms must be a finite number, not below zero", where));
    return Said(Ohms{ohms});
}

// What one joint of a sweep read: a number of ohms, "open" or "beep".
Result<Said> read_said(const Json& value, const std::string& where) {
    if (value == "open") return Said(Open{});
    if (value == "beep") return Said(Beep{});
    if (value.is_number()) return read_ohms(value, where);
    return bad_input(fmt::format("{}: must be a number of ohms, \"open\" or \"beep\"", where));
}

Result<JointIndex> joint_of(const Assembly& assembly, const Gesture& asked, const std::string& name) {
    if (name_in(assembly, asked.hold) == name) return asked.hold;
    for (JointIndex joint : asked.along)
        if (name_in(assembly, joint) == name) return joint;
    return bad_input(fmt::format("joint \"{}\" is not in this gesture", name));
}

}  // namespace

std::string gesture_line(const Assembly& assembly, const Gesture& gesture) {
    Json line;
    const bool sweep = gesture.kind == Gesture::Kind::sweep;
    line["gesture"] = sweep ? "sweep" : "touch";
    line["hold"] = name_in(assembly, gesture.hold);
    if (sweep) {
        line["along"] = Json::array();
        for (JointIndex joint : gesture.along) line["along"].push_back(name_in(assembly, joint));
    } else {
        line["to"] = name_in(assembly, gesture.to());
    }
    line["side"] = key_of(gesture.along_side);
    line["why"] = gesture.why;
    return text_of(line);
}

Result<RingLine> read_ring_line(const Assembly& assembly, const Gesture& asked, std::string_view line) {
    const Json json = Json::parse(line, nullptr, false);
    if (json.is_discarded()) return bad_input("the line is not JSON; one object a line is expected, such as {\"open\":true}");
    if (!json.is_object()) return bad_input("the line must be one JSON object, such as {\"open\":true}");
    const auto is_true = [&](const char* key) { return json.contains(key) && json[key] == true; };
    int answers = 0;
    for (const char* key : {"ohms", "open", "beep", "answers", "beeps", "skip", "undo", "stop"}) {
        if (!json.contains(key)) continue;
        ++answers;
        const std::string name = key;
        if ((name == "open" || name == "beep" || name == "undo" || name == "stop") && json[key] != true)
            return bad_input(fmt::format("\"{}\" must be true", name));
    }
    if (answers == 0)
        return bad_input("no answer in the line: give ohms, open, beep, answers, beeps, skip, undo or stop");
    if (answers > 1) return bad_input("more than one answer in the line: give one of ohms, open, beep, answers, beeps, skip, undo, stop");
    if (is_true("undo")) return RingLine(UndoLine{});
    if (is_true("stop")) return RingLine(StopLine{});
    if (json.contains("skip")) {
        if (!json["skip"].is_string()) return bad_input("\"skip\" must be a reason in words, such as \"cannot reach\"");
        SkipAnswer skip{json["skip"].get<std::string>(), {}};
        if (json.contains("joint")) {
            if (!json["joint"].is_string()) return bad_input("\"joint\" must be the name of a joint of this gesture");
            EYELET_ASSIGN(skip.joint, joint_of(assembly, asked, json["joint"].get<std::string>()));
        }
        return RingLine(Answer(skip));
    }
    if (asked.kind == Gesture::Kind::touch) {
        if (is_true("open")) return RingLine(Answer(TouchAnswer{Open{}}));
        if (is_true("beep")) return RingLine(Answer(TouchAnswer{Beep{}}));
        if (json.contains("ohms")) {
            EYELET_ASSIGN(Said said, read_ohms(json["ohms"], "ohms"));
            return RingLine(Answer(TouchAnswer{said}));
        }
        return bad_input("a touch was asked: answer with ohms, open or beep");
    }
    if (json.contains("beeps")) {
        if (!json["beeps"].is_array()) return bad_input("\"beeps\" must be a list of joints of this sweep");
        SweepAnswer sweep{std::vector<Said>(asked.along.size(), Said(Open{}))};
        for (const Json& item : json["beeps"]) {
            if (!item.is_string()) return bad_input("\"beeps\" must hold names of joints");
            const std::string name = item.get<std::string>();
            bool found = false;
            for (std::size_t i = 0; i < asked.along.size(); ++i)
                if (name_in(assembly, asked.along[i]) == name) sweep.said[i] = Beep{}, found = true;
            if (!found) return bad_input(fmt::format("beeps: joint \"{}\" is not in this sweep", name));
        }
        return RingLine(Answer(sweep));
    }
    if (json.contains("answers")) {
        const Json& given = json["answers"];
        if (!given.is_object()) return bad_input("\"answers\" must be an object from joint to reading");
        SweepAnswer sweep;
        for (JointIndex joint : asked.along) {
            const std::string name = name_in(assembly, joint);
            if (!given.contains(name)) return bad_input(fmt::format("answers: joint \"{}\" of the sweep is missing", name));
            EYELET_ASSIGN(Said said, read_said(given[name], fmt::format("answers: {}", name)));
            sweep.said.push_back(said);
        }
        for (const auto& [name, value] : given.items()) {
            bool found = false;
            for (JointIndex joint : asked.along) found = found || name_in(assembly, joint) == name;
            if (!found) return bad_input(fmt::format("answers: joint \"{}\" is not in this sweep", name));
        }
        return RingLine(Answer(sweep));
    }
    return bad_input("a sweep was asked: answer with answers or beeps");
}

std::string error_line(const Error& error) { return text_of(Json{{"error", error.message}}); }

std::string done_line(const Assembly& assembly, const RingState& state, RingEnd end) {
    Json line;
    line["done"] = true;
    line["ended"] = end == RingEnd::settled              ? "settled"
                    : end == RingEnd::nothing_left_to_ask ? "nothing left to ask"
                                                          : "stopped";
    const RingCounts& counts = state.counts;
    line["joints"] = counts.joints;
    line["nets"] = counts.nets;
    line["gestures"] = counts.gestures;
    line["touches"] = counts.touches;
    line["sweeps"] = counts.sweeps;
    line["readings"] = counts.readings;
    line["seconds"] = std::round(counts.seconds * 10) / 10;
    line["expected_mistakes"] = state.expected_mistakes;
    line["proposals_confirmed"] = state.proposals_confirmed;
    line["settled"] = state.settled;
    line["beep_taken_as_copper"] = state.beep_assumed;
    line["links"] = {{"proposed", counts.links_proposed}, {"proven", counts.links_proven}, {"refuted", counts.links_refuted}};
    line["apart"] = {{"proven", counts.apart_proven}, {"presumed", counts.apart_presumed}};
    line["unproven"] = Json::array();
    for (std::size_t i = 0; i < state.joints.size(); ++i) {
        const JointState& joint = state.joints[i];
        if (assembly.joints[i].kind != JointKind::pad || joint.standing == JointStanding::proven ||
            joint.standing == JointStanding::presumed)
            continue;
        line["unproven"].push_back({{"joint", assembly.joints[i].name.text()}, {"standing", name_of(joint.standing)}, {"why", joint.why}});
    }
    line["unsettled"] = Json::array();
    for (const Unsettled& pair : state.unsettled)
        line["unsettled"].push_back({{"from", name_in(assembly, pair.from)}, {"to", name_in(assembly, pair.to)}, {"why", pair.why}});
    line["contradictions"] = Json::array();
    for (const Contradiction& c : state.contradictions)
        line["contradictions"].push_back({{"hold", name_in(assembly, c.hold)}, {"to", name_in(assembly, c.to)},
                                          {"readings", c.readings.size()}, {"why", c.why}});
    return text_of(line);
}

}  // namespace eyelet
