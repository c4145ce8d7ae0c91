// An invented board whose truth is known: its joints and parts (an Assembly of one board), its copper as
// figures, print, bodies, and the nets that the copper makes.
//
// `make_layout(recipe)` draws one from a seed. It aims at variety of what a camera sees, not at electrical
// sense. The same recipe gives the same layout on every platform.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "eyelet/board/map.h"
#include "eyelet/synthetic/shape.h"

namespace eyelet::synthetic {

// How a body looks. The numbers are written into layer files; training/README.md lists them.
enum class Look : std::uint8_t {
    none = 0,
    moulded = 1,        // black moulded body
    ceramic_chip = 2,   // tan or grey ceramic
    chip_resistor = 3,  // black top of a chip resistor
    end_cap = 4,        // tinned end of a chip
    can_top = 5,        // bare aluminium top of an electrolytic
    can_sleeve = 6,     // printed sleeve of an electrolytic
    axial_body = 7,     // lacquered body with colour bands
    glass = 8,          // glass diode
    dipped = 9,         // dipped or boxed capacitor, any colour
    plastic = 10,       // connector plastic, any colour
    tinned_lead = 11,   // wire or pin, tinned
    gilt_pin = 12,
    lens = 13,         // light-emitting diode
    heat_tab = 14,     // bare metal tab
    ferrite = 15,      // coil or choke
    crystal_can = 16,  // steel can
};

struct Body {
    Shape outline;
    Look look = Look::moulded;
    Side side = Side::component;
    double low_mm = 0;                               // the space under it
    double high_mm = 1;                              // above the board's surface
    enum class Top { flat, round } top = Top::flat;  // round: a lying cylinder or a dome
    PartIndex part;
    std::uint32_t colour = 0;  // a number that a painter may turn into a colour
};

struct Copper {
    enum class Kind { track, spoke, polygon, text, outline };
    Shape shape;
    Side side = Side::component;
    Kind kind = Kind::track;
    int net = -1;  // meant for this net; truth comes from touching, not from this
};

// An area filled with copper, cut back from what is foreign. Signed depth at the nodes of a grid, positive
// inside, linear between nodes.
struct Fill {
    Side side = Side::component;
    int net = -1;
    Point origin_mm;  // of node (0, 0)
    double cell_mm = 0.1;
    int columns = 0;
    int rows = 0;
    std::vector<float> depth_mm;
    std::vector<std::int32_t> piece;  // connected piece at the node, -1 where there is no copper
    std::int32_t pieces = 0;

    [[nodiscard]] double depth_at(Point p) const;
    [[nodiscard]] std::int32_t piece_at(Point p) const;
};

struct Print {
    Shape shape;
    Side side = Side::component;
};

struct Layout {
    Assembly assembly;            // one board
    std::vector<int> wanted_net;  // per joint: the net it was meant for, -1 none
    std::vector<Copper> copper;   // beside the joints' own pads
    std::vector<Fill> fills;
    std::vector<Print> print;
    std::vector<Body> bodies;
    std::vector<Shape> openings[2];   // of the mask, beside those of the pads; per side
    double mask_expansion_mm = 0.07;  // the mask keeps off the pads by this
    bool vias_tented = true;
    bool masked = true;  // false: a board without solder mask
    double thickness_mm = 1.6;

    [[nodiscard]] bool is_lost(std::size_t joint) const {
        return std::find(lost.begin(), lost.end(), JointIndex{joint}) != lost.end();
    }
    std::vector<JointIndex> lost;               // joints whose pads and plating are gone (damage.h)
    std::vector<std::vector<JointIndex>> nets;  // the truth: a partition of all joints, largest first
};

enum class Theme { digital, analogue, power, surface, mixed };
enum class Routing { diagonal, orthogonal, hand_drawn };
enum class Pour { none, one_side, both_sides };

struct Recipe {
    std::uint64_t seed = 1;
    Theme theme = Theme::digital;
    Routing routing = Routing::diagonal;
    Pour pour = Pour::none;
    bool two_layers = true;
    bool hatched = false;
    Size size_mm{80, 60};
    double grid_mm = 0.254;
    double gap_mm = 0.2;
    double signal_mm = 0.3;  // track widths
    double wide_mm = 0.6;
    double power_mm = 1.2;
    double via_pad_mm = 0.8;
    double via_drill_mm = 0.4;
    double fullness = 1.0;  // 0.4 sparse to 1 crowded
};

// A recipe drawn at random, so that a run of seeds covers the kinds of board that benches see.
[[nodiscard]] Recipe random_recipe(std::uint64_t seed);
[[nodiscard]] Layout make_layout(const Recipe& recipe);

}  // namespace eyelet::synthetic
