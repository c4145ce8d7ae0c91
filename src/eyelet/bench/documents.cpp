#include "eyelet/bench/documents.h"

#include <fmt/format.h>

#include <array>
#include <nlohmann/json.hpp>

namespace eyelet {

namespace {

using Json = nlohmann::json;

Json json_of(Point p) {
    return Json::array({p.x, p.y});
}
Json json_of(Size s) {
    return Json::array({s.width, s.height});
}
Point point_from(const Json& j) {
    return {j.at(0).get<double>(), j.at(1).get<double>()};
}
Size size_from(const Json& j) {
    return {j.at(0).get<double>(), j.at(1).get<double>()};
}

Json json_of(const std::vector<Point>& points) {
    Json all = Json::array();
    for (Point p : points) all.push_back(json_of(p));
    return all;
}
std::vector<Point> points_from(const Json& j) {
    std::vector<Point> all;
    all.reserve(j.size());
    for (const Json& p : j) all.push_back(point_from(p));
    return all;
}

// An invalid index is null.
template <class Tag>
Json json_of(Index<Tag> index) {
    return index.valid() ? Json(index.raw()) : Json(nullptr);
}
template <class Tag>
void read(const Json& j, Index<Tag>& index) {
    index = j.is_null() ? Index<Tag>() : Index<Tag>(j.get<std::size_t>());
}
std::vector<JointIndex> joints_from(const Json& j) {
    std::vector<JointIndex> all;
    for (const Json& one : j) all.emplace_back(one.get<std::size_t>());
    return all;
}

// Enumerations are stored by name, so that the order of enumerators may change.
template <class Enum, std::size_t count>
struct Names {
    std::array<std::pair<Enum, const char*>, count> names;
    [[nodiscard]] Json json_of(Enum value) const {
        for (const auto& [key, name] : names)
            if (key == value) return name;
        return nullptr;
    }
    [[nodiscard]] Enum from(const Json& j) const {
        const auto text = j.get<std::string>();
        for (const auto& [key, name] : names)
            if (text == name) return key;
        throw std::runtime_error(fmt::format("unknown word '{}'", text));
    }
};
constexpr Names<Side, 2> kSides{{{{Side::component, "top"}, {Side::solder, "bottom"}}}};
constexpr Names<JointSides, 3> kJointSides{
    {{{JointSides::component, "top"}, {JointSides::solder, "bottom"}, {JointSides::both, "both"}}}};
constexpr Names<JointKind, 2> kJointKinds{{{{JointKind::pad, "pad"}, {JointKind::via, "via"}}}};
constexpr Names<PadShape, 6> kPadShapes{{{{PadShape::circle, "circle"},
                                          {PadShape::oval, "oval"},
                                          {PadShape::rectangle, "rectangle"},
                                          {PadShape::rounded_rectangle, "rounded rectangle"},
                                          {PadShape::trapezoid, "trapezoid"},
                                          {PadShape::custom, "custom"}}}};
constexpr Names<Standing, 4> kStandings{{{{Standing::proposed, "proposed"},
                                          {Standing::proven, "proven"},
                                          {Standing::refuted, "refuted"},
                                          {Standing::stale, "stale"}}}};
constexpr Names<Unseen::Cause, 5> kCauses{{{{Unseen::Cause::part, "part"},
                                            {Unseen::Cause::print, "print"},
                                            {Unseen::Cause::glare, "glare"},
                                            {Unseen::Cause::blur, "blur"},
                                            {Unseen::Cause::outside, "outside"}}}};
constexpr Names<CopperTone, 2> kTones{{{{CopperTone::lighter, "lighter"}, {CopperTone::darker, "darker"}}}};

Json map_json(const Assembly& map) {
    Json boards = Json::array();
    for (const Board& board : map.boards)
        boards.push_back({{"name", board.name.text()},
                          {"size", json_of(board.size_mm)},
                          {"outline", json_of(board.outline)}});
    Json joints = Json::array();
    for (const Joint& joint : map.joints)
        joints.push_back({{"name", joint.name.text()},
                          {"board", json_of(joint.board)},
                          {"kind", kJointKinds.json_of(joint.kind)},
                          {"part", json_of(joint.part)},
                          {"pin", joint.pin},
                          {"hole", json_of(joint.hole)},
                          {"centre", json_of(joint.copper_centre)},
                          {"sides", kJointSides.json_of(joint.sides)},
                          {"plated", joint.plated},
                          {"shape", kPadShapes.json_of(joint.shape)},
                          {"pad", json_of(joint.pad_mm)},
                          {"rotation", joint.rotation_deg},
                          {"drill", joint.drill_mm ? json_of(*joint.drill_mm) : Json(nullptr)}});
    Json parts = Json::array();
    for (const Part& part : map.parts) {
        Json of_part = Json::array();
        for (JointIndex joint : part.joints) of_part.push_back(joint.raw());
        parts.push_back({{"name", part.name.text()},
                         {"board", json_of(part.board)},
                         {"value", part.value},
                         {"kind", part.kind},
                         {"side", kSides.json_of(part.side)},
                         {"body", Json::array({json_of(part.body.low), json_of(part.body.high)})},
                         {"joints", std::move(of_part)}});
    }
    Json cables = Json::array();
    for (const Cable& cable : map.cables) {
        Json conductors = Json::array();
        for (const Cable::Conductor& one : cable.conductors)
            conductors.push_back(Json::array({one.from.raw(), one.to.raw()}));
        cables.push_back({{"name", cable.name}, {"conductors", std::move(conductors)}});
    }
    return {{"name", map.name},
            {"boards", std::move(boards)},
            {"joints", std::move(joints)},
            {"parts", std::move(parts)},
            {"cables", std::move(cables)}};
}

Assembly map_from(const Json& j) {
    Assembly map;
    map.name = j.at("name").get<std::string>();
    for (const Json& b : j.at("boards"))
        map.boards.push_back({BoardName(b.at("name").get<std::string>()), size_from(b.at("size")),
                              points_from(b.at("outline"))});
    map.joints.reserve(j.at("joints").size());
    for (const Json& one : j.at("joints")) {
        Joint joint;
        joint.name = JointName(one.at("name").get<std::string>());
        read(one.at("board"), joint.board);
        joint.kind = kJointKinds.from(one.at("kind"));
        read(one.at("part"), joint.part);
        joint.pin = one.at("pin").get<std::string>();
        joint.hole = point_from(one.at("hole"));
        joint.copper_centre = point_from(one.at("centre"));
        joint.sides = kJointSides.from(one.at("sides"));
        joint.plated = one.at("plated").get<bool>();
        joint.shape = kPadShapes.from(one.at("shape"));
        joint.pad_mm = size_from(one.at("pad"));
        joint.rotation_deg = one.at("rotation").get<double>();
        if (!one.at("drill").is_null()) joint.drill_mm = size_from(one.at("drill"));
        map.joints.push_back(std::move(joint));
    }
    for (const Json& one : j.at("parts")) {
        Part part;
        part.name = PartName(one.at("name").get<std::string>());
        read(one.at("board"), part.board);
        part.value = one.at("value").get<std::string>();
        part.kind = one.at("kind").get<std::string>();
        part.side = kSides.from(one.at("side"));
        part.body = {point_from(one.at("body").at(0)), point_from(one.at("body").at(1))};
        part.joints = joints_from(one.at("joints"));
        map.parts.push_back(std::move(part));
    }
    for (const Json& one : j.at("cables")) {
        Cable cable;
        cable.name = one.at("name").get<std::string>();
        for (const Json& c : one.at("conductors"))
            cable.conductors.push_back(
                {JointIndex(c.at(0).get<std::size_t>()), JointIndex(c.at(1).get<std::size_t>())});
        map.cables.push_back(std::move(cable));
    }
    return map;
}

Json optional_json(const std::optional<double>& value) {
    return value ? Json(*value) : Json(nullptr);
}
std::optional<double> optional_from(const Json& j) {
    if (j.is_null()) return std::nullopt;
    return j.get<double>();
}

Json alignment_json(const StoredAlignment& a) {
    Json misfits = Json::array();
    for (const auto& one : a.tie_points)
        misfits.push_back(
            {{"joint", one.joint.text()}, {"misfit_mm", one.misfit_mm}, {"left_out", one.left_out}});
    return {{"photo_from_board", a.camera.photo_from_board},
            {"k1", a.camera.k1},
            {"centre_px", json_of(a.camera.centre_px)},
            {"radius_px", a.camera.radius_px},
            {"tie_points", std::move(misfits)},
            {"rms_mm", optional_json(a.rms_mm)},
            {"worst_mm", optional_json(a.worst_mm)},
            {"limit_mm", a.limit_mm},
            {"refined", a.refined},
            {"joints_sought", a.joints_sought},
            {"joints_located", a.joints_located},
            {"located_rms_mm", optional_json(a.located_rms_mm)},
            {"located_worst_mm", optional_json(a.located_worst_mm)},
            {"remarks", a.remarks}};
}

StoredAlignment alignment_from(const Json& j) {
    StoredAlignment a;
    a.camera.photo_from_board = j.at("photo_from_board").get<std::array<double, 9>>();
    a.camera.k1 = j.at("k1").get<double>();
    a.camera.centre_px = point_from(j.at("centre_px"));
    a.camera.radius_px = j.at("radius_px").get<double>();
    for (const Json& one : j.at("tie_points"))
        a.tie_points.push_back({JointName(one.at("joint").get<std::string>()),
                                one.at("misfit_mm").get<double>(), one.at("left_out").get<bool>()});
    a.rms_mm = optional_from(j.at("rms_mm"));
    a.worst_mm = optional_from(j.at("worst_mm"));
    a.limit_mm = j.at("limit_mm").get<double>();
    a.refined = j.at("refined").get<bool>();
    a.joints_sought = j.at("joints_sought").get<std::size_t>();
    a.joints_located = j.at("joints_located").get<std::size_t>();
    a.located_rms_mm = optional_from(j.at("located_rms_mm"));
    a.located_worst_mm = optional_from(j.at("located_worst_mm"));
    a.remarks = j.at("remarks").get<std::vector<std::string>>();
    return a;
}

Json proposals_json(const StoredProposals& stored) {
    Json links = Json::array();
    for (const Link& link : stored.proposals.links)
        links.push_back({{"from", json_of(link.from)},
                         {"to", json_of(link.to)},
                         {"side", link.side ? kSides.json_of(*link.side) : Json(nullptr)},
                         {"probability", link.probability},
                         {"standing", kStandings.json_of(link.standing)},
                         {"path", json_of(link.path)},
                         {"width_mm", link.width_mm},
                         {"hidden", link.hidden},
                         {"why", link.why}});
    Json leads = Json::array();
    for (const Lead& lead : stored.proposals.leads)
        leads.push_back({{"joint", json_of(lead.joint)},
                         {"side", kSides.json_of(lead.side)},
                         {"probability", lead.probability},
                         {"last_seen", lead.last_seen ? json_of(*lead.last_seen) : Json(nullptr)}});
    Json unseen = Json::array();
    for (const Unseen& one : stored.proposals.unseen)
        unseen.push_back({{"board", json_of(one.board)},
                          {"side", kSides.json_of(one.side)},
                          {"cause", kCauses.json_of(one.cause)},
                          {"outline", json_of(one.outline)}});
    Json tones = Json::array();
    for (const auto& one : stored.tones)
        tones.push_back({{"board", one.board.text()},
                         {"side", kSides.json_of(one.side)},
                         {"tone", kTones.json_of(one.tone)},
                         {"sure", one.sure}});
    return {{"links", std::move(links)},
            {"leads", std::move(leads)},
            {"unseen", std::move(unseen)},
            {"tones", std::move(tones)},
            {"remarks", stored.remarks}};
}

StoredProposals proposals_from(const Json& j) {
    StoredProposals stored;
    for (const Json& one : j.at("links")) {
        Link link;
        read(one.at("from"), link.from);
        read(one.at("to"), link.to);
        if (!one.at("side").is_null()) link.side = kSides.from(one.at("side"));
        link.probability = one.at("probability").get<double>();
        link.standing = kStandings.from(one.at("standing"));
        link.path = points_from(one.at("path"));
        link.width_mm = one.at("width_mm").get<double>();
        link.hidden = one.at("hidden").get<double>();
        link.why = one.at("why").get<std::string>();
        stored.proposals.links.push_back(std::move(link));
    }
    for (const Json& one : j.at("leads")) {
        Lead lead;
        read(one.at("joint"), lead.joint);
        lead.side = kSides.from(one.at("side"));
        lead.probability = one.at("probability").get<double>();
        if (!one.at("last_seen").is_null()) lead.last_seen = point_from(one.at("last_seen"));
        stored.proposals.leads.push_back(lead);
    }
    for (const Json& one : j.at("unseen")) {
        Unseen unseen;
        read(one.at("board"), unseen.board);
        unseen.side = kSides.from(one.at("side"));
        unseen.cause = kCauses.from(one.at("cause"));
        unseen.outline = points_from(one.at("outline"));
        stored.proposals.unseen.push_back(std::move(unseen));
    }
    for (const Json& one : j.at("tones"))
        stored.tones.push_back({BoardName(one.at("board").get<std::string>()), kSides.from(one.at("side")),
                                kTones.from(one.at("tone")), one.at("sure").get<double>()});
    stored.remarks = j.at("remarks").get<std::vector<std::string>>();
    return stored;
}

// The JSON library tells failures by exceptions; they end here.
Result<std::string> dumped(const Json& json, const char* what) {
    try {
        return json.dump();
    } catch (const std::exception&) {
        return bad_input(fmt::format("{}: a name in it is not valid UTF-8", what));
    }
}

template <class Read>
auto parsed(std::string_view document, const char* what, Read read_json)
    -> Result<decltype(read_json(Json()))> {
    try {
        return read_json(Json::parse(document));
    } catch (const std::exception& e) {
        return storage_error(
            fmt::format("the bench holds {} that cannot be read ({}); restore the bench folder from a copy",
                        what, e.what()));
    }
}

}  // namespace

bool is_utf8(std::string_view text) {
    std::size_t i = 0;
    while (i < text.size()) {
        const auto lead = static_cast<unsigned char>(text[i]);
        std::size_t more = 0;
        unsigned low = 0x80;
        unsigned high = 0xbf;
        if (lead < 0x80) {
            more = 0;
        } else if (lead >= 0xc2 && lead <= 0xdf) {
            more = 1;
        } else if (lead >= 0xe0 && lead <= 0xef) {
            more = 2;
            if (lead == 0xe0) low = 0xa0;   // overlong
            if (lead == 0xed) high = 0x9f;  // surrogates
        } else if (lead >= 0xf0 && lead <= 0xf4) {
            more = 3;
            if (lead == 0xf0) low = 0x90;   // overlong
            if (lead == 0xf4) high = 0x8f;  // beyond U+10FFFF
        } else {
            return false;
        }
        if (text.size() - i <= more) return false;
        for (std::size_t k = 1; k <= more; ++k) {
            const auto next = static_cast<unsigned char>(text[i + k]);
            if (next < low || next > high) return false;
            low = 0x80;
            high = 0xbf;
        }
        i += more + 1;
    }
    return true;
}

Result<std::string> document_of(const Assembly& map) {
    return dumped(map_json(map), "the map");
}
Result<Assembly> map_from_document(std::string_view document) {
    return parsed(document, "a map", map_from);
}

Result<std::string> document_of(const StoredAlignment& alignment) {
    return dumped(alignment_json(alignment), "the alignment");
}
Result<StoredAlignment> alignment_from_document(std::string_view document) {
    return parsed(document, "an alignment", alignment_from);
}

Result<std::string> document_of(const StoredProposals& proposals) {
    return dumped(proposals_json(proposals), "the proposals");
}
Result<StoredProposals> proposals_from_document(std::string_view document) {
    return parsed(document, "proposals", proposals_from);
}

}  // namespace eyelet
