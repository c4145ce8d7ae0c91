// One kind of plane figure for tracks, pads, print and bodies: a core of points, open or closed, grown by
// a radius. A track is an open core with half its width, a round pad one point, a rectangle a closed core
// with radius 0. Millimetres in the board's frame.
#pragma once

#include <vector>

#include "eyelet/board/map.h"
#include "eyelet/core/geometry.h"

namespace eyelet::synthetic {

struct Shape {
    std::vector<Point> core;
    bool closed = false;  // the core's inside belongs to it
    double radius_mm = 0;
};

[[nodiscard]] Shape disc(Point centre, double radius_mm);
[[nodiscard]] Shape stroke(std::vector<Point> points, double width_mm);
[[nodiscard]] Shape rectangle(Box box, double corner_mm = 0);
[[nodiscard]] Shape outline_of(Box box, double width_mm);

// The copper of a joint, from what a survey knows of it.
[[nodiscard]] Shape pad_shape(const Joint& joint);
// The hole of a joint that has one.
[[nodiscard]] Shape hole_shape(const Joint& joint);

// Negative inside. Exact outside and within the radius; inside a closed core exact to its edge.
[[nodiscard]] double signed_distance_mm(const Shape& shape, Point p);
// Between the figures' edges; negative where they overlap (then only the sign counts).
[[nodiscard]] double gap_mm(const Shape& a, const Shape& b);
[[nodiscard]] Box bounds(const Shape& shape);

[[nodiscard]] double distance_to_segment(Point p, Point a, Point b);
[[nodiscard]] Box grown(Box box, double by_mm);
[[nodiscard]] bool overlap(const Box& a, const Box& b);
// Turned by quarter turns counter-clockwise as seen (y runs down) and shifted.
[[nodiscard]] Point turned(Point p, double degrees);

}  // namespace eyelet::synthetic
