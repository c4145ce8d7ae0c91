// Points and boxes in the plane. Millimetres in the board's frame (origin at the upper left corner of
// the component side, x to the right, y down, also for what lies on the solder side) unless a name says px.
#pragma once

#include <cmath>

namespace eyelet {

struct Point {
    double x = 0;
    double y = 0;
    friend bool operator==(const Point&, const Point&) = default;
};

[[nodiscard]] inline Point operator+(Point a, Point b) { return {a.x + b.x, a.y + b.y}; }
[[nodiscard]] inline Point operator-(Point a, Point b) { return {a.x - b.x, a.y - b.y}; }
[[nodiscard]] inline Point operator*(double k, Point a) { return {k * a.x, k * a.y}; }
[[nodiscard]] inline double dot(Point a, Point b) { return a.x * b.x + a.y * b.y; }
[[nodiscard]] inline double cross(Point a, Point b) { return a.x * b.y - a.y * b.x; }
[[nodiscard]] inline double length(Point a) { return std::hypot(a.x, a.y); }
[[nodiscard]] inline double distance(Point a, Point b) { return length(a - b); }

struct Size {
    double width = 0;
    double height = 0;
    friend bool operator==(const Size&, const Size&) = default;
};

struct Box {
    Point low;
    Point high;
    [[nodiscard]] bool contains(Point p) const {
        return p.x >= low.x && p.x <= high.x && p.y >= low.y && p.y <= high.y;
    }
    [[nodiscard]] Size size() const { return {high.x - low.x, high.y - low.y}; }
    friend bool operator==(const Box&, const Box&) = default;
};

}  // namespace eyelet
