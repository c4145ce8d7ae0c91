#include "eyelet/server/json_shapes.h"

#include <fmt/format.h>
#include <openssl/sha.h>

#include <algorithm>
#include <unordered_map>

#include "eyelet/exchange/ring_lines.h"

namespace eyelet::shapes {
namespace {

const char* key_of_sides(JointSides sides) {
    switch (sides) {
        case JointSides::component: return "top";
        case JointSides::solder: return "bottom";
        case JointSides::both: return "both";
    }
    return "both";
}

const char* key_of_shape(PadShape shape) {
    switch (shape) {
        case PadShape::circle: return "circle";
        case PadShape::oval: return "oval";
        case PadShape::rectangle: return "rectangle";
        case PadShape::rounded_rectangle: return "rounded rectangle";
        case PadShape::trapezoid: return "trapezoid";
        case PadShape::custom: return "custom";
    }
    return "custom";
}

Json size(Size s) { return Json::array({s.width, s.height}); }

template <class T>
Json or_null(const std::optional<T>& value) {
    return value ? Json(*value) : Json(nullptr);
}

const std::string& name_of_joint(const Assembly& map, JointIndex index) { return map.joint(index).name.text(); }

std::string join(const std::vector<std::string>& words, const char* between) {
    std::string text;
    for (const std::string& word : words) {
        if (!text.empty()) text += between;
        text += word;
    }
    return text;
}

std::string place_in_words(const Place& place) {
    std::vector<std::string> words;
    for (const PartName& part : place.parts) words.push_back(part.text());
    for (const JointName& joint : place.joints) words.push_back(joint.text());
    if (place.side) words.emplace_back(name_of(*place.side));
    if (!place.board.empty()) words.push_back(place.board.text());
    return join(words, ", ");
}

std::string what_where_text(const std::string& what, const Place& place, const std::string& text) {
    std::string words = what;
    if (const std::string where = place_in_words(place); !where.empty()) words += ": " + where;
    if (!text.empty()) words += (words.empty() ? "" : ". ") + text;
    return words;
}

}  // namespace

Json point(Point p) { return Json::array({p.x, p.y}); }

Json problem(int status, const std::string& title, const std::string& detail) {
    return {{"type", "about:blank"}, {"title", title}, {"status", status}, {"detail", detail}};
}

Json job_summary(const Job& job, const Assembly& map, std::size_t readings) {
    const auto pads = std::count_if(map.joints.begin(), map.joints.end(), [](const Joint& j) { return j.can_be_touched(); });
    return {{"job", job.name.text()},   {"assembly", job.assembly},   {"unit", job.unit.text()},
            {"complaint", job.complaint}, {"condition", job.condition}, {"created", job.opened_at},
            {"joints", pads},           {"readings", readings}};
}

Json job(const JobFacts& facts) {
    std::string fit_version;
    for (const StoredAlignment& fit : facts.alignments) {
        fit_version += fit.photograph.text() + fit.made_at + (fit.out_of_date ? "!" : "") + ' ';
    }
    Json boards = Json::array();
    for (std::size_t i = 0; i < facts.map.boards.size(); ++i) {
        const Board& board = facts.map.boards[i];
        Json photographs = Json::array();
        for (const Photograph& photograph : facts.photographs) {
            if (photograph.withdrawn || photograph.board != board.name) continue;
            const auto fit = std::find_if(facts.alignments.begin(), facts.alignments.end(),
                                          [&](const StoredAlignment& a) { return a.photograph == photograph.name; });
            const bool aligned = fit != facts.alignments.end();
            photographs.push_back({{"photograph", photograph.name.text()},
                                   {"side", key_of(photograph.side)},
                                   {"width", photograph.width_px},
                                   {"height", photograph.height_px},
                                   {"file_name", photograph.file_name},
                                   {"aligned", aligned},
                                   {"version", aligned ? fit->made_at : photograph.sha256.substr(0, 12)}});
        }
        Json outline = Json::array();
        for (const Point p : board.outline) outline.push_back(point(p));
        boards.push_back({{"index", i},
                          {"name", board.name.text()},
                          {"size_mm", size(board.size_mm)},
                          {"outline", outline},
                          {"photographs", photographs}});
    }
    const std::string proposals_version =
        facts.proposals ? facts.proposals->made_at + (facts.proposals->out_of_date ? "!" : "") : "";
    return {{"job", facts.job.name.text()},
            {"assembly", facts.job.assembly},
            {"unit", facts.job.unit.text()},
            {"complaint", facts.job.complaint},
            {"condition", facts.job.condition},
            {"created", facts.job.opened_at},
            {"boards", boards},
            {"steps", {{"aligned", !facts.alignments.empty()}, {"followed", facts.proposals.has_value()}, {"readings", facts.readings}}},
            {"versions", {{"map", facts.job.map_version}, {"alignment", fit_version}, {"proposals", proposals_version}}}};
}

Json map(const Assembly& map) {
    Json joints = Json::array();
    for (const Joint& joint : map.joints) {
        joints.push_back({{"name", joint.name.text()},
                          {"board", joint.board.raw()},
                          {"kind", joint.kind == JointKind::via ? "via" : "pad"},
                          {"x", joint.copper_centre.x},
                          {"y", joint.copper_centre.y},
                          {"hole", point(joint.hole)},
                          {"side", key_of_sides(joint.sides)},
                          {"plated", joint.plated},
                          {"shape", key_of_shape(joint.shape)},
                          {"size", size(joint.pad_mm)},
                          {"rotation", joint.rotation_deg},
                          {"drill", joint.drill_mm ? size(*joint.drill_mm) : Json(nullptr)},
                          {"part", joint.part.valid() ? Json(map.part(joint.part).name.text()) : Json(nullptr)},
                          {"pin", joint.pin}});
    }
    Json parts = Json::array();
    for (const Part& part : map.parts) {
        parts.push_back({{"name", part.name.text()},
                         {"board", part.board.raw()},
                         {"value", part.value},
                         {"kind", part.kind},
                         {"side", key_of(part.side)},
                         {"body", Json::array({part.body.low.x, part.body.low.y, part.body.high.x, part.body.high.y})}});
    }
    return {{"joints", joints}, {"parts", parts}};
}

Json pyramid(const TilePyramid& tiles) {
    Json shape{{"width", tiles.pyramid.width_px},
               {"height", tiles.pyramid.height_px},
               {"tile_size", tiles.pyramid.tile_px},
               {"levels", tiles.pyramid.levels}};
    if (tiles.px_per_mm > 0) {
        shape["px_per_mm"] = tiles.px_per_mm;
        shape["origin_mm"] = point({-tiles.margin_mm, -tiles.margin_mm});
    }
    return shape;
}

Json alignment(const Assembly& map, const std::vector<Photograph>& photographs,
               const std::vector<StoredAlignment>& alignments, const std::vector<std::string>& remarks) {
    Json fits = Json::array();
    for (const StoredAlignment& fit : alignments) {
        const auto photograph = std::find_if(photographs.begin(), photographs.end(),
                                             [&](const Photograph& p) { return p.name == fit.photograph; });
        if (photograph == photographs.end() || photograph->withdrawn) continue;
        const BoardIndex board = map.find_board(photograph->board);
        Json ties = Json::array();
        for (const StoredAlignment::Misfit& misfit : fit.tie_points) {
            const auto tie = std::find_if(photograph->tie_points.begin(), photograph->tie_points.end(),
                                          [&](const StoredTiePoint& t) { return t.joint == misfit.joint; });
            if (tie == photograph->tie_points.end()) continue;  // set anew since; the fit is out of date
            ties.push_back({{"joint", misfit.joint.text()},
                            {"pixel", point(tie->pixel)},
                            {"used", !misfit.left_out},
                            {"misfit_mm", misfit.misfit_mm},
                            {"at_mm", point(fit.camera.to_board(tie->pixel))}});
        }
        Json shape{{"photograph", photograph->name.text()},
                   {"board", board.valid() ? board.raw() : 0U},
                   {"side", key_of(photograph->side)},
                   {"rms_mm", or_null(fit.rms_mm)},
                   {"worst_mm", or_null(fit.worst_mm)},
                   {"limit_mm", fit.limit_mm},
                   {"refined", fit.refined},
                   {"joints_sought", fit.joints_sought},
                   {"joints_located", fit.joints_located},
                   {"located_rms_mm", or_null(fit.located_rms_mm)},
                   {"located_worst_mm", or_null(fit.located_worst_mm)},
                   {"out_of_date", fit.out_of_date},
                   {"remarks", fit.remarks},
                   {"tie_points", ties}};
        if (board.valid()) {
            const Size board_mm = map.board(board).size_mm;
            shape["px_per_mm"] = fit.camera.px_per_mm({board_mm.width / 2, board_mm.height / 2});
        }
        fits.push_back(std::move(shape));
    }
    return {{"photographs", fits}, {"remarks", remarks}};
}

Json follow_summary(const Assembly& map, const StoredProposals& proposals, const std::vector<ToneSettled>& settled) {
    Json tones = Json::array();
    for (const StoredProposals::Tone& tone : proposals.tones) {
        const BoardIndex board = map.find_board(tone.board);
        const bool by_person = std::any_of(settled.begin(), settled.end(), [&](const ToneSettled& s) {
            return s.board == tone.board && s.side == tone.side;
        });
        tones.push_back({{"board", board.valid() ? board.raw() : 0U},
                         {"side", key_of(tone.side)},
                         {"tone", name_of(tone.tone)},
                         {"sure", tone.sure},
                         {"settled", by_person}});
    }
    const std::vector<Link>& links = proposals.proposals.links;
    const auto at_least = [&](double probability) {
        return std::count_if(links.begin(), links.end(), [&](const Link& l) { return l.probability >= probability; });
    };
    return {{"links", links.size()},
            {"links_likely", at_least(0.5)},
            {"links_sure", at_least(0.9)},
            {"tones", tones},
            {"remarks", proposals.remarks}};
}

Json links(const Assembly& map, const std::vector<Link>& links) {
    Json list = Json::array();
    for (const Link& link : links) {
        Json path = Json::array();
        for (const Point p : link.path) path.push_back(point(p));
        list.push_back({{"from", name_of_joint(map, link.from)},
                        {"to", name_of_joint(map, link.to)},
                        {"side", link.side ? Json(key_of(*link.side)) : Json(nullptr)},
                        {"probability", link.probability},
                        {"standing", name_of(link.standing)},
                        {"width_mm", link.width_mm},
                        {"hidden", link.hidden},
                        {"path", path},
                        {"why", link.why}});
    }
    return {{"links", list}};
}

Json nets(const Assembly& map, const std::vector<Net>& nets) {
    Json list = Json::array();
    for (const Net& net : nets) {
        Json joints = Json::array();
        for (const JointIndex joint : net.joints) joints.push_back(name_of_joint(map, joint));
        list.push_back({{"name", net.name}, {"standing", name_of(net.standing)}, {"joints", joints}});
    }
    return {{"nets", list}};
}

std::string question_id(const Assembly& map, const Gesture& gesture, std::size_t gestures, std::size_t readings) {
    const std::string text = fmt::format("{}\n{} {}", gesture_line(map, gesture), gestures, readings);
    unsigned char digest[SHA256_DIGEST_LENGTH];
    SHA256(reinterpret_cast<const unsigned char*>(text.data()), text.size(), digest);
    return fmt::format("{:02x}{:02x}{:02x}{:02x}{:02x}{:02x}", digest[0], digest[1], digest[2], digest[3], digest[4], digest[5]);
}

Json question(const Assembly& map, const Gesture& gesture, const std::string& id) {
    Json shape{{"question", id},
               {"hold", name_of_joint(map, gesture.hold)},
               {"side", key_of(gesture.along_side)},
               {"hold_side", key_of(gesture.hold_side)},
               {"why", gesture.why}};
    if (gesture.kind == Gesture::Kind::touch) {
        shape["gesture"] = "touch";
        shape["to"] = name_of_joint(map, gesture.to());
    } else {
        shape["gesture"] = "sweep";
        Json along = Json::array();
        for (const JointIndex joint : gesture.along) along.push_back(name_of_joint(map, joint));
        shape["along"] = along;
    }
    return shape;
}

std::vector<std::string> unproven_in_words(const Assembly& map, const RingState& state) {
    std::vector<std::string> words;
    for (std::size_t i = 0; i < map.joints.size() && i < state.joints.size(); ++i) {
        const JointState& joint = state.joints[i];
        if (!map.joints[i].can_be_touched()) continue;
        if (joint.standing != JointStanding::unreachable && joint.standing != JointStanding::proposed) continue;
        words.push_back(fmt::format("{}: {}{}", map.joints[i].name.text(), name_of(joint.standing),
                                    joint.why.empty() ? "" : ", " + joint.why));
    }
    for (const Unsettled& pair : state.unsettled) {
        words.push_back(fmt::format("{} to {}: {}", name_of_joint(map, pair.from), name_of_joint(map, pair.to), pair.why));
    }
    return words;
}

Json ring_state(const RingFacts& facts) {
    const RingState& state = facts.state;
    Json contradictions = Json::array();
    for (std::size_t i = 0; i < state.contradictions.size(); ++i) {
        const Contradiction& contradiction = state.contradictions[i];
        Json entries = Json::array();
        if (i < facts.contradiction_entries.size()) {
            for (const EntryName& entry : facts.contradiction_entries[i]) entries.push_back(entry.text());
        }
        Json shape{{"entries", entries}, {"why", contradiction.why}, {"settle", nullptr}};
        if (contradiction.hold.valid() && contradiction.to.valid()) {
            shape["settle"] = {{"hold", name_of_joint(facts.map, contradiction.hold)}, {"to", name_of_joint(facts.map, contradiction.to)}};
        }
        contradictions.push_back(std::move(shape));
    }
    Json asked = nullptr;
    if (facts.asked) {
        asked = question(facts.map, *facts.asked, question_id(facts.map, *facts.asked, state.counts.gestures, state.counts.readings));
    }
    return {{"question", asked},
            {"progress",
             {{"joints", state.counts.joints},
              {"nets", state.counts.nets},
              {"gestures", state.counts.gestures},
              {"seconds", state.counts.seconds},
              {"expected_mistakes", state.expected_mistakes},
              {"risk", facts.risk},
              {"proposals_confirmed", state.proposals_confirmed},
              {"settled", state.settled},
              {"joints_proven", state.counts.joints_proven},
              {"beep_assumed", state.beep_assumed},
              {"unproven", unproven_in_words(facts.map, state)}}},
            {"contradictions", contradictions},
            {"remarks", facts.remarks}};
}

std::string entry_in_words(const Entry& entry) {
    struct Say {
        std::string operator()(const ReadingEntry& r) const {
            struct Value {
                std::string operator()(const NotMeasured& n) const {
                    return n.why.empty() ? "not measured" : "not measured, " + n.why;
                }
                std::string operator()(const Open&) const { return "open"; }
                std::string operator()(const Beep&) const { return "beep"; }
                std::string operator()(const Ohms& o) const { return fmt::format("{:.3g} Ω", o.value); }
            };
            std::string words = fmt::format("{} to {}: {}", r.from.text(), r.to.text(), std::visit(Value{}, r.said));
            if (const auto* ohms = std::get_if<Ohms>(&r.said)) {
                if (r.copper_below_ohm && ohms->value <= *r.copper_below_ohm) words += ", copper";
                else if (r.open_above_ohm && ohms->value >= *r.open_above_ohm) words += ", open";
                else if (r.copper_below_ohm) words += ", no proof";
            }
            if (r.gesture == GestureKind::sweep) words += " (sweep)";
            if (!r.instrument.empty()) words += ", " + r.instrument;
            return words;
        }
        std::string operator()(const FindingEntry& f) const { return what_where_text(f.what, f.place, f.text); }
        std::string operator()(const WorkEntry& w) const { return what_where_text(w.what, w.place, w.text); }
        std::string operator()(const NoteEntry& n) const { return n.text; }
        std::string operator()(const PhotographEntry& p) const { return "photograph " + p.photograph.text(); }
        std::string operator()(const TrialEntry& t) const {
            std::string words = fmt::format("{:g} min, the fault came {}", t.minutes,
                                            t.recurrences == 0   ? std::string("not once")
                                            : t.recurrences == 1 ? std::string("once")
                                                                 : fmt::format("{} times", t.recurrences));
            if (!t.condition.empty()) words = t.condition + ": " + words;
            if (!t.text.empty()) words += ". " + t.text;
            return words;
        }
    };
    return std::visit(Say{}, entry.body);
}

Json entry(const Entry& entry) {
    Json shape{{"entry", entry.name.text()}, {"kind", name_of(kind_of(entry.body))}, {"time", entry.at},
               {"who", entry.who.person},    {"device", entry.who.device},           {"text", entry_in_words(entry)},
               {"withdrawn", entry.withdrawn}};
    if (entry.withdrawn) shape["withdrawn_why"] = entry.withdrawn_why;
    if (const auto* reading = std::get_if<ReadingEntry>(&entry.body)) {
        shape["from"] = reading->from.text();
        shape["to"] = reading->to.text();
        Json joined = nullptr;
        if (std::holds_alternative<Open>(reading->said)) joined = false;
        if (std::holds_alternative<Beep>(reading->said)) joined = true;
        if (const auto* ohms = std::get_if<Ohms>(&reading->said)) {
            if (reading->copper_below_ohm && ohms->value <= *reading->copper_below_ohm) joined = true;
            if (reading->open_above_ohm && ohms->value >= *reading->open_above_ohm) joined = false;
        }
        shape["joined"] = joined;
    }
    return shape;
}

Json journal(const std::vector<Entry>& entries, const std::vector<Edit>& edits) {
    Json list = Json::array();
    for (const Entry& one : entries) list.push_back(entry(one));
    Json undo = nullptr;
    for (auto edit = edits.rbegin(); edit != edits.rend(); ++edit) {
        if (edit->undone) continue;
        undo = edit->what;
        break;
    }
    // An undone edit can come back only where nothing was done after it.
    Json redo = nullptr;
    for (auto edit = edits.rbegin(); edit != edits.rend() && edit->undone; ++edit) redo = edit->what;
    return {{"entries", list}, {"undo", undo}, {"redo", redo}};
}

}  // namespace eyelet::shapes
