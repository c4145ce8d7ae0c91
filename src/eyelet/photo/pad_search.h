// Finds pads and holes in a photograph near where a camera predicts them, by their outlines. Internal to photo/.
//
// For an outline with outward normals n_i, displaced by s, and the photograph's gradient g (one vector a channel)
// the directed mean m(s) = mean_i g(p_i + s) . n_i is large only where the picture changes in the same sense all
// along the outline, whatever the colours and whichever is the brighter; a track, print or shadow crossing it
// cancels. Compared with the energy of the gradient on the outline it gives the agreement
// J(s) = |m|^2 / (mean_i |g|^2 + floor), from 0 to 1. The peak of J, refined by a parabola, is where the pad is.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include <opencv2/core.hpp>

#include "eyelet/board/map.h"
#include "eyelet/photo/camera.h"

namespace eyelet {

struct OutlinePoint {
    Point at;      // relative to the outline's middle, in the board's frame
    Point normal;  // outward, unit
};

// The outline of a shape of this size, turned as Joint::rotation_deg says; points about `step_mm` apart.
[[nodiscard]] std::vector<OutlinePoint> outline_of(PadShape shape, Size size_mm, double rotation_deg, double step_mm);

// Something to look for.
enum class MarkKind { pad, hole };

struct Mark {
    JointIndex joint;
    MarkKind kind = MarkKind::pad;
    Point middle_mm;
    std::vector<OutlinePoint> outline;
};

// Pads and drilled holes of a side whose outlines can be seen when nothing lies on them: no vias (they are usually
// covered), no pads that run into others. At most `most` joints, spread evenly over the board.
[[nodiscard]] std::vector<Mark> marks_of(const Assembly& assembly, BoardIndex board, Side side, std::size_t most);

struct SearchWindow {
    double reach_mm = 0.5;    // the mark is looked for within this distance in x and in y
    double blur_mm = 0.06;    // standard deviation of the smoothing before gradients are taken
    double px_per_mm = 20;    // of the picture that is searched
};

struct Found {
    std::size_t mark = 0;
    Point shift_mm;         // from the prediction, in the board's frame
    double agreement = 0;   // J at the peak
};

// Marks that are found, in the order of `marks`. Runs in parallel.
[[nodiscard]] std::vector<Found> find_marks(const cv::Mat& photo, const Camera& camera, std::span<const Mark> marks,
                                            const SearchWindow& window);

// A piece of a mark's outline where the photograph has an edge along it.
struct Edge {
    std::size_t mark = 0;
    Point at_mm;           // on the outline as predicted
    Point normal;          // outward
    double outward_mm = 0; // how far out the edge lies
};

// For each piece of about `kEdgePieceMm` of each outline the strongest edge within the window's reach along the
// normal. Pieces without one are left out. Unlike find_marks it does not need the whole outline: a lead, a body or a
// shadow spoils only the pieces under it, and every piece has the same say whatever its contrast.
inline constexpr double kEdgePieceMm = 0.3;
[[nodiscard]] std::vector<Edge> find_edges(const cv::Mat& photo, const Camera& camera, std::span<const Mark> marks,
                                           const SearchWindow& window);

}  // namespace eyelet
