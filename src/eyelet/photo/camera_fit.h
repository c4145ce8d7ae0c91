// Least squares for a camera: the parameters that bring places of a board nearest to where a photograph shows them.
// Internal to photo/.
#pragma once

#include <optional>
#include <span>
#include <vector>

#include <opencv2/core.hpp>

#include "eyelet/core/geometry.h"
#include "eyelet/photo/alignment.h"
#include "eyelet/photo/camera.h"

namespace eyelet {

// One place of the board and where it was seen.
struct Sight {
    Point board_mm;
    Point photo_px;
    double weight = 1;  // of its squared distance in pixels
    Point normal_px{};  // unit: only the distance along it counts (a piece of an edge); zero: both coordinates count
    bool trusted = false;  // its weight stands: it is not judged by the scale of the others
    [[nodiscard]] bool is_edge() const { return normal_px.x != 0 || normal_px.y != 0; }
    // The part of a miss that counts.
    [[nodiscard]] Point counted(Point miss_px) const { return is_edge() ? dot(normal_px, miss_px) * normal_px : miss_px; }
};

[[nodiscard]] std::size_t parameters_of(Lens lens);  // 8, 9 or 11

// A camera without radial term about the middle of a photograph: what a fit starts from.
[[nodiscard]] Camera unfitted_camera(cv::Size photo);

// The homography alone by the direct linear transformation with normalised points (R. Hartley, "In defense of the
// eight-point algorithm", PAMI 19 (1997), section 6, for homographies); none where the places are degenerate.
[[nodiscard]] std::optional<Camera> homography_of(std::span<const Sight> sights, cv::Size photo);

// Minimises the weighted squares of the distances in the photograph by Levenberg and Marquardt's method, from
// `start`. REQUIRES: enough sights for the parameters; otherwise `start` comes back.
[[nodiscard]] Camera fit_camera(std::span<const Sight> sights, const Camera& start, Lens lens);

// The same with Tukey's biweight (c = 4.685, which costs 5 % efficiency under normal errors), the scale being
// 1.4826 x the median absolute deviation, renewed with every round. Sights beyond c sigma get no say.
struct RobustFit {
    Camera camera;
    double sigma_px = 0;           // of one coordinate
    std::vector<double> weights;   // Tukey's, 0 to 1, without the sights' own
};
// `least_sigma_px`: the scale is never taken as smaller.
[[nodiscard]] RobustFit fit_camera_robustly(std::span<const Sight> sights, const Camera& start, Lens lens,
                                            double least_sigma_px = 0.05);

}  // namespace eyelet
