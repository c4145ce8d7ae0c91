#include "eyelet/cli/text.h"

#include <fmt/format.h>

#include <type_traits>
#include <variant>

namespace eyelet::cli {
namespace {

using Json = nlohmann::ordered_json;

template <class... Cases>
struct Overload : Cases... {
    using Cases::operator()...;
};
template <class... Cases>
Overload(Cases...) -> Overload<Cases...>;

Json said_json(const StoredSaid& said) {
    return std::visit(Overload{[](const NotMeasured& none) {
                                   return Json{{"not_measured", none.why}};
                               },
                               [](const Ohms& ohms) {
                                   return Json{{"ohms", ohms.value}};
                               },
                               [](const Open&) {
                                   return Json{{"open", true}};
                               },
                               [](const Beep&) {
                                   return Json{{"beep", true}};
                               }},
                      said);
}

template <class NameType>
Json names_json(const std::vector<NameType>& names) {
    Json out = Json::array();
    for (const NameType& name : names) out.push_back(name.text());
    return out;
}

Json place_json(const Place& place) {
    Json out = Json::object();
    if (!place.board.empty()) out["board"] = place.board.text();
    if (place.side) out["side"] = key_of(*place.side);
    if (place.point_mm) out["point_mm"] = {place.point_mm->x, place.point_mm->y};
    if (!place.joints.empty()) out["joints"] = names_json(place.joints);
    if (!place.parts.empty()) out["parts"] = names_json(place.parts);
    return out;
}

Json number_or_null(const std::optional<double>& value) {
    return value ? Json(*value) : Json();
}

Json body_json(const EntryBody& body) {
    return std::visit(
        Overload{[](const ReadingEntry& reading) {
                     Json out;
                     out["from"] = reading.from.text();
                     out["to"] = reading.to.text();
                     out["said"] = said_json(reading.said);
                     out["gesture"] = reading.gesture == GestureKind::sweep ? "sweep" : "touch";
                     out["instrument"] = reading.instrument;
                     out["lead_ohm"] = number_or_null(reading.lead_ohm);
                     out["copper_below_ohm"] = number_or_null(reading.copper_below_ohm);
                     out["open_above_ohm"] = number_or_null(reading.open_above_ohm);
                     out["board_state"] = reading.board_state;
                     return out;
                 },
                 [](const FindingEntry& finding) {
                     return Json{{"what", finding.what},
                                 {"place", place_json(finding.place)},
                                 {"text", finding.text}};
                 },
                 [](const WorkEntry& work) {
                     return Json{{"what", work.what}, {"place", place_json(work.place)}, {"text", work.text}};
                 },
                 [](const NoteEntry& note) {
                     return Json{{"text", note.text}};
                 },
                 [](const PhotographEntry& photograph) {
                     return Json{{"photograph", photograph.photograph.text()}};
                 },
                 [](const TrialEntry& trial) {
                     return Json{{"condition", trial.condition},
                                 {"minutes", trial.minutes},
                                 {"recurrences", trial.recurrences},
                                 {"text", trial.text}};
                 }},
        body);
}

std::string joined(const std::string& head, const std::string& tail) {
    return tail.empty() ? head : head + ": " + tail;
}

std::string at_place(const std::string& what, const Place& place, const std::string& text) {
    const std::string where = in_words(place);
    return joined(where.empty() ? what : what + " at " + where, text);
}

}  // namespace

std::string json_text(const Json& json) {
    return json.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

Json job_json(const Job& job) {
    Json out;
    out["job"] = job.name.text();
    out["assembly"] = job.assembly;
    out["map_version"] = job.map_version;
    out["unit"] = job.unit.text();
    out["complaint"] = job.complaint;
    out["condition"] = job.condition;
    out["opened_at"] = job.opened_at;
    out["opened_by"] = job.opened_by.person;
    return out;
}

Json photograph_json(const Photograph& photograph, const StoredAlignment* alignment) {
    Json out;
    out["photograph"] = photograph.name.text();
    out["file"] = photograph.file_name;
    out["board"] = photograph.board.text();
    out["side"] = key_of(photograph.side);
    out["width"] = photograph.width_px;
    out["height"] = photograph.height_px;
    out["withdrawn"] = photograph.withdrawn;
    out["aligned"] = alignment != nullptr;
    if (!alignment) return out;
    out["rms_mm"] = number_or_null(alignment->rms_mm);
    out["worst_mm"] = number_or_null(alignment->worst_mm);
    out["limit_mm"] = alignment->limit_mm;
    out["refined"] = alignment->refined;
    out["out_of_date"] = alignment->out_of_date;
    out["tie_points"] = Json::array();
    for (const StoredAlignment::Misfit& tie : alignment->tie_points)
        out["tie_points"].push_back(
            {{"joint", tie.joint.text()}, {"misfit_mm", tie.misfit_mm}, {"left_out", tie.left_out}});
    out["homography"] = alignment->camera.photo_from_board;
    out["k1"] = alignment->camera.k1;
    out["centre_px"] = {alignment->camera.centre_px.x, alignment->camera.centre_px.y};
    out["radius_px"] = alignment->camera.radius_px;
    out["remarks"] = alignment->remarks;
    return out;
}

Json entry_json(const Entry& entry) {
    Json out;
    out["entry"] = entry.name.text();
    out["kind"] = name_of(kind_of(entry.body));
    out["at"] = entry.at;
    out["person"] = entry.who.person;
    out["device"] = entry.who.device;
    out[name_of(kind_of(entry.body))] = body_json(entry.body);
    out["withdrawn"] = entry.withdrawn;
    if (entry.withdrawn) {
        out["withdrawn_at"] = entry.withdrawn_at;
        out["withdrawn_by"] = entry.withdrawn_by.person;
        out["withdrawn_why"] = entry.withdrawn_why;
    }
    return out;
}

std::string misfit_in_words(const StoredAlignment& alignment) {
    if (!alignment.rms_mm) return "aligned; four tie points always fit, so how well is not known";
    return fmt::format("misfit {:.3f} mm (rms), worst {:.3f} mm, limit {:.3f} mm{}{}", *alignment.rms_mm,
                       alignment.worst_mm.value_or(0), alignment.limit_mm,
                       alignment.refined ? ", refined on the pads" : "",
                       alignment.out_of_date ? ", out of date" : "");
}

std::string in_words(const StoredSaid& said) {
    return std::visit(Overload{[](const NotMeasured& none) { return joined("not measured", none.why); },
                               [](const Ohms& ohms) { return fmt::format("{:g} ohm", ohms.value); },
                               [](const Open&) { return std::string("open"); },
                               [](const Beep&) { return std::string("beep"); }},
                      said);
}

std::string in_words(const Place& place) {
    std::string out;
    const auto add = [&out](const std::string& text) { out += (out.empty() ? "" : ", ") + text; };
    for (const PartName& part : place.parts) add(part.text());
    for (const JointName& joint : place.joints) add(joint.text());
    if (place.point_mm) add(fmt::format("({:g}, {:g}) mm", place.point_mm->x, place.point_mm->y));
    if (place.side) add(name_of(*place.side));
    if (!place.board.empty()) add(place.board.text());
    return out;
}

std::string in_words(const EntryBody& body) {
    return std::visit(
        Overload{
            [](const ReadingEntry& reading) {
                return fmt::format("{} to {}: {}", reading.from.text(), reading.to.text(),
                                   in_words(reading.said));
            },
            [](const FindingEntry& finding) { return at_place(finding.what, finding.place, finding.text); },
            [](const WorkEntry& work) { return at_place(work.what, work.place, work.text); },
            [](const NoteEntry& note) { return note.text; },
            [](const PhotographEntry& photograph) { return photograph.photograph.text(); },
            [](const TrialEntry& trial) {
                return joined(fmt::format("{:g} minutes {}, {} recurrences", trial.minutes, trial.condition,
                                          trial.recurrences),
                              trial.text);
            }},
        body);
}

}  // namespace eyelet::cli
