#include "eyelet/synthetic/placing.h"

#include <algorithm>
#include <cmath>

#include "eyelet/synthetic/stroke_font.h"

namespace eyelet::synthetic {
namespace {

Point placed(Point p, const Placer::Place& place) {
    if (place.side == Side::solder) p.x = -p.x;
    return place.at + turned(p, place.degrees);
}

bool goes_through(const Footprint& part) {
    return std::any_of(part.pads.begin(), part.pads.end(),
                       [](const FootprintPad& pad) { return pad.drill_mm.has_value(); });
}

double snapped(double value, double grid) {
    return std::round(value / grid) * grid;
}

}  // namespace

Box Placer::placed_box(const Box& box, const Place& place) {
    const Point a = placed(box.low, place);
    const Point b = placed(box.high, place);
    return {{std::min(a.x, b.x), std::min(a.y, b.y)}, {std::max(a.x, b.x), std::max(a.y, b.y)}};
}

bool Placer::fits(const Footprint& part, const Place& place) const {
    const Box box = placed_box(part.courtyard, place);
    const Size board = layout_.assembly.boards[0].size_mm;
    if (box.low.x < 0.8 || box.low.y < 0.8 || box.high.x > board.width - 0.8 ||
        box.high.y > board.height - 0.8)
        return false;
    const bool through = goes_through(part);
    return std::none_of(taken_.begin(), taken_.end(), [&](const Taken& taken) {
        const bool same = through || (place.side == Side::component ? taken.component : taken.solder);
        return same && overlap(taken.box, box);
    });
}

PartIndex Placer::put(const Footprint& part, const Place& place, std::string reference, std::string value) {
    Assembly& assembly = layout_.assembly;
    if (reference.empty()) reference = part.letter + std::to_string(++counts_[part.letter]);
    const PartIndex index{assembly.parts.size()};
    Part made;
    made.name = PartName{reference};
    made.board = BoardIndex{0};
    made.value =
        value.empty() && !part.values.empty() ? part.values[index.raw() % part.values.size()] : value;
    made.kind = part.kind;
    made.side = place.side;
    made.body = placed_box(part.body, place);
    for (const FootprintPad& pad : part.pads) {
        Joint joint;
        joint.name = JointName{reference + "." + pad.pin};
        joint.board = BoardIndex{0};
        joint.part = index;
        joint.pin = pad.pin;
        joint.hole = joint.copper_centre = placed(pad.at, place);
        joint.sides = pad.drill_mm                    ? JointSides::both
                      : place.side == Side::component ? JointSides::component
                                                      : JointSides::solder;
        joint.plated = pad.plated;
        joint.shape = pad.shape;
        joint.pad_mm = pad.size_mm;
        joint.rotation_deg = place.degrees;
        joint.drill_mm = pad.drill_mm;
        made.joints.push_back(JointIndex{assembly.joints.size()});
        assembly.joints.push_back(joint);
        layout_.wanted_net.push_back(-1);
    }
    for (Body body : part.bodies) {
        for (Point& p : body.outline.core) p = placed(p, place);
        body.side = place.side;
        body.part = index;
        layout_.bodies.push_back(body);
    }
    for (Shape shape : part.print) {
        for (Point& p : shape.core) p = placed(p, place);
        layout_.print.push_back({shape, place.side});
    }
    assembly.parts.push_back(made);
    roles_.push_back(part.role);
    courtyards_.push_back(placed_box(part.courtyard, place));
    const bool through = goes_through(part);
    taken_.push_back({courtyards_.back(), through || place.side == Side::component,
                      through || place.side == Side::solder});
    return index;
}

bool Placer::put_somewhere(Random& random, const Footprint& part, Side side, double grid_mm, int tries) {
    const Size board = layout_.assembly.boards[0].size_mm;
    for (int i = 0; i < tries; ++i) {
        const Place place{{snapped(random.uniform(2, board.width - 2), grid_mm),
                           snapped(random.uniform(2, board.height - 2), grid_mm)},
                          90.0 * random.integer(0, 3),
                          side};
        if (fits(part, place)) {
            put(part, place);
            return true;
        }
    }
    return false;
}

void Placer::print_references(Random& random, double height_mm) {
    const Size board = layout_.assembly.boards[0].size_mm;
    const double line = std::max(0.12, height_mm * 0.15);
    for (std::size_t i = 0; i < layout_.assembly.parts.size(); ++i) {
        const Part& part = layout_.assembly.parts[i];
        if (roles_[i] == Footprint::Role::mechanical) continue;
        const auto write = [&](const std::string& text, std::size_t where) {
            const Box box = courtyards_[i];
            const double width = text_width_mm(text, height_mm);
            const Point middle = 0.5 * (box.low + box.high);
            const bool upright = where >= 2;
            Point at{middle.x - width / 2, where == 0 ? box.low.y - height_mm - 0.1 : box.high.y + 0.2};
            if (upright)
                at = {where == 2 ? box.low.x - height_mm - 0.1 : box.high.x + 0.2, middle.y + width / 2};
            if (where == 4) at = {middle.x - height_mm / 2, middle.y + width / 2};
            const Mirrored mirrored = part.side == Side::solder ? Mirrored::yes : Mirrored::no;
            if (mirrored == Mirrored::yes && !upright) at.x += width;
            if (mirrored == Mirrored::yes && upright) at.x += height_mm;
            at.x = std::clamp(at.x, 0.5, std::max(0.6, board.width - 1));
            at.y = std::clamp(at.y, 0.5, std::max(0.6, board.height - 1));
            const double degrees = !upright ? 0.0 : mirrored == Mirrored::yes ? -90.0 : 90.0;
            for (const Shape& shape : text_strokes(text, at, height_mm, line, degrees, mirrored))
                layout_.print.push_back({shape, part.side});
        };
        const Size size = part.body.size();
        const bool tall = size.height > size.width;
        const std::size_t place =
            random.weighted({tall ? 1.0 : 3.0, 1, tall ? 3.0 : 0.5, tall ? 1.0 : 0.5, 0.6});
        write(part.name.text(), place);
        if (random.chance(0.3)) {
            const std::size_t value_place = random.weighted({1, 3, 0.5, tall ? 2.0 : 0.5, 1});
            write(part.value, value_place != place ? value_place : place == 1 ? 0 : 1);
        }
    }
}

namespace {

void place_holes(Random& random, Placer& placer, Size board) {
    const double drill = random.pick({2.7, 3.2, 3.2, 4.3});
    const Footprint hole = mounting_hole(random, drill);
    const double inset = random.uniform(4.2, 6.5);
    if (random.chance(0.85))
        for (const double x : {inset, board.width - inset})
            for (const double y : {inset, board.height - inset})
                if (random.chance(0.9) && placer.fits(hole, {{x, y}, 0, Side::component}))
                    placer.put(hole, {{x, y}, 0, Side::component});
}

void place_connectors(const Recipe& recipe, Random& random, Layout& layout, Placer& placer) {
    const Size board = recipe.size_mm;
    if (recipe.theme == Theme::digital && recipe.two_layers && random.chance(0.3)) {
        const int ways = std::min(31, static_cast<int>((board.width - 14) / 2.54));
        const Footprint fingers = edge_fingers(random, ways, 2.54);
        const Point at{snapped(board.width / 2, 1.27), board.height - 4.2};
        placer.put(fingers, {at, 0, Side::component});
        placer.put(fingers, {at, 0, Side::solder});
        const Box box{{at.x - 1.27 * ways - 0.5, at.y - 3.8}, {at.x + 1.27 * ways + 0.5, board.height}};
        layout.openings[0].push_back(rectangle(box));
        layout.openings[1].push_back(rectangle(box));
    }
    const int count = random.integer(1, 4);
    for (int i = 0; i < count; ++i) {
        const int edge = random.integer(0, 3);
        const double room = (edge % 2 == 0 ? board.width : board.height) - 10;
        const bool screws = recipe.theme == Theme::power || random.chance(0.25);
        const int columns =
            std::clamp(random.integer(2, 20), 2, std::max(2, static_cast<int>(room / 2.54) - 3));
        const Footprint part = screws ? terminal_block(random, random.integer(2, 6))
                                      : pin_header(random, columns, random.integer(1, 2));
        const double inset =
            snapped(std::max(-part.courtyard.low.y, part.courtyard.high.y) + random.uniform(0.9, 1.5), 0.127);
        for (int tries = 0; tries < 12; ++tries) {
            const double along = snapped(random.uniform(8, room + 2), 1.27);
            Placer::Place place;
            place.degrees = 90.0 * edge;
            place.at = edge == 0   ? Point{along, board.height - inset}
                       : edge == 1 ? Point{board.width - inset, along}
                       : edge == 2 ? Point{along, inset}
                                   : Point{inset, along};
            if (placer.fits(part, place)) {
                placer.put(part, place);
                break;
            }
        }
    }
}

Footprint any_dip(Random& random) {
    const int pins = random.pick({8, 14, 14, 16, 16, 16, 20, 20, 24, 28, 40});
    return dip(random, pins, pins >= 24 ? random.pick({15.24, 15.24, 7.62}) : 7.62);
}

// Chips in rows or columns, as on digital boards, each with its capacitor.
void place_chip_rows(const Recipe& recipe, Random& random, Placer& placer) {
    const bool upright = random.chance(0.5);
    const double across = upright ? recipe.size_mm.width : recipe.size_mm.height;
    const double along = upright ? recipe.size_mm.height : recipe.size_mm.width;
    double row = random.uniform(8, 16);
    while (row < across - 8) {
        double at = random.uniform(4, 14);
        while (at < along - 6) {
            const Footprint chip = any_dip(random);
            const double length = chip.courtyard.size().height;
            Placer::Place place;
            const double centre = snapped(at + length / 2, 1.27);
            place.at = upright ? Point{snapped(row, 1.27), centre} : Point{centre, snapped(row, 1.27)};
            place.degrees = (upright ? 0.0 : 90.0) + (random.chance(0.5) ? 180.0 : 0.0);
            if (random.chance(recipe.fullness) && placer.fits(chip, place)) {
                placer.put(chip, place);
                if (random.chance(0.7)) {
                    const Footprint capacitor = disc_capacitor(random);
                    Placer::Place beside = place;
                    const double d = snapped(length / 2 + 2.2, 0.635);
                    beside.at = upright ? Point{place.at.x, centre - d} : Point{centre - d, place.at.y};
                    beside.degrees = upright ? 0.0 : 90.0;
                    if (placer.fits(capacitor, beside)) placer.put(capacitor, beside);
                }
            }
            at += length + random.uniform(3.5, 9);
        }
        row += random.pick({12.7, 15.24, 17.78, 22.86, 25.4});
    }
}

Footprint any_leaded(const Recipe& recipe, Random& random) {
    const bool power = recipe.theme == Theme::power;
    switch (random.weighted({9, 3, power ? 3.0 : 1.5, 4, 2, 3, power ? 3.0 : 0.5, 1, 0.5, 1,
                             power ? 1.0 : 0.2, power ? 1.0 : 0.2, 0.7, 0.6})) {
        case 0:
            return axial_resistor(random);
        case 1:
            return axial_diode(random);
        case 2:
            return radial_can(random, random.pick({5.0, 6.3, 8.0, 10.0, 12.5, 16.0}));
        case 3:
            return disc_capacitor(random);
        case 4:
            return box_capacitor(random);
        case 5:
            return to92(random);
        case 6:
            return to220(random);
        case 7:
            return trimmer(random);
        case 8:
            return crystal(random);
        case 9:
            return light(random);
        case 10:
            return relay(random);
        case 11:
            return toroid(random);
        case 12:
            return resistor_network(random, random.integer(4, 10));
        default:
            return test_pad(random);
    }
}

Footprint any_surface(const Recipe& recipe, Random& random) {
    switch (random.weighted({14, 3, 3, 1, recipe.theme == Theme::mixed ? 1.0 : 0.4, 1})) {
        case 0: {
            const auto size = random.weighted({3, 3, 1.5});
            return size == 0   ? chip_part(random, 1.6, 0.8)
                   : size == 1 ? chip_part(random, 2.0, 1.25)
                               : chip_part(random, 3.2, 1.6);
        }
        case 1:
            return sot23(random);
        case 2: {
            const int pins = random.pick({8, 8, 14, 16, 20, 28});
            return pins >= 20
                       ? small_outline(random, pins, random.pick({0.65, 1.27}), random.pick({4.4, 7.5}))
                       : small_outline(random, pins, 1.27, 3.9);
        }
        case 3:
            return surface_can(random, random.pick({4.0, 5.0, 6.3, 8.0}));
        case 4:
            return power_surface(random);
        default:
            return test_pad(random);
    }
}

}  // namespace

void place_parts(const Recipe& recipe, Random& random, Layout& layout, Placer& placer) {
    const Size board = recipe.size_mm;
    const double area = board.width * board.height;
    place_holes(random, placer, board);
    place_connectors(recipe, random, layout, placer);
    const bool leaded =
        recipe.theme == Theme::digital || recipe.theme == Theme::analogue || recipe.theme == Theme::power;
    if (recipe.theme == Theme::digital) place_chip_rows(recipe, random, placer);
    if (recipe.theme == Theme::surface || recipe.theme == Theme::mixed) {
        const int chips = random.integer(0, 1 + static_cast<int>(area / 4000));
        for (int i = 0; i < chips; ++i) {
            const double pitch = random.pick({0.5, 0.5, 0.65, 0.8, 0.8});
            placer.put_somewhere(random, quad_flat(random, random.pick({8, 11, 12, 16, 20, 25}), pitch),
                                 Side::component, 0.635, 30);
        }
    }
    if (recipe.theme == Theme::analogue || recipe.theme == Theme::mixed) {
        const int chips = random.integer(1, 2 + static_cast<int>(area / 2500));
        for (int i = 0; i < chips; ++i)
            placer.put_somewhere(random, dip(random, random.pick({8, 8, 14, 16}), 7.62), Side::component,
                                 1.27, 20);
    }
    const int wanted = static_cast<int>(recipe.fullness * area * (leaded ? 0.012 : 0.03));
    const double solder_share =
        !leaded && recipe.two_layers && random.chance(0.25) ? random.uniform(0.1, 0.5) : 0.0;
    for (int i = 0; i < wanted; ++i) {
        const bool surface =
            !leaded && (recipe.theme == Theme::surface ? random.chance(0.93) : random.chance(0.6));
        if (surface)
            placer.put_somewhere(random, any_surface(recipe, random),
                                 random.chance(solder_share) ? Side::solder : Side::component, 0.254, 12);
        else
            placer.put_somewhere(random, any_leaded(recipe, random), Side::component,
                                 random.pick({0.635, 1.27}), 12);
    }
}

}  // namespace eyelet::synthetic
