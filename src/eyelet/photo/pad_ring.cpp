#include "eyelet/photo/pad_ring.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace eyelet {

PadRing look_round(const Joint& joint, int number, const cv::Mat& copper, const cv::Mat& hidden, const cv::Mat& owner,
                   const PixelGrid& grid) {
    PadRing ring;
    std::array<double, PadRing::kRays> neck{};
    const double step_mm = 0.5 / grid.px_per_mm;
    double field_sum = 0;
    int field_count = 0;
    int seen = 0;
    int under = 0;
    int crowded = 0;
    for (int ray = 0; ray < PadRing::kRays; ++ray) {
        const double angle = 2 * std::numbers::pi * ray / PadRing::kRays;
        const Point direction{std::cos(angle), std::sin(angle)};
        double from_mm = 0;
        while (pad_covers(joint, joint.copper_centre + from_mm * direction)) from_mm += step_mm;
        double least = 1;
        for (double out_mm = step_mm; out_mm <= PadRing::kField_mm; out_mm += step_mm) {
            const Point p = grid.to_pixel(joint.copper_centre + (from_mm + out_mm) * direction);
            const int column = static_cast<int>(std::lround(p.x));
            const int row = static_cast<int>(std::lround(p.y));
            if (!grid.contains(column, row)) {
                least = std::min(least, 0.0);
                break;
            }
            const int there = owner.at<int>(row, column);
            if (there == number) continue;
            if (there >= 0) {
                ++crowded;
                break;
            }
            const double value = copper.at<float>(row, column);
            ++seen;
            if (hidden.at<float>(row, column) > 0.5F) ++under;
            if (out_mm <= PadRing::kNeck_mm) {
                least = std::min(least, value);
            } else {
                field_sum += value;
                ++field_count;
            }
        }
        neck[static_cast<std::size_t>(ray)] = least;
    }
    const auto of = [&](int ray) { return neck[static_cast<std::size_t>((ray + PadRing::kRays) % PadRing::kRays)]; };
    double lowest_cross = 1;
    double highest_cross = 0;
    for (int ray = 0; ray < PadRing::kRays; ++ray) {
        const double n = of(ray);
        if (n < 0.3) ring.closed += 1.0 / PadRing::kRays;
        if (n > 0.7) ring.open += 1.0 / PadRing::kRays;
        ring.best_neck = std::max(ring.best_neck, std::min(n, of(ray + 1)));
        if (n > 0.5 && of(ray - 1) <= 0.5) ring.spokes += 1;
        const double p = std::clamp(n, 1e-4, 1 - 1e-4);
        ring.doubt -= (p * std::log2(p) + (1 - p) * std::log2(1 - p)) / PadRing::kRays;
        if (ray < PadRing::kRays / 4) {
            const double mean =
                (of(ray) + of(ray + PadRing::kRays / 4) + of(ray + PadRing::kRays / 2) + of(ray + 3 * PadRing::kRays / 4)) / 4;
            lowest_cross = std::min(lowest_cross, mean);
            highest_cross = std::max(highest_cross, mean);
        }
    }
    std::array<double, PadRing::kRays> sorted = neck;
    std::nth_element(sorted.begin(), sorted.begin() + PadRing::kRays / 2, sorted.end());
    ring.gain = std::max(0.0, ring.best_neck - sorted[PadRing::kRays / 2]);
    const auto odds = [&](int ray) {
        const double p = std::clamp(of(ray), 0.0025, 0.9975);
        return std::log(p / (1 - p));
    };
    const double p_median = std::clamp(sorted[PadRing::kRays / 2], 0.0025, 0.9975);
    ring.median_odds = std::log(p_median / (1 - p_median));
    double best_odds = -6;
    double best_cross = -6;
    for (int ray = 0; ray < PadRing::kRays; ++ray) {
        best_odds = std::max(best_odds, std::min(odds(ray), odds(ray + 1)));
        if (ray >= PadRing::kRays / 4) continue;
        double sum = 0;
        for (int arm = 0; arm < 4; ++arm) {
            const int at = ray + arm * PadRing::kRays / 4;
            sum += std::max({odds(at - 1), odds(at), odds(at + 1)});  // the arms need not be quite at right angles
        }
        best_cross = std::max(best_cross, sum / 4);
    }
    ring.rise = ring.best_neck > 0.85 ? PadRing::kPlain : best_odds - ring.median_odds;
    ring.cross_rise = ring.best_neck > 0.85 ? PadRing::kPlain : best_cross - ring.median_odds;
    ring.cross = std::max(0.0, highest_cross - lowest_cross);
    ring.field = field_count > 0 ? field_sum / field_count : 0;
    ring.hidden = seen > 0 ? static_cast<double>(under) / seen : 0;
    ring.crowded = static_cast<double>(crowded) / PadRing::kRays;
    return ring;
}

}  // namespace eyelet
