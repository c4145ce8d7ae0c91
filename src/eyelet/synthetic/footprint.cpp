#include "eyelet/synthetic/footprint.h"

#include <algorithm>

namespace eyelet::synthetic {
namespace {

constexpr double kPrintLine = 0.15;

Size square(double side) {
    return {side, side};
}

FootprintPad through(std::string pin, Point at, double pad, double drill, PadShape shape = PadShape::circle) {
    return {std::move(pin), at, shape, square(pad), square(drill), true};
}

FootprintPad surface(std::string pin, Point at, Size size, PadShape shape) {
    return {std::move(pin), at, shape, size, std::nullopt, false};
}

Box centred(double width, double height) {
    return {{-width / 2, -height / 2}, {width / 2, height / 2}};
}

Body block(Box box, Look look, double low, double high, double corner = 0.1) {
    Body body;
    body.outline = rectangle(box, corner);
    body.look = look;
    body.low_mm = low;
    body.high_mm = high;
    return body;
}

Body lying(Point a, Point b, double diameter, Look look, double low) {
    Body body;
    body.outline = stroke({a, b}, diameter);
    body.look = look;
    body.low_mm = low;
    body.high_mm = low + diameter;
    body.top = Body::Top::round;
    return body;
}

Body standing(Point at, double diameter, Look look, double low, double high) {
    Body body;
    body.outline = disc(at, diameter / 2);
    body.look = look;
    body.low_mm = low;
    body.high_mm = high;
    return body;
}

std::uint32_t any_colour(Random& random) {
    return static_cast<std::uint32_t>(random.next() & 0xFFFFFF);
}

void finish(Footprint& part, Box body, double margin) {
    part.body = body;
    Box box = body;
    for (const FootprintPad& pad : part.pads) {
        const double w = pad.size_mm.width / 2;
        const double h = pad.size_mm.height / 2;
        box.low = {std::min(box.low.x, pad.at.x - w), std::min(box.low.y, pad.at.y - h)};
        box.high = {std::max(box.high.x, pad.at.x + w), std::max(box.high.y, pad.at.y + h)};
    }
    part.courtyard = grown(box, margin);
}

std::string number(int n) {
    return std::to_string(n);
}

// Pad and drill of leaded parts: small on late boards, generous on old ones.
struct Eyes {
    double pad, drill;
};
Eyes lead_eyes(Random& random, double wire) {
    const double drill = wire + random.uniform(0.2, 0.35);
    return {drill + random.uniform(0.55, 1.1), drill};
}

}  // namespace

Footprint dip(Random& random, int pins, double row_mm) {
    Footprint part;
    part.kind = "dip";
    part.letter = "U";
    part.role = Footprint::Role::chip;
    part.values = {"K1404", "LN7402", "QD339", "TV2114", "HX573", "MR0816"};
    const int half = pins / 2;
    const double drill = 0.8;
    const double pad = random.uniform(1.35, 1.65);
    const bool long_pads = random.chance(0.35);
    const double length = 2.54 * half;
    for (int i = 0; i < pins; ++i) {
        const bool left = i < half;
        const int row = left ? i : pins - 1 - i;
        const Point at{left ? -row_mm / 2 : row_mm / 2, 2.54 * (row - (half - 1) / 2.0)};
        FootprintPad one =
            through(number(i + 1), at, pad, drill, i == 0 ? PadShape::rectangle : PadShape::circle);
        if (long_pads) {
            one.size_mm = {pad * random.uniform(1.0, 1.0) + 0.8, pad};
            one.shape = i == 0 ? PadShape::rectangle : PadShape::oval;
        }
        part.pads.push_back(one);
        Body lead =
            block({{at.x - (left ? 0.3 : 1.0), at.y - 0.35}, {at.x + (left ? 1.0 : 0.3), at.y + 0.35}},
                  Look::tinned_lead, 0, 1.6, 0.05);
        part.bodies.push_back(lead);
    }
    const double width = row_mm > 10 ? row_mm - 1.6 : 6.4;
    const Box body = centred(width, length);
    if (random.chance(0.25)) {  // in a socket
        part.bodies.push_back(block(centred(row_mm + 2.4, length + 0.2), Look::plastic, 0.2, 4.0));
        part.bodies.push_back(block(body, Look::moulded, 4.5, 8.0));
    } else {
        part.bodies.push_back(block(body, Look::moulded, 0.5, 4.0));
    }
    const Box frame = centred(random.chance(0.5) ? width : row_mm - pad - 0.5, length + 0.4);
    part.print.push_back(outline_of(frame, kPrintLine));
    part.print.push_back(
        stroke({{-0.9, frame.low.y}, {-0.5, frame.low.y + 0.8}, {0.5, frame.low.y + 0.8}, {0.9, frame.low.y}},
               kPrintLine));
    finish(part, body, 0.6);
    return part;
}

Footprint axial_resistor(Random& random, double pitch_mm) {
    Footprint part;
    part.kind = "axial_resistor";
    part.letter = "R";
    part.values = {"10k", "4k7", "1k", "100R", "22k", "470R", "1M", "47R", "2k2", "330R"};
    const double pitch = pitch_mm > 0 ? pitch_mm : random.pick({7.62, 10.16, 10.16, 12.7, 15.24});
    const double length = std::min(pitch - 2.2, random.uniform(5.4, 9.0));
    const double diameter = length > 7.5 ? random.uniform(2.8, 3.6) : random.uniform(1.9, 2.5);
    const Eyes eyes = lead_eyes(random, 0.6);
    const Point a{-pitch / 2, 0};
    const Point b{pitch / 2, 0};
    part.pads = {through("1", a, eyes.pad, eyes.drill), through("2", b, eyes.pad, eyes.drill)};
    part.bodies = {lying(a, b, 0.6, Look::tinned_lead, 0.9),
                   lying({-length / 2 + diameter / 2, 0}, {length / 2 - diameter / 2, 0}, diameter,
                         Look::axial_body, 0.1)};
    part.bodies[1].colour = any_colour(random);
    const Box body = centred(length, diameter);
    if (random.chance(0.8)) part.print.push_back(outline_of(body, kPrintLine));
    part.print.push_back(stroke({{-pitch / 2 + 1.1, 0}, {-length / 2, 0}}, kPrintLine));
    part.print.push_back(stroke({{length / 2, 0}, {pitch / 2 - 1.1, 0}}, kPrintLine));
    finish(part, body, 0.25);
    return part;
}

Footprint axial_diode(Random& random, double pitch_mm) {
    Footprint part = axial_resistor(random, pitch_mm);
    part.kind = "axial_diode";
    part.letter = "D";
    part.values = {"1N4148", "1N4004", "BZX 5V1", "BAT"};
    part.pads[0].shape = PadShape::rectangle;
    part.bodies[1].look = random.chance(0.5) ? Look::glass : Look::moulded;
    const double x = part.body.low.x + 0.6;
    part.print.push_back(stroke({{x, part.body.low.y}, {x, part.body.high.y}}, 0.3));
    return part;
}

Footprint radial_can(Random& random, double diameter_mm) {
    Footprint part;
    part.kind = "electrolytic";
    part.letter = "C";
    part.role = diameter_mm > 9 ? Footprint::Role::power : Footprint::Role::decoupling;
    part.values = {"100u 25V", "220u 35V", "10u 50V", "470u 16V", "47u 63V", "1000u 25V"};
    const double pitch = diameter_mm < 5.5  ? 2.0
                         : diameter_mm < 7  ? 2.5
                         : diameter_mm < 9  ? 3.5
                         : diameter_mm < 13 ? 5.0
                                            : 7.5;
    const Eyes eyes = lead_eyes(random, diameter_mm > 9 ? 0.8 : 0.5);
    const double pad = std::min(eyes.pad, pitch - 0.35);
    part.pads = {through("1", {-pitch / 2, 0}, pad, eyes.drill, PadShape::rectangle),
                 through("2", {pitch / 2, 0}, pad, eyes.drill)};
    const double height = diameter_mm * random.uniform(1.2, 2.2);
    part.bodies = {standing({0, 0}, diameter_mm, Look::can_sleeve, 0, height),
                   standing({0, 0}, diameter_mm - 1.0, Look::can_top, height, height + 0.1)};
    part.bodies[0].colour = any_colour(random);
    std::vector<Point> ring;
    for (int i = 0; i <= 32; ++i) ring.push_back(turned({diameter_mm / 2 + 0.15, 0}, i * 11.25));
    part.print.push_back(stroke(ring, kPrintLine));
    const double x = -diameter_mm / 2 - 0.9;
    part.print.push_back(stroke({{x - 0.5, -1.2}, {x + 0.5, -1.2}}, kPrintLine));
    part.print.push_back(stroke({{x, -1.7}, {x, -0.7}}, kPrintLine));
    if (random.chance(0.4)) {  // the half that is printed solid
        std::vector<Point> half;
        for (int i = -8; i <= 8; ++i) half.push_back(turned({diameter_mm / 2 - 0.1, 0}, i * 11.25));
        part.print.push_back({half, true, 0.0});
    }
    finish(part, centred(diameter_mm, diameter_mm), 0.3);
    return part;
}

Footprint disc_capacitor(Random& random, double pitch_mm) {
    Footprint part;
    part.kind = "disc_cap";
    part.letter = "C";
    part.role = Footprint::Role::decoupling;
    part.values = {"100n", "10n", "1n", "22p", "47n"};
    const double pitch = pitch_mm > 0 ? pitch_mm : random.pick({2.54, 5.08, 5.08, 7.62});
    const Eyes eyes = lead_eyes(random, 0.5);
    const double pad = std::min(eyes.pad, pitch - 0.6);
    part.pads = {through("1", {-pitch / 2, 0}, pad, eyes.drill),
                 through("2", {pitch / 2, 0}, pad, eyes.drill)};
    const double length = pitch + random.uniform(0, 2.5);
    const double thick = random.uniform(1.8, 3.0);
    Body body = lying({-length / 2 + thick / 2, 0}, {length / 2 - thick / 2, 0}, thick, Look::dipped, 1.0);
    body.high_mm = random.uniform(4.5, 8);
    body.colour = any_colour(random);
    part.bodies = {body};
    const Box box = centred(length, thick);
    part.print.push_back(outline_of(grown(box, 0.15), kPrintLine));
    finish(part, box, 0.3);
    return part;
}

Footprint box_capacitor(Random& random) {
    Footprint part;
    part.kind = "box_cap";
    part.letter = "C";
    part.values = {"220n", "470n", "1u", "100n 400V"};
    const double pitch = random.pick({5.08, 7.62, 10.16, 15.24});
    const Eyes eyes = lead_eyes(random, 0.6);
    part.pads = {through("1", {-pitch / 2, 0}, eyes.pad, eyes.drill),
                 through("2", {pitch / 2, 0}, eyes.pad, eyes.drill)};
    const Box box = centred(pitch + random.uniform(2.2, 3), random.uniform(2.8, 7));
    part.bodies = {block(box, Look::dipped, 0.2, random.uniform(6, 12), 0.3)};
    part.bodies[0].colour = any_colour(random);
    part.print.push_back(outline_of(box, kPrintLine));
    finish(part, box, 0.3);
    return part;
}

Footprint to92(Random& random) {
    Footprint part;
    part.kind = "to92";
    part.letter = "Q";
    part.values = {"BC547", "BC557", "2N3904"};
    const bool inline_pins = random.chance(0.5);
    const double pitch = inline_pins ? 2.54 : 1.27;
    for (int i = 0; i < 3; ++i)
        part.pads.push_back(through(number(i + 1), {pitch * (i - 1), inline_pins || i != 1 ? 0.0 : -1.5},
                                    inline_pins ? 1.5 : 1.2, 0.75,
                                    i == 0 ? PadShape::rectangle : PadShape::circle));
    std::vector<Point> outline;
    for (int i = 0; i <= 16; ++i) outline.push_back(turned({2.4, 0}, -35 + i * 15.625));
    Body body;
    body.outline = {outline, true, 0};
    body.low_mm = 2;
    body.high_mm = 7;
    part.bodies = {body};
    std::vector<Point> around = outline;
    around.push_back(outline.front());
    part.print.push_back(stroke(around, kPrintLine));
    finish(part, centred(4.8, 4.0), 0.3);
    return part;
}

Footprint to220(Random& random, Stance stance) {
    Footprint part;
    part.kind = "to220";
    part.letter = random.chance(0.5) ? "Q" : "U";
    part.role = Footprint::Role::power;
    part.values = {"7805", "7812", "IRF540", "TIP31"};
    for (int i = 0; i < 3; ++i) {
        part.pads.push_back(through(number(i + 1), {2.54 * (i - 1), 0}, 1.8, 1.1,
                                    i == 0 ? PadShape::rectangle : PadShape::oval));
        part.pads.back().size_mm = {1.8, random.uniform(1.8, 3.0)};
        part.bodies.push_back(block({{2.54 * (i - 1) - 0.4, -2}, {2.54 * (i - 1) + 0.4, 0.3}},
                                    Look::tinned_lead, 0, 2.5, 0.05));
    }
    if (stance == Stance::any ? random.chance(0.6) : stance == Stance::upright) {
        const Box box{{-5.1, -3.2}, {5.1, 1.3}};
        part.bodies.push_back(block({{-5.1, -1.9}, {5.1, 1.3}}, Look::moulded, 3, 12));
        part.bodies.push_back(block({{-5.1, -3.2}, {5.1, -1.9}}, Look::heat_tab, 3, 18));
        part.print.push_back(outline_of(box, kPrintLine));
        part.print.push_back(stroke({{-5.1, -1.9}, {5.1, -1.9}}, kPrintLine));
        finish(part, box, 0.4);
    } else {  // lying on its tab
        const Box box{{-5.1, -18.5}, {5.1, -2.5}};
        part.bodies.push_back(block({{-5.1, -12}, {5.1, -2.5}}, Look::moulded, 0, 4.4));
        part.bodies.push_back(block({{-5.1, -18.5}, {5.1, -12}}, Look::heat_tab, 0, 1.3));
        part.print.push_back(outline_of(box, kPrintLine));
        finish(part, box, 0.4);
    }
    return part;
}

Footprint pin_header(Random& random, int columns, int rows, Shroud shroud) {
    Footprint part;
    part.kind = "connector";
    part.letter = "J";
    part.role = Footprint::Role::connector;
    const double pad = random.uniform(1.5, 1.8);
    const bool shrouded = shroud == Shroud::any ? rows == 2 && random.chance(0.5) : shroud == Shroud::box;
    const Box box = shrouded ? centred(2.54 * columns + 7.6, 8.8) : centred(2.54 * columns, 2.54 * rows);
    part.bodies.push_back(block(box, Look::plastic, 0, shrouded ? 3.0 : 2.5));
    part.bodies[0].colour = random.chance(0.75) ? 0x101010U : any_colour(random);
    if (shrouded) {
        for (const Box wall :
             {Box{box.low, {box.high.x, box.low.y + 1}}, Box{{box.low.x, box.high.y - 1}, box.high},
              Box{box.low, {box.low.x + 1, box.high.y}}, Box{{box.high.x - 1, box.low.y}, box.high}}) {
            part.bodies.push_back(block(wall, Look::plastic, 0, 9, 0.05));
            part.bodies.back().colour = part.bodies[0].colour;
        }
    }
    for (int c = 0; c < columns; ++c) {
        for (int r = 0; r < rows; ++r) {
            const Point at{2.54 * (c - (columns - 1) / 2.0), 2.54 * ((rows - 1) / 2.0 - r)};
            const int pin = c * rows + r + 1;
            part.pads.push_back(
                through(number(pin), at, pad, 1.0, pin == 1 ? PadShape::rectangle : PadShape::circle));
            part.bodies.push_back(block({{at.x - 0.32, at.y - 0.32}, {at.x + 0.32, at.y + 0.32}},
                                        Look::gilt_pin, 0, 8.5, 0.05));
        }
    }
    part.print.push_back(outline_of(grown(box, 0.15), kPrintLine));
    finish(part, box, 0.3);
    return part;
}

Footprint terminal_block(Random& random, int ways) {
    Footprint part;
    part.kind = "connector";
    part.letter = "J";
    part.role = Footprint::Role::connector;
    const double pitch = random.pick({3.5, 5.08, 5.08});
    for (int i = 0; i < ways; ++i) {
        const Point at{pitch * (i - (ways - 1) / 2.0), 0};
        part.pads.push_back(through(number(i + 1), at, random.uniform(2.2, 2.8), 1.3,
                                    i == 0 ? PadShape::rectangle : PadShape::circle));
    }
    const Box box{{-pitch * ways / 2, -4.2}, {pitch * ways / 2, 4.2}};
    part.bodies.push_back(block(box, Look::plastic, 0, 10));
    part.bodies[0].colour = any_colour(random);
    for (int i = 0; i < ways; ++i)
        part.bodies.push_back(
            standing({pitch * (i - (ways - 1) / 2.0), -0.5}, 2.6, Look::tinned_lead, 9, 10.2));
    part.print.push_back(outline_of(box, kPrintLine));
    finish(part, box, 0.3);
    return part;
}

Footprint trimmer(Random& random) {
    Footprint part;
    part.kind = "trimmer";
    part.letter = "RV";
    part.values = {"10k", "100k", "1k"};
    for (int i = 0; i < 3; ++i)
        part.pads.push_back(through(number(i + 1), {2.54 * (i - 1), i == 1 ? -2.54 : 0.0}, 1.6, 0.85));
    const Box box{{-4.8, -4.4}, {4.8, 2.0}};
    part.bodies = {block(box, Look::plastic, 0, random.uniform(4, 10))};
    part.bodies[0].colour = 0x2050B0U;
    part.print.push_back(outline_of(box, kPrintLine));
    finish(part, box, 0.3);
    return part;
}

Footprint crystal(Random& random) {
    Footprint part;
    part.kind = "crystal";
    part.letter = "Y";
    part.values = {"8MHz", "4.096MHz", "16MHz"};
    part.pads = {through("1", {-2.44, 0}, 1.5, 0.8), through("2", {2.44, 0}, 1.5, 0.8)};
    part.bodies = {lying({-3.3, 0}, {3.3, 0}, 4.4, Look::crystal_can, 0)};
    part.bodies[0].top = Body::Top::flat;
    part.bodies[0].high_mm = random.pick({3.6, 13.0});
    part.print.push_back({{{-3.3, -2.35}, {3.3, -2.35}}, false, kPrintLine / 2});
    part.print.push_back({{{-3.3, 2.35}, {3.3, 2.35}}, false, kPrintLine / 2});
    finish(part, centred(11, 4.4), 0.3);
    return part;
}

Footprint light(Random& random) {
    Footprint part;
    part.kind = "led";
    part.letter = "D";
    part.values = {"RED", "GREEN", "YELLOW"};
    part.pads = {through("1", {-1.27, 0}, 1.7, 0.9, PadShape::rectangle), through("2", {1.27, 0}, 1.7, 0.9)};
    const double d = random.pick({3.0, 5.0});
    part.bodies = {standing({0, 0}, d, Look::lens, 0.5, d * 1.6)};
    part.bodies[0].top = Body::Top::round;
    part.bodies[0].colour = random.pick({0xE02020U, 0x30C040U, 0xF0C020U});
    std::vector<Point> ring;
    for (int i = 0; i <= 24; ++i) ring.push_back(turned({d / 2 + 0.4, 0}, i * 15.0));
    part.print.push_back(stroke(ring, kPrintLine));
    finish(part, centred(d, d), 0.3);
    return part;
}

Footprint relay(Random& random) {
    Footprint part;
    part.kind = "relay";
    part.letter = "K";
    part.role = Footprint::Role::power;
    part.values = {"12V", "24V"};
    const double l = 19;
    const double w = 15.2;
    const Point at[5]{{-7, 0}, {-5, -6}, {-5, 6}, {7, -6}, {7, 6}};
    for (int i = 0; i < 5; ++i) part.pads.push_back(through(number(i + 1), at[i], 2.4, 1.3));
    const Box box = centred(l, w);
    part.bodies = {block(box, Look::plastic, 0, 15, 0.4)};
    part.bodies[0].colour = random.pick({0x2060C0U, 0x181818U, 0xD8D8D0U});
    part.print.push_back(outline_of(box, kPrintLine));
    finish(part, box, 0.3);
    return part;
}

Footprint toroid(Random& random) {
    Footprint part;
    part.kind = "inductor";
    part.letter = "L";
    part.role = Footprint::Role::power;
    part.values = {"100u", "220u"};
    const double d = random.uniform(8, 16);
    part.pads = {through("1", {-d / 2 + 0.8, 0}, 2.2, 1.1), through("2", {d / 2 - 0.8, 0}, 2.2, 1.1)};
    Body body = standing({0, 0}, d, Look::ferrite, 0.2, random.uniform(6, 10));
    part.bodies = {body};
    std::vector<Point> ring;
    for (int i = 0; i <= 32; ++i) ring.push_back(turned({d / 2 + 0.2, 0}, i * 11.25));
    part.print.push_back(stroke(ring, kPrintLine));
    finish(part, centred(d, d), 0.3);
    return part;
}

Footprint resistor_network(Random& random, int pins) {
    Footprint part;
    part.kind = "sip";
    part.letter = "RN";
    part.values = {"8x10k", "4x4k7"};
    for (int i = 0; i < pins; ++i)
        part.pads.push_back(through(number(i + 1), {2.54 * (i - (pins - 1) / 2.0), 0},
                                    random.uniform(1.5, 1.5), 0.8,
                                    i == 0 ? PadShape::rectangle : PadShape::circle));
    const Box box = centred(2.54 * pins, 2.3);
    part.bodies = {block(box, random.chance(0.5) ? Look::moulded : Look::dipped, 0.8, 5.5, 0.2)};
    part.bodies[0].colour = any_colour(random);
    part.print.push_back(outline_of(box, kPrintLine));
    finish(part, box, 0.3);
    return part;
}

Footprint chip_part(Random& random, double length_mm, double width_mm) {
    Footprint part;
    const bool resistor = random.chance(0.5);
    part.kind = "smd_chip";
    part.letter = resistor ? "R" : "C";
    part.role = resistor ? Footprint::Role::passive : Footprint::Role::decoupling;
    part.values = resistor ? std::vector<std::string>{"10k", "4k7", "100R", "1k", "22k", "0R"}
                           : std::vector<std::string>{"100n", "1u", "10n", "22p", "4u7"};
    const double pad_length = length_mm * random.uniform(0.38, 0.6);
    const double at = length_mm / 2 - pad_length * 0.12;
    const Size size{pad_length, width_mm * random.uniform(1.0, 1.2)};
    const PadShape shape = random.chance(0.6) ? PadShape::rounded_rectangle : PadShape::rectangle;
    part.pads = {surface("1", {-at, 0}, size, shape), surface("2", {at, 0}, size, shape)};
    const Box box = centred(length_mm, width_mm);
    const double high = resistor ? 0.5 : width_mm * random.uniform(0.5, 1.0);
    part.bodies.push_back(block(box, Look::end_cap, 0, high, 0.05));
    part.bodies.push_back(block(centred(length_mm * 0.62, width_mm),
                                resistor ? Look::chip_resistor : Look::ceramic_chip, 0, high + 0.02, 0.02));
    part.bodies.back().colour = any_colour(random);
    if (random.chance(0.7)) {
        const double y = size.height / 2 + 0.25;
        part.print.push_back(stroke({{-length_mm / 4, -y}, {length_mm / 4, -y}}, 0.12));
        part.print.push_back(stroke({{-length_mm / 4, y}, {length_mm / 4, y}}, 0.12));
    }
    finish(part, box, 0.25);
    return part;
}

Footprint small_outline(Random& random, int pins, double pitch_mm, double body_width_mm) {
    Footprint part;
    part.kind = "smd_ic";
    part.letter = "U";
    part.role = Footprint::Role::chip;
    part.values = {"LN358", "K7414", "HT595", "MX485"};
    const int half = pins / 2;
    const double reach = body_width_mm / 2 + 0.75;
    const Size size{random.uniform(1.4, 1.7), pitch_mm * random.uniform(0.45, 0.58)};
    const PadShape shape = random.chance(0.5) ? PadShape::rounded_rectangle : PadShape::rectangle;
    for (int i = 0; i < pins; ++i) {
        const bool left = i < half;
        const int row = left ? i : pins - 1 - i;
        const Point at{left ? -reach : reach, pitch_mm * (row - (half - 1) / 2.0)};
        part.pads.push_back(surface(number(i + 1), at, size, shape));
        const double inner = left ? body_width_mm / 2 - reach : reach - body_width_mm / 2;
        const Point tip{at.x + (left ? -0.35 : 0.35), at.y};
        (void)inner;
        const double w = pitch_mm * 0.17;
        part.bodies.push_back(
            block({{std::min(tip.x, left ? -body_width_mm / 2 : body_width_mm / 2), at.y - w},
                   {std::max(tip.x, left ? -body_width_mm / 2 : body_width_mm / 2), at.y + w}},
                  Look::tinned_lead, 0, 0.5, 0.02));
    }
    const Box box = centred(body_width_mm, pitch_mm * (half - 1) + 1.1);
    part.bodies.push_back(block(box, Look::moulded, 0.1, 1.6, 0.1));
    part.print.push_back(stroke({{box.low.x, box.low.y - 0.15}, {box.high.x, box.low.y - 0.15}}, 0.15));
    part.print.push_back(stroke({{box.low.x, box.high.y + 0.15}, {box.high.x, box.high.y + 0.15}}, 0.15));
    part.print.push_back(disc({box.low.x - 0.5, box.low.y - 0.4}, 0.2));
    finish(part, box, 0.3);
    return part;
}

Footprint sot23(Random& random) {
    Footprint part;
    part.kind = "smd_ic";
    part.letter = random.chance(0.7) ? "Q" : "D";
    part.values = {"1AM", "2P", "J3", "A7"};
    const Size size{random.uniform(0.9, 1.1), random.uniform(0.65, 0.95)};
    part.pads = {surface("1", {-1.05, -0.95}, size, PadShape::rectangle),
                 surface("2", {-1.05, 0.95}, size, PadShape::rectangle),
                 surface("3", {1.05, 0}, size, PadShape::rectangle)};
    for (const FootprintPad& pad : part.pads)
        part.bodies.push_back(block({{pad.at.x - 0.45, pad.at.y - 0.2}, {pad.at.x + 0.45, pad.at.y + 0.2}},
                                    Look::tinned_lead, 0, 0.3, 0.02));
    const Box box = centred(1.35, 2.95);
    part.bodies.push_back(block(box, Look::moulded, 0.05, 1.0, 0.05));
    finish(part, box, 0.25);
    return part;
}

Footprint quad_flat(Random& random, int pins_a_side, double pitch_mm) {
    Footprint part;
    part.kind = "smd_ic";
    part.letter = "U";
    part.role = Footprint::Role::chip;
    part.values = {"QM32F4", "TZ8051", "KV2040"};
    const double body = pitch_mm * (pins_a_side - 1) + random.uniform(1.8, 3.0);
    const double reach = body / 2 + 0.7;
    const double width = pitch_mm * random.uniform(0.5, 0.58);
    const double length = random.uniform(1.3, 1.6);
    int pin = 1;
    for (int side = 0; side < 4; ++side) {
        for (int i = 0; i < pins_a_side; ++i, ++pin) {
            const double along = pitch_mm * (i - (pins_a_side - 1) / 2.0);
            const Point at = turned({-reach, along}, 90.0 * side);
            const bool upright = side % 2 == 1;
            part.pads.push_back(surface(number(pin), at, upright ? Size{width, length} : Size{length, width},
                                        PadShape::rectangle));
            Point a = turned({-reach - 0.3, along - pitch_mm * 0.2}, 90.0 * side);
            Point b = turned({-body / 2, along + pitch_mm * 0.2}, 90.0 * side);
            part.bodies.push_back(
                block({{std::min(a.x, b.x), std::min(a.y, b.y)}, {std::max(a.x, b.x), std::max(a.y, b.y)}},
                      Look::tinned_lead, 0, 0.35, 0.02));
        }
    }
    const Box box = centred(body, body);
    part.bodies.push_back(block(box, Look::moulded, 0.1, 1.5, 0.3));
    const double c = body / 2 + 0.1;
    part.print.push_back(stroke({{-c, -c + 0.8}, {-c + 0.8, -c}}, 0.15));
    for (const double sx : {-1.0, 1.0})
        for (const double sy : {-1.0, 1.0})
            if (sx > 0 || sy > 0)
                part.print.push_back(
                    stroke({{sx * (c - 0.6), sy * c}, {sx * c, sy * c}, {sx * c, sy * (c - 0.6)}}, 0.15));
    finish(part, box, 0.6);
    return part;
}

Footprint surface_can(Random& random, double diameter_mm) {
    Footprint part;
    part.kind = "electrolytic";
    part.letter = "C";
    part.role = Footprint::Role::decoupling;
    part.values = {"47u 25V", "100u 16V", "220u 10V"};
    const double base = diameter_mm + 0.3;
    const double reach = base / 2 - 0.6;
    const Size size{diameter_mm * 0.45, 1.6};
    part.pads = {surface("1", {-reach, 0}, size, PadShape::rectangle),
                 surface("2", {reach, 0}, size, PadShape::rectangle)};
    const double height = random.uniform(5.4, 10);
    part.bodies = {block(centred(base, base), Look::plastic, 0, 0.8, 0.3),
                   standing({0, 0}, diameter_mm, Look::can_top, 0.8, height)};
    part.bodies[0].colour = 0x101010U;
    part.print.push_back(outline_of(centred(base + 0.3, base + 0.3), 0.15));
    finish(part, centred(base, base), 0.3);
    return part;
}

Footprint power_surface(Random& random) {
    Footprint part;
    part.kind = "smd_ic";
    part.letter = "Q";
    part.role = Footprint::Role::power;
    part.values = {"FDD10", "78M05"};
    part.pads = {surface("1", {-2.28, 4.2}, {1.4, 2.6}, PadShape::rectangle),
                 surface("3", {2.28, 4.2}, {1.4, 2.6}, PadShape::rectangle),
                 surface("2", {0, -2.6}, {6.4, random.uniform(5.5, 6.5)}, PadShape::rectangle)};
    for (const double x : {-2.28, 2.28})
        part.bodies.push_back(block({{x - 0.4, 2.4}, {x + 0.4, 5.0}}, Look::tinned_lead, 0, 0.6, 0.02));
    part.bodies.push_back(block({{-2.7, -5.4}, {2.7, -3.4}}, Look::heat_tab, 0, 0.6, 0.05));
    const Box box{{-3.3, -3.6}, {3.3, 2.5}};
    part.bodies.push_back(block(box, Look::moulded, 0, 2.3, 0.1));
    part.print.push_back(outline_of(box, 0.15));
    finish(part, box, 0.3);
    return part;
}

Footprint mounting_hole(Random& random, double drill_mm) {
    Footprint part;
    part.kind = "none";
    part.letter = "H";
    part.role = Footprint::Role::mechanical;
    const bool plated = random.chance(0.6);
    FootprintPad pad =
        through("1", {0, 0}, plated ? drill_mm * random.uniform(1.6, 2.1) : drill_mm + 0.6, drill_mm);
    pad.plated = plated;
    part.pads = {pad};
    finish(part, centred(pad.size_mm.width, pad.size_mm.width), 0.6);
    return part;
}

Footprint test_pad(Random& random) {
    Footprint part;
    part.kind = "none";
    part.letter = "TP";
    const double d = random.uniform(1.0, 2.0);
    if (random.chance(0.5))
        part.pads = {surface("1", {0, 0}, square(d), PadShape::circle)};
    else
        part.pads = {through("1", {0, 0}, d + 0.6, 0.9)};
    finish(part, centred(d, d), 0.25);
    return part;
}

Footprint edge_fingers(Random& random, int ways, double pitch_mm) {
    Footprint part;
    part.kind = "none";
    part.letter = "P";
    part.role = Footprint::Role::connector;
    const double width = pitch_mm * random.uniform(0.55, 0.7);
    for (int i = 0; i < ways; ++i)
        part.pads.push_back(surface(number(i + 1), {pitch_mm * (i - (ways - 1) / 2.0), 0}, {width, 7.0},
                                    PadShape::rectangle));
    finish(part, centred(pitch_mm * ways, 7), 0.3);
    return part;
}

}  // namespace eyelet::synthetic
