#include "eyelet/photo/camera_fit.h"

#include <algorithm>
#include <cmath>

namespace eyelet {

namespace {

// The camera in numbers near one: board coordinates about their middle in units of their spread, pixels about
// the photograph's middle in units of the camera's radius.
struct Scaled {
    Point board_middle;
    double board_spread = 1;
    Point photo_middle;
    double radius = 1;

    // h0 ... h7 (h8 = 1), k1, centre x, centre y.
    using Parameters = std::array<double, 11>;

    [[nodiscard]] Point project(const Parameters& p, Point board_mm) const {
        const Point b = (1 / board_spread) * (board_mm - board_middle);
        const double w = p[6] * b.x + p[7] * b.y + 1;
        const Point flat{(p[0] * b.x + p[1] * b.y + p[2]) / w, (p[3] * b.x + p[4] * b.y + p[5]) / w};
        const Point centre{p[9], p[10]};
        const Point d = flat - centre;
        return photo_middle + radius * (centre + (1 + p[8] * dot(d, d)) * d);
    }

    [[nodiscard]] Parameters parameters(const Camera& camera) const {
        // Scaled homography: (photo pixels to scaled) x H x (scaled to board millimetres).
        const cv::Matx33d h(camera.photo_from_board.data());
        const cv::Matx33d to_scaled(1 / radius, 0, -photo_middle.x / radius, 0, 1 / radius, -photo_middle.y / radius, 0, 0, 1);
        const cv::Matx33d to_board(board_spread, 0, board_middle.x, 0, board_spread, board_middle.y, 0, 0, 1);
        const cv::Matx33d s = to_scaled * h * to_board;
        Parameters p{};
        for (int i = 0; i < 8; ++i) p[static_cast<std::size_t>(i)] = s.val[i] / s.val[8];
        p[8] = camera.k1 * radius * radius / (camera.radius_px * camera.radius_px);
        p[9] = (camera.centre_px.x - photo_middle.x) / radius;
        p[10] = (camera.centre_px.y - photo_middle.y) / radius;
        return p;
    }

    [[nodiscard]] Camera camera(const Parameters& p) const {
        const cv::Matx33d s(p[0], p[1], p[2], p[3], p[4], p[5], p[6], p[7], 1);
        const cv::Matx33d from_scaled(radius, 0, photo_middle.x, 0, radius, photo_middle.y, 0, 0, 1);
        const cv::Matx33d from_board(1 / board_spread, 0, -board_middle.x / board_spread, 0, 1 / board_spread,
                                     -board_middle.y / board_spread, 0, 0, 1);
        cv::Matx33d h = from_scaled * s * from_board;
        h *= 1 / h.val[8];
        Camera camera;
        std::copy(h.val, h.val + 9, camera.photo_from_board.begin());
        camera.k1 = p[8];
        camera.centre_px = photo_middle + radius * Point{p[9], p[10]};
        camera.radius_px = radius;
        return camera;
    }
};

Scaled scale_for(std::span<const Sight> sights, const Camera& start) {
    Scaled scaled;
    Point sum;
    for (const Sight& s : sights) sum = sum + s.board_mm;
    scaled.board_middle = (1.0 / static_cast<double>(sights.size())) * sum;
    double square = 0;
    for (const Sight& s : sights) square += dot(s.board_mm - scaled.board_middle, s.board_mm - scaled.board_middle);
    scaled.board_spread = std::max(1e-9, std::sqrt(square / static_cast<double>(sights.size())));
    scaled.photo_middle = start.centre_px;
    scaled.radius = start.radius_px;
    return scaled;
}

double cost_of(const Scaled& scaled, const Scaled::Parameters& p, std::span<const Sight> sights) {
    double cost = 0;
    for (const Sight& s : sights) {
        const Point r = s.counted(scaled.project(p, s.board_mm) - s.photo_px);
        cost += s.weight * dot(r, r);
    }
    return cost;
}

double median_of(std::vector<double> values) {
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    return *middle;
}

constexpr double kTukey = 4.685;

}  // namespace

std::size_t parameters_of(Lens lens) {
    switch (lens) {
        case Lens::flat: return 8;
        case Lens::radial: return 9;
        case Lens::radial_off_centre: return 11;
    }
    return 8;
}

Camera unfitted_camera(cv::Size photo) {
    Camera camera;
    camera.centre_px = {photo.width / 2.0, photo.height / 2.0};
    camera.radius_px = std::hypot(photo.width / 2.0, photo.height / 2.0);
    return camera;
}

std::optional<Camera> homography_of(std::span<const Sight> sights, cv::Size photo) {
    if (sights.size() < 4) return std::nullopt;
    Camera camera = unfitted_camera(photo);
    const Scaled scaled = scale_for(sights, camera);
    Point photo_sum;
    for (const Sight& s : sights) photo_sum = photo_sum + s.photo_px;
    const Point middle = (1.0 / static_cast<double>(sights.size())) * photo_sum;
    double square = 0;
    for (const Sight& s : sights) square += dot(s.photo_px - middle, s.photo_px - middle);
    const double spread = std::max(1e-9, std::sqrt(square / static_cast<double>(sights.size())));
    cv::Mat a = cv::Mat::zeros(static_cast<int>(2 * sights.size()), 9, CV_64F);
    for (std::size_t i = 0; i < sights.size(); ++i) {
        const Point b = (1 / scaled.board_spread) * (sights[i].board_mm - scaled.board_middle);
        const Point q = (1 / spread) * (sights[i].photo_px - middle);
        auto* u = a.ptr<double>(static_cast<int>(2 * i));
        auto* v = a.ptr<double>(static_cast<int>(2 * i + 1));
        u[0] = b.x, u[1] = b.y, u[2] = 1, u[6] = -q.x * b.x, u[7] = -q.x * b.y, u[8] = -q.x;
        v[3] = b.x, v[4] = b.y, v[5] = 1, v[6] = -q.y * b.x, v[7] = -q.y * b.y, v[8] = -q.y;
    }
    cv::Mat values;
    cv::Mat vectors;
    cv::eigen(a.t() * a, values, vectors);  // largest first
    // Two solutions fit alike: four places of which three lie on one line, or the like.
    if (values.at<double>(7) < 1e-12 * values.at<double>(0)) return std::nullopt;
    const cv::Matx33d s(vectors.ptr<double>(8));
    if (std::abs(cv::determinant(s)) < 1e-12) return std::nullopt;
    const cv::Matx33d to_photo(spread, 0, middle.x, 0, spread, middle.y, 0, 0, 1);
    const cv::Matx33d from_board(1 / scaled.board_spread, 0, -scaled.board_middle.x / scaled.board_spread, 0,
                                 1 / scaled.board_spread, -scaled.board_middle.y / scaled.board_spread, 0, 0, 1);
    cv::Matx33d h = to_photo * s * from_board;
    if (h.val[8] == 0) return std::nullopt;
    h *= 1 / h.val[8];
    std::copy(h.val, h.val + 9, camera.photo_from_board.begin());
    return camera;
}

Camera fit_camera(std::span<const Sight> sights, const Camera& start, Lens lens) {
    const std::size_t count = parameters_of(lens);
    std::size_t equations = 0;
    for (const Sight& s : sights)
        if (s.weight > 0) equations += s.is_edge() ? 1 : 2;
    if (equations < count) return start;
    const Scaled scaled = scale_for(sights, start);
    Scaled::Parameters p = scaled.parameters(start);
    double cost = cost_of(scaled, p, sights);
    double damping = 1e-6;
    const auto n = static_cast<int>(count);
    for (int round = 0; round < 60; ++round) {
        cv::Mat normal = cv::Mat::zeros(n, n, CV_64F);
        cv::Mat slope = cv::Mat::zeros(n, 1, CV_64F);
        for (const Sight& s : sights) {
            if (s.weight <= 0) continue;
            const Point r = s.counted(scaled.project(p, s.board_mm) - s.photo_px);
            std::array<Point, 11> by_parameter;
            for (std::size_t k = 0; k < count; ++k) {
                constexpr double step = 1e-5;
                Scaled::Parameters up = p;
                Scaled::Parameters down = p;
                up[k] += step;
                down[k] -= step;
                by_parameter[k] = s.counted((0.5 / step) * (scaled.project(up, s.board_mm) - scaled.project(down, s.board_mm)));
            }
            for (int i = 0; i < n; ++i) {
                const Point gi = by_parameter[static_cast<std::size_t>(i)];
                slope.at<double>(i) += s.weight * dot(gi, r);
                for (int j = 0; j <= i; ++j)
                    normal.at<double>(i, j) += s.weight * dot(gi, by_parameter[static_cast<std::size_t>(j)]);
            }
        }
        cv::completeSymm(normal, true);
        bool better = false;
        double gain = 0;
        for (int attempt = 0; attempt < 12 && !better; ++attempt) {
            cv::Mat damped = normal.clone();
            for (int i = 0; i < n; ++i) damped.at<double>(i, i) += damping * normal.at<double>(i, i) + 1e-12;
            cv::Mat change;
            if (cv::solve(damped, slope, change, cv::DECOMP_CHOLESKY)) {
                Scaled::Parameters next = p;
                for (int i = 0; i < n; ++i) next[static_cast<std::size_t>(i)] -= change.at<double>(i);
                const double next_cost = cost_of(scaled, next, sights);
                if (next_cost <= cost) {
                    gain = cost - next_cost;
                    p = next;
                    cost = next_cost;
                    better = true;
                    damping = std::max(1e-12, damping / 10);
                    continue;
                }
            }
            damping *= 10;
        }
        if (!better || gain <= 1e-12 * cost) break;
    }
    return scaled.camera(p);
}

RobustFit fit_camera_robustly(std::span<const Sight> sights, const Camera& start, Lens lens, double least_sigma_px) {
    RobustFit fit;
    fit.camera = start;
    fit.weights.assign(sights.size(), 1);
    std::vector<Sight> weighted(sights.begin(), sights.end());
    for (int round = 0; round < 12; ++round) {
        // The scale is that of one coordinate. Weights say how much a sight counts, not how far off it may be.
        std::vector<double> sizes;
        sizes.reserve(2 * sights.size());
        std::vector<double> distances(sights.size());
        for (std::size_t i = 0; i < sights.size(); ++i) {
            const Point r = sights[i].counted(fit.camera.to_photo(sights[i].board_mm) - sights[i].photo_px);
            distances[i] = length(r);
            if (sights[i].trusted) continue;
            if (sights[i].is_edge()) {
                sizes.push_back(distances[i]);
            } else {
                sizes.push_back(std::abs(r.x));
                sizes.push_back(std::abs(r.y));
            }
        }
        if (sizes.empty()) sizes.push_back(0);
        const double sigma = std::max(least_sigma_px, 1.4826 * median_of(sizes));
        for (std::size_t i = 0; i < sights.size(); ++i) {
            if (sights[i].trusted) {
                weighted[i].weight = sights[i].weight;
                continue;
            }
            const double t = distances[i] / (kTukey * sigma);
            const double left = t < 1 ? 1 - t * t : 0;
            fit.weights[i] = left * left;
            weighted[i].weight = sights[i].weight * fit.weights[i];
        }
        const bool settled = std::abs(sigma - fit.sigma_px) < 1e-4 * sigma;
        fit.sigma_px = sigma;
        if (settled && round > 1) break;
        fit.camera = fit_camera(weighted, fit.camera, lens);
    }
    return fit;
}

}  // namespace eyelet
