#include "eyelet/synthetic/shape.h"

#include <algorithm>
#include <limits>
#include <numbers>

namespace eyelet::synthetic {
namespace {

bool inside_polygon(const std::vector<Point>& polygon, Point p) {
    bool inside = false;
    for (std::size_t i = 0, j = polygon.size() - 1; i < polygon.size(); j = i++) {
        const Point a = polygon[i];
        const Point b = polygon[j];
        if ((a.y > p.y) != (b.y > p.y) && p.x < (b.x - a.x) * (p.y - a.y) / (b.y - a.y) + a.x)
            inside = !inside;
    }
    return inside;
}

double distance_between_segments(Point a, Point b, Point c, Point d) {
    const double o1 = cross(b - a, c - a);
    const double o2 = cross(b - a, d - a);
    const double o3 = cross(d - c, a - c);
    const double o4 = cross(d - c, b - c);
    if (o1 * o2 < 0 && o3 * o4 < 0) return 0;
    return std::min({distance_to_segment(a, c, d), distance_to_segment(b, c, d), distance_to_segment(c, a, b),
                     distance_to_segment(d, a, b)});
}

// Segments of the core; a single point is one segment of no length.
template <class Visit>
void each_segment(const Shape& shape, Visit visit) {
    const auto& core = shape.core;
    if (core.size() == 1) visit(core[0], core[0]);
    for (std::size_t i = 1; i < core.size(); ++i) visit(core[i - 1], core[i]);
    if (shape.closed && core.size() > 2) visit(core.back(), core.front());
}

}  // namespace

Shape disc(Point centre, double radius_mm) {
    return {{centre}, false, radius_mm};
}

Shape stroke(std::vector<Point> points, double width_mm) {
    return {std::move(points), false, width_mm / 2};
}

Shape rectangle(Box box, double corner_mm) {
    const Box in = grown(box, -corner_mm);
    return {{in.low, {in.high.x, in.low.y}, in.high, {in.low.x, in.high.y}}, true, corner_mm};
}

Shape outline_of(Box box, double width_mm) {
    return {
        {box.low, {box.high.x, box.low.y}, box.high, {box.low.x, box.high.y}, box.low}, false, width_mm / 2};
}

Point turned(Point p, double degrees) {
    const double a = degrees * std::numbers::pi / 180;
    const double c = std::cos(a);
    const double s = std::sin(a);
    // y runs down, so a turn that looks counter-clockwise has this sign.
    return {c * p.x + s * p.y, -s * p.x + c * p.y};
}

Shape pad_shape(const Joint& joint) {
    const double w = joint.pad_mm.width / 2;
    const double h = joint.pad_mm.height / 2;
    Shape shape;
    switch (joint.shape) {
        case PadShape::circle:
            return disc(joint.copper_centre, w);
        case PadShape::oval: {
            shape.radius_mm = std::min(w, h);
            const Point half{w - shape.radius_mm, h - shape.radius_mm};
            shape.core = {-1.0 * half, half};
            break;
        }
        case PadShape::rounded_rectangle:
            shape.radius_mm = 0.5 * std::min(w, h);
            [[fallthrough]];
        case PadShape::rectangle:
        case PadShape::trapezoid:
        case PadShape::custom: {
            const double x = w - shape.radius_mm;
            const double y = h - shape.radius_mm;
            shape.core = {{-x, -y}, {x, -y}, {x, y}, {-x, y}};
            shape.closed = true;
            break;
        }
    }
    for (Point& p : shape.core) p = joint.copper_centre + turned(p, joint.rotation_deg);
    return shape;
}

Shape hole_shape(const Joint& joint) {
    const Size drill = joint.drill_mm.value_or(Size{});
    const double r = std::min(drill.width, drill.height) / 2;
    if (drill.width == drill.height) return disc(joint.hole, r);
    const Point half{drill.width / 2 - r, drill.height / 2 - r};
    return {
        {joint.hole + turned(-1.0 * half, joint.rotation_deg), joint.hole + turned(half, joint.rotation_deg)},
        false,
        r};
}

double distance_to_segment(Point p, Point a, Point b) {
    const Point ab = b - a;
    const double l2 = dot(ab, ab);
    const double t = l2 > 0 ? std::clamp(dot(p - a, ab) / l2, 0.0, 1.0) : 0.0;
    const Point off = p - (a + t * ab);
    return std::sqrt(dot(off, off));  // much faster than hypot, and no overflow at these sizes
}

double signed_distance_mm(const Shape& shape, Point p) {
    double best = std::numeric_limits<double>::max();
    each_segment(shape, [&](Point a, Point b) { best = std::min(best, distance_to_segment(p, a, b)); });
    if (shape.closed && shape.core.size() > 2 && inside_polygon(shape.core, p)) best = -best;
    return best - shape.radius_mm;
}

double gap_mm(const Shape& a, const Shape& b) {
    if (a.closed && inside_polygon(a.core, b.core[0])) return -1;
    if (b.closed && inside_polygon(b.core, a.core[0])) return -1;
    double best = std::numeric_limits<double>::max();
    each_segment(a, [&](Point a0, Point a1) {
        each_segment(
            b, [&](Point b0, Point b1) { best = std::min(best, distance_between_segments(a0, a1, b0, b1)); });
    });
    return best - a.radius_mm - b.radius_mm;
}

Box bounds(const Shape& shape) {
    Box box{shape.core[0], shape.core[0]};
    for (const Point p : shape.core) {
        box.low = {std::min(box.low.x, p.x), std::min(box.low.y, p.y)};
        box.high = {std::max(box.high.x, p.x), std::max(box.high.y, p.y)};
    }
    return grown(box, shape.radius_mm);
}

Box grown(Box box, double by_mm) {
    return {{box.low.x - by_mm, box.low.y - by_mm}, {box.high.x + by_mm, box.high.y + by_mm}};
}

bool overlap(const Box& a, const Box& b) {
    return a.low.x < b.high.x && b.low.x < a.high.x && a.low.y < b.high.y && b.low.y < a.high.y;
}

}  // namespace eyelet::synthetic
