#include "eyelet/synthetic/layers.h"

#include <algorithm>
#include <cmath>

namespace eyelet::synthetic {
namespace {

std::uint8_t byte(double value) {
    return static_cast<std::uint8_t>(std::clamp(value, 0.0, 255.0) + 0.5);
}

// Calls visit(column, row, signed distance) for each pixel that the figure may touch.
template <class Visit>
void each_pixel(const Shape& shape, double px_per_mm, int width, int height, Visit visit) {
    const auto scan = [&](const Shape& piece) {
        const Box box = grown(bounds(piece), 1 / px_per_mm);
        const int left = std::max(0, static_cast<int>(box.low.x * px_per_mm));
        const int right = std::min(width - 1, static_cast<int>(box.high.x * px_per_mm));
        const int top = std::max(0, static_cast<int>(box.low.y * px_per_mm));
        const int bottom = std::min(height - 1, static_cast<int>(box.high.y * px_per_mm));
        for (int row = top; row <= bottom; ++row)
            for (int column = left; column <= right; ++column)
                visit(column, row,
                      signed_distance_mm(piece, {(column + 0.5) / px_per_mm, (row + 0.5) / px_per_mm}));
    };
    // Long strokes piece by piece, so that no large box is scanned for a thin line.
    if (shape.closed || shape.core.size() < 3) {
        scan(shape);
        return;
    }
    for (std::size_t i = 1; i < shape.core.size(); ++i)
        scan({{shape.core[i - 1], shape.core[i]}, false, shape.radius_mm});
}

void draw_fill(const Fill& fill, double px_per_mm, Plane& plane) {
    const int left = std::max(0, static_cast<int>(fill.origin_mm.x * px_per_mm));
    const int top = std::max(0, static_cast<int>(fill.origin_mm.y * px_per_mm));
    const int right = std::min(
        plane.width - 1, static_cast<int>((fill.origin_mm.x + fill.columns * fill.cell_mm) * px_per_mm));
    const int bottom = std::min(plane.height - 1,
                                static_cast<int>((fill.origin_mm.y + fill.rows * fill.cell_mm) * px_per_mm));
    for (int row = top; row <= bottom; ++row)
        for (int column = left; column <= right; ++column) {
            const double depth = fill.depth_at({(column + 0.5) / px_per_mm, (row + 0.5) / px_per_mm});
            std::uint8_t& pixel = plane.at(column, row);
            pixel = std::max(pixel, byte(255 * (0.5 + depth * px_per_mm)));
        }
}

// Height of solder over a pad: a fillet that falls from the lead to the pad's edge, common practice for a
// sound joint.
double solder_mm(const Joint& joint, Side side, const Part* part, double depth_mm, double radius_mm) {
    if (!part || part->kind == "none" || depth_mm <= 0 || radius_mm <= 0) return 0;
    const double t = std::min(1.0, depth_mm / radius_mm);
    if (joint.drill_mm) {
        const double high = side == part->side ? 0.35 : 1.1;
        return high * (0.25 * std::sqrt(t) + 0.75 * t * t);
    }
    return 0.28 * std::sqrt(t);
}

void draw_body(const Body& body, double px_per_mm, Plane& kind, Plane& height) {
    const double r = body.outline.radius_mm;
    each_pixel(body.outline, px_per_mm, kind.width, kind.height, [&](int column, int row, double d) {
        if (d > 0) return;
        double high = body.high_mm;
        if (body.top == Body::Top::round && r > 0) {
            const double off = std::min(r, d + r);
            high = body.low_mm + (body.high_mm - body.low_mm) *
                                     (0.5 + 0.5 * std::sqrt(std::max(0.0, 1 - off * off / (r * r))));
        }
        const std::uint8_t level = byte(std::max(1.0, 10 * high));
        if (level < height.at(column, row)) return;
        height.at(column, row) = level;
        kind.at(column, row) = static_cast<std::uint8_t>(body.look);
    });
}

}  // namespace

void draw(const Shape& shape, double px_per_mm, Plane& plane) {
    each_pixel(shape, px_per_mm, plane.width, plane.height, [&](int column, int row, double d) {
        std::uint8_t& pixel = plane.at(column, row);
        pixel = std::max(pixel, byte(255 * (0.5 - d * px_per_mm)));
    });
}

Layers draw_layers(const Layout& layout, double px_per_mm) {
    Layers layers;
    layers.px_per_mm = px_per_mm;
    const Size board = layout.assembly.boards[0].size_mm;
    const auto width = static_cast<int>(std::ceil(board.width * px_per_mm));
    const auto height = static_cast<int>(std::ceil(board.height * px_per_mm));
    for (const Side side : {Side::component, Side::solder}) {
        auto& planes = layers.planes[side == Side::component ? 0 : 1];
        for (Plane& plane : planes) {
            plane.width = width;
            plane.height = height;
            plane.pixels.assign(static_cast<std::size_t>(width) * static_cast<std::size_t>(height), 0);
        }
        const auto plane = [&](Layer layer) -> Plane& { return planes[static_cast<int>(layer)]; };
        for (const Fill& fill : layout.fills)
            if (fill.side == side) draw_fill(fill, px_per_mm, plane(Layer::copper));
        for (const Copper& copper : layout.copper)
            if (copper.side == side) draw(copper.shape, px_per_mm, plane(Layer::copper));
        for (std::size_t j = 0; j < layout.assembly.joints.size(); ++j) {
            const Joint& joint = layout.assembly.joints[j];
            const bool lost = layout.is_lost(j);
            if (joint.drill_mm) draw(hole_shape(joint), px_per_mm, plane(Layer::hole));
            if (!joint.on(side)) continue;
            Shape pad = pad_shape(joint);
            if (!lost) draw(pad, px_per_mm, plane(Layer::copper));
            draw(pad, px_per_mm, plane(Layer::pad));
            const Part* part = joint.part.valid() ? &layout.assembly.part(joint.part) : nullptr;
            const double radius = std::min(joint.pad_mm.width, joint.pad_mm.height) / 2;
            Plane& solder = plane(Layer::solder);
            each_pixel(pad, px_per_mm, width, height, [&](int column, int row, double d) {
                if (lost) return;
                std::uint8_t& pixel = solder.at(column, row);
                pixel = std::max(pixel, byte(100 * solder_mm(joint, side, part, -d, radius)));
            });
            if (joint.kind == JointKind::via && layout.vias_tented) continue;
            pad.radius_mm += layout.mask_expansion_mm;
            draw(pad, px_per_mm, plane(Layer::mask_open));
        }
        for (const Shape& opening : layout.openings[side == Side::component ? 0 : 1])
            draw(opening, px_per_mm, plane(Layer::mask_open));
        if (!layout.masked)
            std::fill(plane(Layer::mask_open).pixels.begin(), plane(Layer::mask_open).pixels.end(),
                      std::uint8_t{255});
        Plane& print = plane(Layer::print);
        for (const Print& line : layout.print)
            if (line.side == side) draw(line.shape, px_per_mm, print);
        if (layout.masked)
            for (std::size_t i = 0; i < print.pixels.size(); ++i)
                print.pixels[i] = std::min(
                    print.pixels[i], static_cast<std::uint8_t>(255 - plane(Layer::mask_open).pixels[i]));
        for (const Body& body : layout.bodies)
            if (body.side == side)
                draw_body(body, px_per_mm, plane(Layer::part_kind), plane(Layer::part_height));
    }
    return layers;
}

std::string npy(const Layers& layers) {
    const Plane& first = layers.planes[0][0];
    std::string header = "{'descr': '|u1', 'fortran_order': False, 'shape': (2, " +
                         std::to_string(kLayerCount) + ", " + std::to_string(first.height) + ", " +
                         std::to_string(first.width) + "), }";
    while ((10 + header.size() + 1) % 64 != 0) header += ' ';
    header += '\n';
    std::string out("\x93NUMPY\x01\x00", 8);
    out += static_cast<char>(header.size() & 0xFF);
    out += static_cast<char>(header.size() >> 8);
    out += header;
    for (const auto& side : layers.planes)
        for (const Plane& plane : side)
            out.append(reinterpret_cast<const char*>(plane.pixels.data()), plane.pixels.size());
    return out;
}

}  // namespace eyelet::synthetic
