#include "eyelet/board/map.h"

#include <cmath>
#include <set>
#include <unordered_set>

#include <fmt/format.h>

namespace eyelet {

const char* name_of(Side side) { return side == Side::component ? "component side" : "solder side"; }
const char* key_of(Side side) { return side == Side::component ? "top" : "bottom"; }

std::optional<Side> side_from_key(const std::string& key) {
    if (key == "top") return Side::component;
    if (key == "bottom") return Side::solder;
    return std::nullopt;
}

JointIndex Assembly::find_joint(const JointName& wanted) const {
    for (std::size_t i = 0; i < joints.size(); ++i)
        if (joints[i].name == wanted) return JointIndex(i);
    return {};
}

BoardIndex Assembly::find_board(const BoardName& wanted) const {
    for (std::size_t i = 0; i < boards.size(); ++i)
        if (boards[i].name == wanted) return BoardIndex(i);
    return {};
}

std::unordered_map<JointName, JointIndex> joints_by_name(const Assembly& assembly) {
    std::unordered_map<JointName, JointIndex> index;
    index.reserve(assembly.joints.size());
    for (std::size_t i = 0; i < assembly.joints.size(); ++i) index.emplace(assembly.joints[i].name, JointIndex(i));
    return index;
}

namespace {

bool is_finite(Point p) { return std::isfinite(p.x) && std::isfinite(p.y); }
bool is_positive(Size s) {
    return std::isfinite(s.width) && std::isfinite(s.height) && s.width > 0 && s.height > 0;
}

}  // namespace

Status check(const Assembly& assembly) {
    std::set<BoardName> boards;
    for (const Board& board : assembly.boards) {
        if (!boards.insert(board.name).second)
            return bad_input(fmt::format("board {}: the name is used twice; board names must differ", board.name.text()));
        if (!is_positive(board.size_mm))
            return bad_input(fmt::format("board {}: its size must be two positive numbers of millimetres", board.name.text()));
        for (Point p : board.outline)
            if (!is_finite(p)) return bad_input(fmt::format("board {}: the outline holds a number that is not finite", board.name.text()));
    }
    std::unordered_set<JointName> names;
    for (const Joint& joint : assembly.joints) {
        const std::string& name = joint.name.text();
        if (name.empty()) return bad_input("a joint has an empty name; each joint needs one of its own");
        if (!names.insert(joint.name).second)
            return bad_input(fmt::format("joint {}: the name is used twice; joint names must differ", name));
        if (joint.board.raw() >= assembly.boards.size())
            return bad_input(fmt::format("joint {}: its board is not in the assembly", name));
        if (joint.part.valid() && joint.part.raw() >= assembly.parts.size())
            return bad_input(fmt::format("joint {}: its part is not in the assembly", name));
        if (!is_finite(joint.hole) || !is_finite(joint.copper_centre))
            return bad_input(fmt::format("joint {}: its position must be finite millimetres", name));
        if (!is_positive(joint.pad_mm))
            return bad_input(fmt::format("joint {}: its pad size must be two positive numbers of millimetres", name));
        if (joint.drill_mm && !is_positive(*joint.drill_mm))
            return bad_input(fmt::format("joint {}: its drill must be two positive numbers of millimetres", name));
        if (!std::isfinite(joint.rotation_deg))
            return bad_input(fmt::format("joint {}: its rotation must be a finite number of degrees", name));
    }
    std::set<std::pair<BoardIndex, PartName>> parts;
    for (const Part& part : assembly.parts) {
        if (part.board.raw() >= assembly.boards.size())
            return bad_input(fmt::format("part {}: its board is not in the assembly", part.name.text()));
        if (!parts.emplace(part.board, part.name).second)
            return bad_input(fmt::format("part {}: the name is used twice on board {}; part names must differ",
                                         part.name.text(), assembly.board(part.board).name.text()));
        if (!is_finite(part.body.low) || !is_finite(part.body.high) || part.body.low.x > part.body.high.x ||
            part.body.low.y > part.body.high.y)
            return bad_input(fmt::format("part {}: its body must be a box of finite millimetres, lower corner first",
                                         part.name.text()));
        for (JointIndex joint : part.joints)
            if (joint.raw() >= assembly.joints.size())
                return bad_input(fmt::format("part {}: it names a joint that is not in the assembly", part.name.text()));
    }
    for (const Cable& cable : assembly.cables)
        for (const Cable::Conductor& conductor : cable.conductors)
            if (conductor.from.raw() >= assembly.joints.size() || conductor.to.raw() >= assembly.joints.size() ||
                conductor.from == conductor.to)
                return bad_input(fmt::format("cable {}: each conductor must join two different joints of the assembly",
                                             cable.name));
    return {};
}

}  // namespace eyelet
