#include "eyelet/synthetic/survey_out.h"

#include <algorithm>
#include <cmath>

#include "eyelet/synthetic/random.h"

namespace eyelet::synthetic {
namespace {

using nlohmann::json;

double rounded(double value, double step) {
    return std::round(value / step) * step;
}
json pair(Point p) {
    return json::array({rounded(p.x, 1e-4), rounded(p.y, 1e-4)});
}
json pair(Size s) {
    return json::array({rounded(s.width, 1e-4), rounded(s.height, 1e-4)});
}

const char* shape_name(PadShape shape) {
    switch (shape) {
        case PadShape::circle:
            return "circle";
        case PadShape::oval:
            return "oval";
        case PadShape::rectangle:
            return "rect";
        case PadShape::rounded_rectangle:
            return "roundrect";
        case PadShape::trapezoid:
            return "trapezoid";
        default:
            return "custom";
    }
}

const char* sides_name(JointSides sides) {
    return sides == JointSides::both ? "both" : sides == JointSides::component ? "top" : "bottom";
}

json joint_json(const Assembly& assembly, const Joint& joint) {
    return {{"id", joint.name.text()},
            {"kind", joint.kind == JointKind::via ? "via" : "pad"},
            {"ref", joint.part.valid() ? assembly.part(joint.part).name.text() : ""},
            {"pin", joint.pin},
            {"x", rounded(joint.hole.x, 1e-4)},
            {"y", rounded(joint.hole.y, 1e-4)},
            {"cx", rounded(joint.copper_centre.x, 1e-4)},
            {"cy", rounded(joint.copper_centre.y, 1e-4)},
            {"side", sides_name(joint.sides)},
            {"plated", joint.plated},
            {"shape", shape_name(joint.shape)},
            {"size", pair(joint.pad_mm)},
            {"rot", joint.rotation_deg},
            {"drill", joint.drill_mm ? pair(*joint.drill_mm) : json(nullptr)}};
}

// A person clicks pads that are plain to see: on this side, touchable, with no body over them.
bool plain_to_see(const Layout& layout, const Joint& joint, Side side) {
    if (joint.kind != JointKind::pad || !joint.on(side)) return false;
    return std::none_of(layout.bodies.begin(), layout.bodies.end(), [&](const Body& body) {
        return body.side == side && body.high_mm > 1.8 &&
               signed_distance_mm(body.outline, joint.copper_centre) < 0.4 + 0.15 * body.high_mm;
    });
}

// Spread over the board: each next joint is the one farthest from those already chosen.
std::vector<JointIndex> choose_ties(const Layout& layout, Side side, int count) {
    std::vector<JointIndex> seen;
    for (std::size_t j = 0; j < layout.assembly.joints.size(); ++j)
        if (plain_to_see(layout, layout.assembly.joints[j], side)) seen.push_back(JointIndex{j});
    if (seen.size() < 4) {
        seen.clear();
        for (std::size_t j = 0; j < layout.assembly.joints.size(); ++j)
            if (layout.assembly.joints[j].kind == JointKind::pad && layout.assembly.joints[j].on(side))
                seen.push_back(JointIndex{j});
    }
    std::vector<JointIndex> chosen;
    const auto where = [&](JointIndex joint) { return layout.assembly.joint(joint).copper_centre; };
    while (static_cast<int>(chosen.size()) < count && chosen.size() < seen.size()) {
        JointIndex best;
        double best_distance = -1;
        for (const JointIndex joint : seen) {
            double nearest = chosen.empty() ? 1e3 - length(where(joint)) : 1e9;
            for (const JointIndex other : chosen)
                nearest = std::min(nearest, distance(where(other), where(joint)));
            if (nearest > best_distance) {
                best_distance = nearest;
                best = joint;
            }
        }
        if (best_distance <= 0) break;
        chosen.push_back(best);
    }
    return chosen;
}

}  // namespace

json survey_of(const Layout& layout, const std::string& slug, const std::vector<PhotoFile>& photos,
               const Ties& ties) {
    const Assembly& assembly = layout.assembly;
    const Board& board = assembly.boards[0];
    json survey{{"schema", "board-survey/1"}, {"slug", slug}, {"units", "mm"}, {"size", pair(board.size_mm)}};
    survey["outline"] = json::array();
    for (const Point p : board.outline) survey["outline"].push_back(pair(p));
    survey["joints"] = json::array();
    for (const Joint& joint : assembly.joints) survey["joints"].push_back(joint_json(assembly, joint));
    survey["parts"] = json::array();
    for (const Part& part : assembly.parts) {
        json joints = json::array();
        for (const JointIndex joint : part.joints) joints.push_back(assembly.joint(joint).name.text());
        survey["parts"].push_back(
            {{"ref", part.name.text()},
             {"value", part.value},
             {"kind", part.kind},
             {"side", key_of(part.side)},
             {"bbox", json::array({rounded(part.body.low.x, 1e-3), rounded(part.body.low.y, 1e-3),
                                   rounded(part.body.high.x, 1e-3), rounded(part.body.high.y, 1e-3)})},
             {"joints", joints}});
    }
    survey["photos"] = json::array();
    Random random(ties.seed);
    for (const PhotoFile& photo : photos) {
        json points = json::array();
        const std::vector<JointIndex> chosen = choose_ties(layout, photo.side, ties.count);
        for (std::size_t i = 0; i < chosen.size(); ++i) {
            Point pixel = photo.camera.to_photo(assembly.joint(chosen[i]).copper_centre);
            pixel =
                pixel + Point{ties.click_error_px * random.normal(), ties.click_error_px * random.normal()};
            if (ties.one_wrong && i + 1 == chosen.size())
                pixel = pixel + Point{0.04 * photo.width_px, -0.05 * photo.height_px};
            pixel = {std::clamp(pixel.x, 0.0, photo.width_px - 1.0),
                     std::clamp(pixel.y, 0.0, photo.height_px - 1.0)};
            points.push_back({{"joint", assembly.joint(chosen[i]).name.text()},
                              {"pixel", json::array({rounded(pixel.x, 0.1), rounded(pixel.y, 0.1)})}});
        }
        survey["photos"].push_back({{"file", photo.file},
                                    {"side", key_of(photo.side)},
                                    {"width", photo.width_px},
                                    {"height", photo.height_px},
                                    {"tie_points", points}});
    }
    return survey;
}

json truth_of(const Layout& layout, const std::vector<PhotoFile>& photos) {
    json truth{{"schema", "board-truth/1"}, {"nets", json::array()}, {"photos", json::array()}};
    for (const auto& net : layout.nets) {
        json names = json::array();
        for (const JointIndex joint : net) names.push_back(layout.assembly.joint(joint).name.text());
        truth["nets"].push_back(names);
    }
    for (const PhotoFile& photo : photos) {
        json rows = json::array();
        for (std::size_t i = 0; i < 3; ++i)
            rows.push_back(
                json::array({photo.camera.photo_from_board[3 * i], photo.camera.photo_from_board[3 * i + 1],
                             photo.camera.photo_from_board[3 * i + 2]}));
        truth["photos"].push_back(
            {{"file", photo.file},
             {"side", key_of(photo.side)},
             {"homography", rows},
             {"distortion",
              {{"k1", photo.camera.k1},
               {"centre", json::array({photo.camera.centre_px.x, photo.camera.centre_px.y})},
               {"radius", photo.camera.radius_px}}}});
    }
    return truth;
}

json assembly_file(const Assembly& assembly, const std::string& complaint) {
    json file{{"schema", "board-assembly/1"},
              {"name", assembly.name},
              {"boards", json::array()},
              {"cables", json::array()}};
    if (!complaint.empty()) file["complaint"] = complaint;
    for (const Board& board : assembly.boards)
        file["boards"].push_back(
            {{"name", board.name.text()}, {"survey", board.name.text() + "/survey.json"}});
    for (const Cable& cable : assembly.cables) {
        json conductors = json::array();
        for (const Cable::Conductor& conductor : cable.conductors)
            conductors.push_back(json::array(
                {assembly.joint(conductor.from).name.text(), assembly.joint(conductor.to).name.text()}));
        file["cables"].push_back({{"name", cable.name}, {"conductors", conductors}});
    }
    return file;
}

}  // namespace eyelet::synthetic
