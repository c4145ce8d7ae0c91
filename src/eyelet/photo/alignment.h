// How a photograph lies on its board: from tie points that a person clicked to a camera that predicts every joint.
//
// 1. A homography is fitted to the tie points, from five on without those that contradict the rest.
// 2. It is refined on the photograph: each pad's outline is looked for near where the fit predicts it, the camera
//    is fitted robustly to what was found, and both are repeated in shrinking windows. The radial term k1, then
//    the centre it acts about are fitted only where the joints seen hold them (an F test each) and the tie points,
//    which reach into corners where no pad may be seen, do not speak against it.
// 3. The fit is judged. With `p` the finest joint pitch of the side (the smallest distance between two pads that
//    do not touch), it is refused when its misfit (root mean square, of the joints located, or of the tie points
//    where too few joints could be located) exceeds p / 4. Reason: for errors that scatter alike in x and y the
//    share beyond a distance d is exp(-d^2 / rms^2) (Rayleigh); at d = p / 2, where a joint is as near to its
//    neighbour's place as to its own, and rms = p / 4 that is exp(-4) = 1.8 %. Worse than that, copper
//    would be followed from the wrong pad.
// Four tie points fit any homography without residual, so their misfit says nothing and is not given.
//
// Cost: a second or two for a photograph of 24 megapixels, whatever its size, on two cores; at most
// kMostJoints joints are looked for. Deterministic.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include <opencv2/core.hpp>

#include "eyelet/board/map.h"
#include "eyelet/core/result.h"
#include "eyelet/photo/camera.h"

namespace eyelet {

struct TiePoint {
    JointIndex joint;  // its hole, or for a pad without one its origin
    Point photo_px;    // a pixel's centre is at whole numbers
};

enum class Refine { on_photograph, tie_points_only };

struct AlignOptions {
    // tie_points_only where the photograph shows no pads (all under parts), or to compare.
    Refine refine = Refine::on_photograph;
    // Most of the joint pitch that the misfit may take: see 3. above. Range 0.05 to 0.5.
    double limit_share_of_pitch = 0.25;
};

enum class TieVerdict { used, wrong };

struct TieMisfit {
    JointIndex joint;
    double misfit_px = 0;  // from the click to where the camera puts the joint
    double misfit_mm = 0;
    TieVerdict verdict = TieVerdict::used;
};

enum class Lens { flat, radial, radial_off_centre };

struct Alignment {
    Camera camera;
    Lens lens = Lens::flat;                // what of the camera beyond the homography was fitted
    std::vector<TieMisfit> tie_points;     // in the order given
    std::optional<double> tie_rms_mm;      // of the tie points used; none with four tie points
    std::optional<double> tie_worst_mm;
    bool refined = false;                  // rests on joints seen in the photograph, not on the clicks
    std::size_t joints_sought = 0;
    std::size_t joints_located = 0;        // found, and in agreement with the camera
    std::optional<double> located_rms_mm;  // of the joints located; where refined
    std::optional<double> located_worst_mm;
    double finest_pitch_mm = 0;
    double limit_mm = 0;                   // of the misfit
    std::vector<std::string> remarks;      // for the person, one sentence each: a wrong tie point, four only
};

// The smallest distance between two pads of the board on this side that do not touch; none where there are no two.
[[nodiscard]] std::optional<double> finest_pitch_mm(const Assembly& assembly, BoardIndex board, Side side);

// `photo` is CV_8UC1 or CV_8UC3. Errors, each one line: fewer than four tie points; a joint twice, not on this
// board, or not on this side; a pixel outside the photograph; two tie points on one spot; tie points on one line;
// tie points that contradict each other without telling which is wrong; a photograph of the other side; a misfit
// above the limit.
[[nodiscard]] Result<Alignment> align(const cv::Mat& photo, Side side, const Assembly& assembly, BoardIndex board,
                                      std::span<const TiePoint> tie_points, const AlignOptions& options = {});

}  // namespace eyelet
