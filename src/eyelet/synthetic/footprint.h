// The parts that an invented board may carry: where their pads are, how their bodies look, what is printed
// round them. Usual sizes of the trade (common practice). In the part's own frame: millimetres, origin in
// its middle, y down, seen from the side it is fitted on.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/random.h"

namespace eyelet::synthetic {

struct FootprintPad {
    std::string pin;
    Point at;
    PadShape shape = PadShape::circle;
    Size size_mm;
    std::optional<Size> drill_mm;  // none: on the surface only
    bool plated = true;
};

struct Footprint {
    std::string kind;    // as surveys name it: "dip", "axial_resistor", "smd_chip"
    std::string letter;  // of the reference: "R", "C", "U"
    std::vector<std::string> values;
    std::vector<FootprintPad> pads;
    std::vector<Body> bodies;  // side and part are filled in on placing
    std::vector<Shape> print;
    Box body;       // what a survey says the body covers
    Box courtyard;  // keep other parts out
    enum class Role { chip, passive, decoupling, connector, power, mechanical } role = Role::passive;
};

[[nodiscard]] Footprint dip(Random& random, int pins, double row_mm);
[[nodiscard]] Footprint axial_resistor(Random& random, double pitch_mm = 0);  // 0: any usual one
[[nodiscard]] Footprint axial_diode(Random& random, double pitch_mm = 0);
[[nodiscard]] Footprint radial_can(Random& random, double diameter_mm);
[[nodiscard]] Footprint disc_capacitor(Random& random, double pitch_mm = 0);
[[nodiscard]] Footprint box_capacitor(Random& random);
[[nodiscard]] Footprint to92(Random& random);
enum class Stance { any, upright, lying };
[[nodiscard]] Footprint to220(Random& random, Stance stance = Stance::any);
enum class Shroud { any, none, box };
[[nodiscard]] Footprint pin_header(Random& random, int columns, int rows, Shroud shroud = Shroud::any);
[[nodiscard]] Footprint terminal_block(Random& random, int ways);
[[nodiscard]] Footprint trimmer(Random& random);
[[nodiscard]] Footprint crystal(Random& random);
[[nodiscard]] Footprint light(Random& random);
[[nodiscard]] Footprint relay(Random& random);
[[nodiscard]] Footprint toroid(Random& random);
[[nodiscard]] Footprint resistor_network(Random& random, int pins);
[[nodiscard]] Footprint chip_part(Random& random, double length_mm, double width_mm);
[[nodiscard]] Footprint small_outline(Random& random, int pins, double pitch_mm, double body_width_mm);
[[nodiscard]] Footprint sot23(Random& random);
[[nodiscard]] Footprint quad_flat(Random& random, int pins_a_side, double pitch_mm);
[[nodiscard]] Footprint surface_can(Random& random, double diameter_mm);
[[nodiscard]] Footprint power_surface(Random& random);
[[nodiscard]] Footprint mounting_hole(Random& random, double drill_mm);
[[nodiscard]] Footprint test_pad(Random& random);
[[nodiscard]] Footprint edge_fingers(Random& random, int ways, double pitch_mm);

}  // namespace eyelet::synthetic
