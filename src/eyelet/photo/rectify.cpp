#include "eyelet/photo/rectify.h"

#include <algorithm>
#include <cassert>
#include <cmath>

#include <opencv2/imgproc.hpp>

namespace eyelet {

namespace {

// Rows of the result worked on at a time: keeps the finer picture that is averaged in the processor's cache.
constexpr int kStripRows = 32;

// The camera is asked for every eighth sample of a row, and the others lie on straight lines between. Samples are no
// farther apart than about a pixel of the photograph, over eight of which even a strong tilt (scale changing 0.2 % a millimetre) or a
// k1 of 0.1 bends a line by less than 1/100 pixel; cv::remap itself works in steps of 1/32.
constexpr int kExactEvery = 8;

int pixels_over(double length_mm, double px_per_mm) {
    // The small allowance keeps 82.5 mm at 20 px/mm from becoming 1651 through rounding.
    return std::max(1, static_cast<int>(std::ceil(length_mm * px_per_mm - 1e-6)));
}

// How many pixels of the photograph one pixel of the result spans where it spans most (the corners bound it:
// a homography's scale is monotonic along any line, and the radial term grows with the distance).
double largest_reduction(const Camera& camera, Box box, double px_per_mm) {
    double most = 0;
    for (double x : {box.low.x, (box.low.x + box.high.x) / 2, box.high.x})
        for (double y : {box.low.y, (box.low.y + box.high.y) / 2, box.high.y})
            most = std::max(most, camera.px_per_mm({x, y}) / px_per_mm);
    return most;
}

}  // namespace

cv::Size rectified_size(Box board_box_mm, double px_per_mm) {
    const Size size = board_box_mm.size();
    return {pixels_over(size.width, px_per_mm), pixels_over(size.height, px_per_mm)};
}

cv::Mat rectify(const cv::Mat& photo, const Camera& camera, Box box, double px_per_mm) {
    assert(!photo.empty() && px_per_mm > 0);
    const cv::Size size = rectified_size(box, px_per_mm);
    cv::Mat result(size, photo.type());
    // Each pixel of the result is the mean of finer x finer samples, each at least as dense as the photograph.
    const int finer = std::clamp(static_cast<int>(std::ceil(largest_reduction(camera, box, px_per_mm) - 0.05)), 1, 64);
    const double fine_px_per_mm = px_per_mm * finer;
    const int strip_rows = std::max(1, kStripRows / finer);
    const int strips = (size.height + strip_rows - 1) / strip_rows;
    cv::parallel_for_(cv::Range(0, strips), [&](const cv::Range& range) {
        cv::Mat map_x;
        cv::Mat map_y;
        cv::Mat fine;
        for (int strip = range.start; strip < range.end; ++strip) {
            const int first = strip * strip_rows;
            const int rows = std::min(strip_rows, size.height - first);
            map_x.create(rows * finer, size.width * finer, CV_32F);
            map_y.create(rows * finer, size.width * finer, CV_32F);
            for (int r = 0; r < map_x.rows; ++r) {
                auto* xs = map_x.ptr<float>(r);
                auto* ys = map_y.ptr<float>(r);
                const double y_mm = box.low.y + (first * finer + r + 0.5) / fine_px_per_mm;
                Point from = camera.to_photo({box.low.x + 0.5 / fine_px_per_mm, y_mm});
                for (int c = 0; c < map_x.cols; c += kExactEvery) {
                    const Point to = camera.to_photo({box.low.x + (c + kExactEvery + 0.5) / fine_px_per_mm, y_mm});
                    const Point step = (1.0 / kExactEvery) * (to - from);
                    for (int k = 0; k < kExactEvery && c + k < map_x.cols; ++k) {
                        xs[c + k] = static_cast<float>(from.x + k * step.x);
                        ys[c + k] = static_cast<float>(from.y + k * step.y);
                    }
                    from = to;
                }
            }
            cv::Mat out = result.rowRange(first, first + rows);
            if (finer == 1) {
                cv::remap(photo, out, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
            } else {
                cv::remap(photo, fine, map_x, map_y, cv::INTER_LINEAR, cv::BORDER_CONSTANT);
                cv::resize(fine, out, out.size(), 0, 0, cv::INTER_AREA);
            }
        }
    });
    return result;
}

cv::Mat rectify(const cv::Mat& photo, const Camera& camera, Size board_mm, double px_per_mm, double margin_mm) {
    return rectify(photo, camera,
                   Box{{-margin_mm, -margin_mm}, {board_mm.width + margin_mm, board_mm.height + margin_mm}}, px_per_mm);
}

}  // namespace eyelet
