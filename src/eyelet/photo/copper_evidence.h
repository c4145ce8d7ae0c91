// What the pixels of one side say about copper: how likely each shows (or hides) copper, and how likely something
// stands or is printed over it. A small convolutional network, trained on drawn boards only (training/README.md),
// judges the rectified photograph together with the joints that the map already knows.
//
// Frame and scale: the board's frame, unmirrored, origin at (0, 0) without margin, as rectify() gives it; pixel
// (column c, row r) covers c / px_per_mm to (c + 1) / px_per_mm millimetres.
// Cost: about 1 s a megapixel and look on two cores, 150 MB a megapixel; sides of more than `most_pixels` are
// looked at in a coarser scale; the evidence has the picture's size all the same.
#pragma once

#include <functional>
#include <optional>

#include <opencv2/core.hpp>

#include "eyelet/board/map.h"
#include "eyelet/core/result.h"

namespace eyelet {

// The scale that the network was trained at. Other scales are resampled to it.
inline constexpr double kEvidencePxPerMm = 16;

// How covered copper looks beside the bare substrate under the same mask.
enum class Tone { lighter, darker, unsure };
[[nodiscard]] const char* name_of(Tone tone);

struct CopperEvidence {
    Side side = Side::component;
    double px_per_mm = kEvidencePxPerMm;
    cv::Mat copper;             // CV_32F, 0 to 1: copper under mask, print or parts
    cv::Mat hidden;             // CV_32F, 0 to 1: a part, print or glare stands between
    Tone tone = Tone::unsure;
    double tone_certainty = 0;  // 0 to 1: how far the pixels agree on it
};

enum class KeepLooking { yes, no };

struct EvidenceOptions {
    // What a person said about the tone of this side; none: judge by the picture.
    std::optional<Tone> told;
    int threads = 0;  // 0: as many as OpenCV uses
    double most_pixels = 6e6;
    double second_look_pixels = 2.6e6;  // sides up to this size are judged twice, turned about, and averaged
    // Called now and then with the share done, 0 to 1, on the calling thread.
    std::function<KeepLooking(double)> progress;
};

// rectified_bgr: CV_8UC3 of the whole board at px_per_mm, made by rectify() without margin.
// Errors: bad_input when the picture is empty, of another type or another size than the board; refused when
// `progress` said no.
[[nodiscard]] Result<CopperEvidence> see_copper(const cv::Mat& rectified_bgr, double px_per_mm, const Assembly& assembly,
                                                BoardIndex board, Side side, const EvidenceOptions& options = {});

}  // namespace eyelet
