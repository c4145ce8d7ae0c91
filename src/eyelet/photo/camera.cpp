#include "eyelet/photo/camera.h"

#include <cmath>

namespace eyelet {

namespace {

Point project(const std::array<double, 9>& h, Point p) {
    const double w = h[6] * p.x + h[7] * p.y + h[8];
    return {(h[0] * p.x + h[1] * p.y + h[2]) / w, (h[3] * p.x + h[4] * p.y + h[5]) / w};
}

std::array<double, 9> adjugate(const std::array<double, 9>& h) {
    return {h[4] * h[8] - h[5] * h[7], h[2] * h[7] - h[1] * h[8], h[1] * h[5] - h[2] * h[4],
            h[5] * h[6] - h[3] * h[8], h[0] * h[8] - h[2] * h[6], h[2] * h[3] - h[0] * h[5],
            h[3] * h[7] - h[4] * h[6], h[1] * h[6] - h[0] * h[7], h[0] * h[4] - h[1] * h[3]};
}

double determinant(const std::array<double, 9>& h) {
    return h[0] * (h[4] * h[8] - h[5] * h[7]) - h[1] * (h[3] * h[8] - h[5] * h[6]) + h[2] * (h[3] * h[7] - h[4] * h[6]);
}

}  // namespace

Point Camera::to_photo(Point board_mm) const {
    const Point d = project(photo_from_board, board_mm) - centre_px;
    return centre_px + (1 + k1 * dot(d, d) / (radius_px * radius_px)) * d;
}

Point Camera::to_board(Point photo_px) const {
    const Point observed = photo_px - centre_px;
    const double r = length(observed) / radius_px;
    // Newton's method on s (1 + k1 s^2) = r, s being the ideal radius in units of radius_px.
    double s = r;
    for (int i = 0; i < 20 && r > 0; ++i) {
        const double step = (s * (1 + k1 * s * s) - r) / (1 + 3 * k1 * s * s);
        s -= step;
        if (std::abs(step) < 1e-12) break;
    }
    const Point ideal = r > 0 ? centre_px + (s / r) * observed : photo_px;
    return project(adjugate(photo_from_board), ideal);
}

bool Camera::mirrored() const {
    const double w = photo_from_board[8];
    return determinant(photo_from_board) * w < 0;
}

double Camera::px_per_mm(Point board_mm) const {
    const double step = 0.01;
    const Point here = to_photo(board_mm);
    const Point across = to_photo(board_mm + Point{step, 0}) - here;
    const Point down = to_photo(board_mm + Point{0, step}) - here;
    return std::sqrt(std::abs(cross(across, down))) / step;
}

}  // namespace eyelet
