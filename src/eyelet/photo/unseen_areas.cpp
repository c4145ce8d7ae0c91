#include "eyelet/photo/unseen_areas.h"

#include <algorithm>
#include <cmath>

#include <opencv2/imgproc.hpp>

namespace eyelet {

namespace {

// Share of the outline's area that lies in the body of some part fitted on this side.
double share_under_parts(const Assembly& assembly, BoardIndex board, Side side, const cv::Mat& mask, const cv::Rect& box,
                         const PixelGrid& grid) {
    int inside = 0;
    int all = 0;
    std::vector<Box> bodies;
    const Point low = grid.to_board(box.x, box.y);
    const Point high = grid.to_board(box.x + box.width, box.y + box.height);
    for (const Part& part : assembly.parts)
        if (part.board == board && part.side == side && part.body.low.x < high.x && part.body.high.x > low.x &&
            part.body.low.y < high.y && part.body.high.y > low.y)
            bodies.push_back(part.body);
    for (int row = 0; row < box.height; row += 3)
        for (int column = 0; column < box.width; column += 3) {
            if (mask.at<std::uint8_t>(row, column) == 0) continue;
            ++all;
            const Point p = grid.to_board(box.x + column, box.y + row);
            if (std::any_of(bodies.begin(), bodies.end(), [&](const Box& body) { return body.contains(p); })) ++inside;
        }
    return all > 0 ? static_cast<double>(inside) / all : 0;
}

std::vector<std::vector<cv::Point>> outlines_of(const cv::Mat& mask, double least_px) {
    std::vector<std::vector<cv::Point>> outlines;
    cv::findContours(mask, outlines, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_SIMPLE);
    std::erase_if(outlines, [&](const auto& outline) { return cv::contourArea(outline) < least_px; });
    return outlines;
}

std::vector<Point> in_board(const std::vector<cv::Point>& outline, const PixelGrid& grid) {
    std::vector<cv::Point> simple;
    cv::approxPolyDP(outline, simple, 1.5, true);
    std::vector<Point> points;
    for (const cv::Point& p : simple) points.push_back(grid.to_board(p.x, p.y));
    return points;
}

}  // namespace

std::vector<Unseen> find_unseen(const Assembly& assembly, BoardIndex board, Side side, const cv::Mat& hidden,
                                const cv::Mat& copper, const PixelGrid& grid, double least_mm2) {
    const double least_px = least_mm2 * grid.px_per_mm * grid.px_per_mm;
    std::vector<Unseen> areas;
    const auto add = [&](const std::vector<cv::Point>& outline, Unseen::Cause cause) {
        std::vector<Point> points = in_board(outline, grid);
        if (points.size() >= 3) areas.push_back({board, side, cause, std::move(points)});
    };
    cv::Mat joined;
    cv::morphologyEx(hidden, joined, cv::MORPH_CLOSE, cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(5, 5)));
    for (const auto& outline : outlines_of(joined, least_px)) {
        const cv::Rect box = cv::boundingRect(outline);
        cv::Mat mask = cv::Mat::zeros(box.size(), CV_8U);
        std::vector<std::vector<cv::Point>> one{outline};
        cv::drawContours(mask, one, 0, cv::Scalar(1), cv::FILLED, cv::LINE_8, cv::noArray(), 0, -box.tl());
        if (share_under_parts(assembly, board, side, mask, box, grid) > 0.3) {
            add(outline, Unseen::Cause::part);
            continue;
        }
        cv::Mat depth;
        cv::distanceTransform(mask, depth, cv::DIST_L2, 3);
        double deepest = 0;
        cv::minMaxLoc(depth, nullptr, &deepest);
        // Strokes of print are 0.1 to 0.3 mm wide (common practice).
        add(outline, 2 * deepest / grid.px_per_mm < 0.5 ? Unseen::Cause::print : Unseen::Cause::glare);
    }
    // Blur: a wide window in which hardly any visible pixel says one or the other.
    cv::Mat undecided = (copper > 0.25) & (copper < 0.75) & (hidden == 0);
    cv::Mat share;
    undecided.convertTo(share, CV_32F, 1.0 / 255);
    const int window = 2 * static_cast<int>(grid.px_per_mm) + 1;
    cv::blur(share, share, cv::Size(window, window));
    const cv::Mat blurred = share > 0.8;
    for (const auto& outline : outlines_of(blurred, std::max(least_px, 4 * grid.px_per_mm * grid.px_per_mm)))
        add(outline, Unseen::Cause::blur);
    return areas;
}

}  // namespace eyelet
