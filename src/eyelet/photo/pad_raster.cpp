#include "eyelet/photo/pad_raster.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

namespace eyelet {

bool pad_covers(const Joint& joint, Point board_mm) {
    const double angle = joint.rotation_deg * std::numbers::pi / 180;
    const Point d = board_mm - joint.copper_centre;
    // y points down, so a turn counter-clockwise to the eye takes the x axis to (cos, -sin).
    const double x = std::abs(d.x * std::cos(angle) - d.y * std::sin(angle));
    const double y = std::abs(d.x * std::sin(angle) + d.y * std::cos(angle));
    const double half_width = joint.pad_mm.width / 2;
    const double half_height = joint.pad_mm.height / 2;
    double corner = 0;  // radius of the rounded corners
    switch (joint.shape) {
        case PadShape::circle:
        case PadShape::oval: corner = std::min(half_width, half_height); break;
        case PadShape::rounded_rectangle: corner = 0.5 * std::min(half_width, half_height); break;
        case PadShape::rectangle:
        case PadShape::trapezoid:
        case PadShape::custom: break;
    }
    if (x > half_width || y > half_height) return false;
    const double over_x = x - (half_width - corner);
    const double over_y = y - (half_height - corner);
    if (over_x <= 0 || over_y <= 0) return true;
    return over_x * over_x + over_y * over_y <= corner * corner;
}

double pad_reach_mm(const Joint& joint) { return 0.5 * std::hypot(joint.pad_mm.width, joint.pad_mm.height); }

std::vector<JointIndex> joints_on(const Assembly& assembly, BoardIndex board, Side side) {
    std::vector<JointIndex> joints;
    for (std::size_t i = 0; i < assembly.joints.size(); ++i)
        if (assembly.joints[i].board == board && assembly.joints[i].on(side)) joints.emplace_back(i);
    return joints;
}

cv::Mat draw_pads(const Assembly& assembly, const std::vector<JointIndex>& joints, const PixelGrid& grid) {
    cv::Mat owner(grid.height, grid.width, CV_32S, cv::Scalar(-1));
    // Large ones first: a pad that lies inside another keeps its place.
    std::vector<std::size_t> order(joints.size());
    std::iota(order.begin(), order.end(), std::size_t{0});
    const auto area = [&](std::size_t i) {
        const Size pad = assembly.joint(joints[i]).pad_mm;
        return pad.width * pad.height;
    };
    std::stable_sort(order.begin(), order.end(), [&](std::size_t i, std::size_t k) { return area(i) > area(k); });
    for (const std::size_t i : order) {
        const Joint& joint = assembly.joint(joints[i]);
        const double reach_px = pad_reach_mm(joint) * grid.px_per_mm + 1;
        const Point centre = grid.to_pixel(joint.copper_centre);
        const int left = std::max(0, static_cast<int>(std::floor(centre.x - reach_px)));
        const int right = std::min(grid.width - 1, static_cast<int>(std::ceil(centre.x + reach_px)));
        const int top = std::max(0, static_cast<int>(std::floor(centre.y - reach_px)));
        const int bottom = std::min(grid.height - 1, static_cast<int>(std::ceil(centre.y + reach_px)));
        for (int row = top; row <= bottom; ++row)
            for (int column = left; column <= right; ++column)
                if (pad_covers(joint, grid.to_board(column, row)))
                    owner.at<int>(row, column) = static_cast<int>(i);
        const int column = static_cast<int>(std::lround(centre.x));
        const int row = static_cast<int>(std::lround(centre.y));
        if (grid.contains(column, row))
            owner.at<int>(row, column) = static_cast<int>(i);
    }
    return owner;
}

}  // namespace eyelet
