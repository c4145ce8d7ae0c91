#include "eyelet/synthetic/canvas.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "eyelet/synthetic/bands.h"
#include "eyelet/synthetic/stroke_font.h"

namespace eyelet::synthetic {
namespace {

Colour mix(Colour a, Colour b, float t) {
    return {a.red + t * (b.red - a.red), a.green + t * (b.green - a.green), a.blue + t * (b.blue - a.blue)};
}
Colour scaled(Colour a, float k) {
    return {a.red * k, a.green * k, a.blue * k};
}
Colour raised(Colour a, float k) {
    return {a.red + k, a.green + k, a.blue + k};
}
Colour from_number(std::uint32_t rgb) {
    return {static_cast<float>(rgb >> 16 & 0xFFU) / 255, static_cast<float>(rgb >> 8 & 0xFFU) / 255,
            static_cast<float>(rgb & 0xFFU) / 255};
}

std::uint8_t byte(float value) {
    return static_cast<std::uint8_t>(std::clamp(value, 0.0F, 1.0F) * 255.0F + 0.5F);
}

Colour finish_colour(Finish finish) {
    switch (finish) {
        case Finish::gilt:
            return {0.83F, 0.68F, 0.32F};
        case Finish::bare_copper:
            return {0.80F, 0.50F, 0.33F};
        default:
            return {0.72F, 0.73F, 0.73F};
    }
}

// Pick from a list by a body's own number, so that a part keeps its colour.
Colour one_of(const std::vector<std::uint32_t>& list, std::uint32_t number) {
    return from_number(list[number % list.size()]);
}

Colour body_colour(const Body& body) {
    switch (body.look) {
        case Look::ceramic_chip:
            return one_of({0xB08A5C, 0x9C7B58, 0xC0A070, 0x8A8078}, body.colour);
        case Look::chip_resistor:
            return {0.09F, 0.09F, 0.10F};
        case Look::end_cap:
            return {0.75F, 0.75F, 0.74F};
        case Look::can_top:
            return {0.78F, 0.79F, 0.80F};
        case Look::can_sleeve:
            return one_of({0x1A1A1E, 0x1B2A5A, 0x2A2060, 0x123A2A, 0x3A2A22}, body.colour);
        case Look::axial_body:
            return one_of({0xC9A26B, 0x6FA8C8, 0x5F9A8A, 0xB98A5A, 0xD0B080}, body.colour >> 12U);
        case Look::glass:
            return {0.78F, 0.40F, 0.20F};
        case Look::dipped:
            return one_of({0xE0902A, 0xD8C060, 0x2A60B0, 0xC05A28, 0xB03028, 0xE8E4D8}, body.colour);
        case Look::plastic:
            return body.colour == 0 ? Colour{0.07F, 0.07F, 0.08F} : from_number(body.colour);
        case Look::tinned_lead:
            return {0.70F, 0.70F, 0.70F};
        case Look::gilt_pin:
            return {0.85F, 0.70F, 0.35F};
        case Look::lens:
            return from_number(body.colour);
        case Look::heat_tab:
            return {0.66F, 0.66F, 0.67F};
        case Look::ferrite:
            return {0.20F, 0.18F, 0.18F};
        case Look::crystal_can:
            return {0.76F, 0.76F, 0.77F};
        default:
            return {0.10F, 0.10F, 0.11F};
    }
}

bool is_metal(Look look) {
    return look == Look::end_cap || look == Look::can_top || look == Look::tinned_lead ||
           look == Look::gilt_pin || look == Look::heat_tab || look == Look::crystal_can;
}

constexpr std::uint32_t kBands[10]{0x101010, 0x6A3A1A, 0xC02020, 0xE07020, 0xE8D030,
                                   0x208040, 0x2040B0, 0x8040A0, 0x808080, 0xF0F0F0};

// Number of the uppermost body at each pixel, from 1; 0 none.
std::vector<std::uint16_t> uppermost(const Layout& layout, const Layers& layers, Side side) {
    const Plane& kind = layers.of(side, Layer::part_kind);
    const Plane& height = layers.of(side, Layer::part_height);
    std::vector<std::uint16_t> top(kind.pixels.size(), 0);
    for (std::size_t b = 0; b < layout.bodies.size(); ++b) {
        const Body& body = layout.bodies[b];
        if (body.side != side) continue;
        const Box box = bounds(body.outline);
        const int left = std::max(0, static_cast<int>(box.low.x * layers.px_per_mm));
        const int right = std::min(kind.width - 1, static_cast<int>(box.high.x * layers.px_per_mm) + 1);
        const int first = std::max(0, static_cast<int>(box.low.y * layers.px_per_mm));
        const int last = std::min(kind.height - 1, static_cast<int>(box.high.y * layers.px_per_mm) + 1);
        for (int row = first; row <= last; ++row)
            for (int column = left; column <= right; ++column) {
                if (kind.at(column, row) != static_cast<std::uint8_t>(body.look)) continue;
                if (static_cast<double>(height.at(column, row)) > 10 * body.high_mm + 1) continue;
                if (signed_distance_mm(body.outline, {(column + 0.5) / layers.px_per_mm,
                                                      (row + 0.5) / layers.px_per_mm}) > 0)
                    continue;
                top[static_cast<std::size_t>(row) * static_cast<std::size_t>(kind.width) +
                    static_cast<std::size_t>(column)] = static_cast<std::uint16_t>(b + 1);
            }
    }
    return top;
}

// What is printed on the bodies themselves.
Plane markings(const Layout& layout, const Layers& layers, Side side) {
    Plane plane;
    plane.width = layers.of(side, Layer::copper).width;
    plane.height = layers.of(side, Layer::copper).height;
    plane.pixels.assign(layers.of(side, Layer::copper).pixels.size(), 0);
    for (const Part& part : layout.assembly.parts) {
        if (part.side != side || part.value.empty()) continue;
        if (part.kind != "dip" && part.kind != "smd_ic" && part.kind != "relay" && part.kind != "crystal" &&
            part.kind != "box_cap")
            continue;
        const Size size = part.body.size();
        const bool upright = size.height > size.width;
        const double along = std::max(size.width, size.height);
        const double across = std::min(size.width, size.height);
        const double height =
            std::min(across * 0.3, along * 0.8 / std::max(0.1, text_width_mm(part.value, 1)));
        if (height < 0.35) continue;
        const Point middle = 0.5 * (part.body.low + part.body.high);
        const double half = text_width_mm(part.value, height) / 2;
        const double turn = upright ? 90 : 0;
        const double sign = side == Side::component ? 1.0 : -1.0;
        const Point start = middle + turned({-sign * half, -height / 2}, turn);
        for (const Shape& shape : text_strokes(part.value, start, height, height * 0.12, turn,
                                               side == Side::component ? Mirrored::no : Mirrored::yes))
            draw(shape, layers.px_per_mm, plane);
    }
    return plane;
}

// From the nearest point of an open core to p.
Point from_core(const Shape& shape, Point p) {
    Point best = p - shape.core[0];
    for (std::size_t i = 1; i < shape.core.size(); ++i) {
        const Point a = shape.core[i - 1];
        const Point ab = shape.core[i] - a;
        const double l2 = dot(ab, ab);
        const Point d = p - (a + (l2 > 0 ? std::clamp(dot(p - a, ab) / l2, 0.0, 1.0) : 0.0) * ab);
        if (length(d) < length(best)) best = d;
    }
    return best;
}

// The look of one point on top of a body.
Colour on_body(const Body& body, Point p, float slope_light, double marking) {
    Colour colour = body_colour(body);
    const auto& core = body.outline.core;
    if (body.look == Look::axial_body && core.size() == 2) {
        const double run = std::max(0.1, distance(core[0], core[1]));
        const double t = dot(p - core[0], core[1] - core[0]) / (run * run);
        for (int band = 0; band < 4; ++band) {
            const double at = band < 3 ? 0.1 + 0.22 * band : 0.9;
            if (std::abs(t - at) * run < std::max(0.3, run * 0.06))
                colour = band < 3 ? from_number(kBands[(body.colour >> (4 * band) & 0xFU) % 10])
                                  : Colour{0.72F, 0.58F, 0.25F};
        }
    }
    if ((body.look == Look::glass || (body.look == Look::moulded && core.size() == 2)) && core.size() == 2) {
        const double run = std::max(0.1, distance(core[0], core[1]));
        const double t = dot(p - core[0], core[1] - core[0]) / run;
        if (t > -0.1 && t < 0.55)
            colour = body.look == Look::glass ? Colour{0.08F, 0.08F, 0.08F} : Colour{0.75F, 0.75F, 0.75F};
    }
    if (body.look == Look::can_top && core.size() == 1) {
        const Point d = p - core[0];
        const double r = body.outline.radius_mm;
        if (std::min(std::abs(d.x + d.y), std::abs(d.x - d.y)) < 0.1 * 1.4 && length(d) < 0.7 * r)
            colour = scaled(colour, 0.72F);
        if (length(d) > 0.86 * r) colour = scaled(colour, 0.85F);
    }
    if (body.look == Look::ferrite && core.size() == 1) {
        const Point d = p - core[0];
        const double r = body.outline.radius_mm;
        const double angle = std::atan2(d.y, d.x);
        if (length(d) < 0.38 * r)
            colour = {0.05F, 0.05F, 0.05F};
        else if (std::fmod(std::abs(angle) * 14, 2.0) < 1.35)
            colour = {0.66F, 0.36F, 0.18F};
    }
    if (marking > 0 && (body.look == Look::moulded || body.look == Look::plastic ||
                        body.look == Look::dipped || body.look == Look::crystal_can))
        colour = mix(colour, is_metal(body.look) ? Colour{0.25F, 0.25F, 0.25F} : Colour{0.62F, 0.62F, 0.62F},
                     0.75F * static_cast<float>(marking));
    const float gloss = is_metal(body.look)                                   ? 0.55F
                        : body.look == Look::lens || body.look == Look::glass ? 0.5F
                                                                              : 0.22F;
    return raised(scaled(colour, 1 + 0.6F * slope_light), gloss * std::max(0.0F, slope_light) * 0.5F);
}

}  // namespace

double soft_noise(double x, double y, std::uint64_t seed) {
    const double fx = std::floor(x);
    const double fy = std::floor(y);
    const auto ix = static_cast<int>(fx);
    const auto iy = static_cast<int>(fy);
    const double u = x - fx;
    const double v = y - fy;
    const double su = u * u * (3 - 2 * u);
    const double sv = v * v * (3 - 2 * v);
    const double top = grain(ix, iy, seed) * (1 - su) + grain(ix + 1, iy, seed) * su;
    const double bottom = grain(ix, iy + 1, seed) * (1 - su) + grain(ix + 1, iy + 1, seed) * su;
    return top * (1 - sv) + bottom * sv;
}

Canvas compose(const Layout& layout, const Layers& layers, const Paint& paint, Side side) {
    const Plane& copper = layers.of(side, Layer::copper);
    const Plane& behind = layers.of(other(side), Layer::copper);
    const Plane& open = layers.of(side, Layer::mask_open);
    const Plane& print = layers.of(side, Layer::print);
    const Plane& hole = layers.of(side, Layer::hole);
    const Plane& solder = layers.of(side, Layer::solder);
    const Plane& pad = layers.of(side, Layer::pad);
    const Plane& part_height = layers.of(side, Layer::part_height);
    const bool populated = paint.fitted == Fitted::populated;
    const double scale = layers.px_per_mm;

    Canvas canvas;
    canvas.px_per_mm = scale;
    canvas.width = copper.width;
    canvas.height = copper.height;
    canvas.rgb.resize(copper.pixels.size() * 3);
    canvas.height_100um.assign(copper.pixels.size(), 0);
    canvas.drilled.assign(copper.pixels.size(), 0);
    if (populated) canvas.height_100um = part_height.pixels;
    const std::vector<std::uint16_t> top =
        populated ? uppermost(layout, layers, side) : std::vector<std::uint16_t>{};
    const Plane marking = populated ? markings(layout, layers, side) : Plane{};

    const double angle = paint.light_from_deg * std::numbers::pi / 180;
    const auto light_x = static_cast<float>(std::cos(angle));
    const auto light_y = static_cast<float>(-std::sin(angle));
    const int reach = std::max(1, static_cast<int>(std::lround(0.05 * scale)));  // copper edges are this soft
    const Colour metal = finish_colour(paint.finish);

    in_bands(canvas.height, [&](int first, int last) {
        for (int row = first; row < last; ++row) {
            for (int column = 0; column < canvas.width; ++column) {
                const std::size_t at =
                    static_cast<std::size_t>(row) * static_cast<std::size_t>(canvas.width) +
                    static_cast<std::size_t>(column);
                const Point p{(column + 0.5) / scale, (row + 0.5) / scale};
                // Brightness that a surface gains where it slopes towards the lamp.
                const auto slope = [&](const Plane& plane, int d) {
                    const int l = std::max(0, column - d);
                    const int r = std::min(canvas.width - 1, column + d);
                    const int u = std::max(0, row - d);
                    const int b = std::min(canvas.height - 1, row + d);
                    const float dx =
                        static_cast<float>(plane.at(l, row)) - static_cast<float>(plane.at(r, row));
                    const float dy =
                        static_cast<float>(plane.at(column, u)) - static_cast<float>(plane.at(column, b));
                    return (dx * light_x + dy * light_y) / 255.0F;
                };
                const float c = static_cast<float>(copper.pixels[at]) / 255;
                const float o = static_cast<float>(open.pixels[at]) / 255;
                const float fine = static_cast<float>(grain(column, row, paint.seed)) - 0.5F;
                const float uneven = static_cast<float>(soft_noise(p.x / 9, p.y / 9, paint.seed + 1)) - 0.5F;

                Colour colour = mix(paint.mask_over_laminate, paint.mask_over_copper, c);
                colour = scaled(colour, 1 + 0.05F * uneven + 0.03F * fine -
                                            static_cast<float>(paint.ghost) *
                                                static_cast<float>(behind.pixels[at]) / 255 * (1 - c));
                colour = raised(colour, static_cast<float>(paint.relief) * slope(copper, reach));
                if (o > 0) {
                    const float tarnish =
                        static_cast<float>(soft_noise(p.x * 2, p.y * 2, paint.seed + 2)) - 0.5F;
                    const Colour bare =
                        scaled(mix(paint.laminate, metal, c),
                               1 + 0.14F * tarnish + 0.04F * fine +
                                   2.5F * static_cast<float>(paint.relief) * slope(copper, reach));
                    colour = mix(colour, bare, o);
                }
                if (print.pixels[at] > 0)
                    colour = mix(colour,
                                 raised(paint.print, 0.05F * fine + 0.5F * static_cast<float>(paint.relief) *
                                                                        slope(copper, reach)),
                                 0.93F * static_cast<float>(print.pixels[at]) / 255);
                const float h = static_cast<float>(hole.pixels[at]) / 255;
                const bool soldered = populated && solder.pixels[at] > 2;
                if (h > 0 && !soldered) {
                    const bool tented = o < 0.5F && pad.pixels[at] > 128;
                    // A covered via shows a dimple; an open hole goes through to the dark.
                    colour = tented
                                 ? mix(colour, raised(scaled(colour, 0.72F), 0.12F * slope(hole, reach)), h)
                                 : mix(colour,
                                       raised({0.05F, 0.05F, 0.05F},
                                              0.25F * std::max(0.0F, slope(hole, 2 * reach))),
                                       h);
                    if (!tented) canvas.drilled[at] = hole.pixels[at];
                }
                if (soldered) {
                    const float tilt = 2.55F * slope(solder, reach) /
                                       (2 * static_cast<float>(reach) / static_cast<float>(scale));
                    const float facing = tilt / std::sqrt(1 + tilt * tilt);
                    const float glint = std::exp(-60.0F * (facing - 0.45F) * (facing - 0.45F));
                    const float dull =
                        static_cast<float>(soft_noise(p.x * 3, p.y * 3, paint.seed + 3)) - 0.5F;
                    Colour metal_here = scaled({0.60F, 0.60F, 0.61F}, 1 + 0.55F * facing + 0.12F * dull);
                    if (h > 0.5F && solder.pixels[at] > 85)
                        metal_here = raised(metal_here, 0.12F);  // the lead's end
                    colour = mix(colour, raised(metal_here, 0.35F * glint),
                                 std::min(1.0F, static_cast<float>(solder.pixels[at]) / 8));
                }
                for (const Stain& stain : paint.stains) {
                    if (stain.side != side) continue;
                    const double off = distance(p, stain.centre) / stain.radius_mm;
                    if (off > 1.3) continue;
                    const double ragged = off +
                                          0.5 * (soft_noise(p.x / 2.3, p.y / 2.3, paint.seed + 5) - 0.5) +
                                          0.2 * (soft_noise(p.x * 2, p.y * 2, paint.seed + 6) - 0.5);
                    const auto wet =
                        static_cast<float>(std::clamp((1.0 - ragged) * 5, 0.0, 1.0) * stain.strength);
                    const auto rim = static_cast<float>(std::exp(-80 * (ragged - 0.95) * (ragged - 0.95)) *
                                                        stain.strength);
                    const auto crust = static_cast<float>(
                        std::clamp(6 * (soft_noise(p.x * 1.3, p.y * 1.3, paint.seed + 7) - 0.62), 0.0, 1.0));
                    colour = mix(colour, {0.24F, 0.19F, 0.08F}, 0.55F * wet);
                    colour = mix(colour, {0.16F, 0.11F, 0.04F}, 0.6F * rim);
                    colour = mix(colour, {0.62F, 0.60F, 0.45F}, 0.5F * wet * crust);
                }
                if (populated && top[at] > 0) {
                    const Body& body = layout.bodies[top[at] - std::size_t{1}];
                    float facing = 0;
                    if (body.top == Body::Top::round) {
                        // From the figure itself: the heights' steps of 0.1 mm would show as terraces.
                        const Point out = from_core(body.outline, p);
                        const double reach_mm = std::max(0.1, body.outline.radius_mm);
                        facing = static_cast<float>(1.3 / reach_mm) *
                                 (static_cast<float>(out.x) * light_x + static_cast<float>(out.y) * light_y);
                    } else {
                        // Edges of flat tops are a little rounded.
                        const int d = std::max(1, static_cast<int>(0.12 * scale));
                        facing = std::clamp(slope(part_height, d) * 25.5F /
                                                (2 * static_cast<float>(d) / static_cast<float>(scale)),
                                            -0.35F, 0.35F);
                    }
                    colour =
                        raised(on_body(body, p, 0.7F * facing, static_cast<double>(marking.pixels[at]) / 255),
                               0.02F * fine);
                    for (const Stain& stain : paint.stains)
                        if (stain.side == side && body.look == Look::can_top &&
                            distance(p, stain.centre) <
                                0.45 * body.outline.radius_mm * (0.7 + soft_noise(p.x, p.y, paint.seed + 8)))
                            colour =
                                mix(colour, {0.42F, 0.28F, 0.12F}, static_cast<float>(stain.strength) * 0.8F);
                }
                canvas.rgb[3 * at] = byte(colour.red);
                canvas.rgb[3 * at + 1] = byte(colour.green);
                canvas.rgb[3 * at + 2] = byte(colour.blue);
            }
        }
    });
    return canvas;
}

}  // namespace eyelet::synthetic
