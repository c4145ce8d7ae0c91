// The map of an assembly: boards, joints, parts and cables, as plain values.
//
// Properties that `check()` holds (and every reader of maps may rely on):
//   1. joint names are unique in the assembly, part names unique on their board, board names unique;
//   2. every index points into its list; every number is finite, every size and drill positive;
//   3. a joint that lies on both sides and is plated carries copper from side to side; a via always does.
// Lengths are millimetres in the frame of the joint's board, angles degrees counter-clockwise as seen
// from the component side.
#pragma once

#include <optional>
#include <string>
#include <unordered_map>
#include <vector>

#include "eyelet/core/geometry.h"
#include "eyelet/core/ids.h"
#include "eyelet/core/result.h"

namespace eyelet {

enum class Side { component, solder };  // "top" and "bottom" in files
enum class JointSides { component, solder, both };
enum class JointKind { pad, via };
enum class PadShape { circle, oval, rectangle, rounded_rectangle, trapezoid, custom };

[[nodiscard]] const char* name_of(Side side);            // "component side" / "solder side"
[[nodiscard]] const char* key_of(Side side);             // "top" / "bottom"
[[nodiscard]] std::optional<Side> side_from_key(const std::string& key);
[[nodiscard]] inline Side other(Side side) { return side == Side::component ? Side::solder : Side::component; }

struct Board {
    BoardName name;
    Size size_mm;
    std::vector<Point> outline;
};

struct Joint {
    JointName name;
    BoardIndex board;
    JointKind kind = JointKind::pad;
    PartIndex part;           // invalid where the joint belongs to no part
    std::string pin;          // as printed or counted; may be empty
    Point hole;               // the hole, or the pad's origin
    Point copper_centre;      // centre of the pad's copper, where it differs from the hole
    JointSides sides = JointSides::both;
    bool plated = true;
    PadShape shape = PadShape::circle;
    Size pad_mm;
    double rotation_deg = 0;
    std::optional<Size> drill_mm;

    [[nodiscard]] bool on(Side side) const {
        return sides == JointSides::both || (sides == JointSides::component) == (side == Side::component);
    }
    // Copper runs from side to side through it.
    [[nodiscard]] bool joins_sides() const {
        return sides == JointSides::both && (plated || kind == JointKind::via);
    }
    // A needle can reach it: vias are usually under solder mask.
    [[nodiscard]] bool can_be_touched() const { return kind == JointKind::pad; }
};

struct Part {
    PartName name;
    BoardIndex board;
    std::string value;        // marking or value as known: "220u 35V"
    std::string kind;         // what it is, in words: "radial_can", "axial_resistor"
    Side side = Side::component;
    Box body;
    std::vector<JointIndex> joints;
};

// A cable or flat conductor set between boards of one assembly. Each conductor joins two joints.
struct Cable {
    std::string name;
    struct Conductor {
        JointIndex from;
        JointIndex to;
    };
    std::vector<Conductor> conductors;
};

struct Assembly {
    std::string name;
    std::vector<Board> boards;
    std::vector<Joint> joints;
    std::vector<Part> parts;
    std::vector<Cable> cables;

    [[nodiscard]] const Joint& joint(JointIndex index) const { return joints[index.raw()]; }
    [[nodiscard]] const Part& part(PartIndex index) const { return parts[index.raw()]; }
    [[nodiscard]] const Board& board(BoardIndex index) const { return boards[index.raw()]; }
    [[nodiscard]] JointIndex find_joint(const JointName& name) const;  // invalid if there is none (linear search)
    [[nodiscard]] BoardIndex find_board(const BoardName& name) const;
};

// Names looked up in constant time; valid as long as the assembly is not changed.
[[nodiscard]] std::unordered_map<JointName, JointIndex> joints_by_name(const Assembly& assembly);

// Says the first property above that does not hold, with the name of the thing.
[[nodiscard]] Status check(const Assembly& assembly);

}  // namespace eyelet
