#include "eyelet/photo/compare.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <fmt/format.h>
#include <opencv2/imgproc.hpp>

namespace eyelet {

namespace {

// The box that a person would draw round a difference: some copper beside it, and never smaller than a thumb's nail
// of a window. Lengths in millimetres.
constexpr double kBoxMargin = 0.17;
constexpr double kBoxLeast = 0.58;
constexpr double kJoinWithin = 0.18;    // differences of one kind nearer than this are one
constexpr double kWindow = 0.35;        // topology is judged this far round a difference
constexpr double kRoughArea = 0.0035;   // mm2; a difference of this area is as likely a rough edge as real

cv::Mat disc(double radius_px) {
    const int r = std::max(1, static_cast<int>(std::lround(radius_px)));
    return cv::getStructuringElement(cv::MORPH_ELLIPSE, {2 * r + 1, 2 * r + 1});
}

Result<cv::Mat> two_tones(const cv::Mat& picture, const char* which) {
    cv::Mat grey;
    if (picture.channels() == 3) cv::cvtColor(picture, grey, cv::COLOR_BGR2GRAY);
    else grey = picture;
    double low = 0, high = 0;
    cv::minMaxLoc(grey, &low, &high);
    if (high - low < 24) return bad_input(fmt::format("{}: the picture has one tone only; copper and substrate must differ", which));
    cv::Mat light;
    cv::threshold(grey, light, 0, 255, cv::THRESH_BINARY | cv::THRESH_OTSU);
    return light;
}

struct Registered {
    cv::Mat reference;
    cv::Mat both_show;
};

// Shifts the reference onto the unit block by block: the pictures may be a few pixels off, and by a little more
// on one side than on the other (a line camera does not run quite evenly).
Registered register_to(const cv::Mat& reference, const cv::Mat& unit, int reach) {
    const int block = std::max(64, reach * 4);
    const int columns = std::max(1, reference.cols / block), rows = std::max(1, reference.rows / block);
    const auto best_shift = [&](const cv::Rect& area, cv::Point start, int radius, cv::Point2f& shift) {
        double best = -1, at_start = -1;
        cv::Point found = start;
        std::map<std::pair<int, int>, double> scores;
        for (int dy = -radius; dy <= radius; ++dy)
            for (int dx = -radius; dx <= radius; ++dx) {
                const cv::Rect moved = (area + start + cv::Point(dx, dy)) & cv::Rect(0, 0, unit.cols, unit.rows);
                const cv::Rect back = moved - start - cv::Point(dx, dy);
                if (moved.area() < area.area() / 2) continue;
                cv::Mat differs;
                cv::bitwise_xor(reference(back), unit(moved), differs);
                const double score = 1 - cv::countNonZero(differs) / static_cast<double>(moved.area());
                scores[{dx, dy}] = score;
                if (dx == 0 && dy == 0) at_start = score;
                if (score > best) {
                    best = score;
                    found = start + cv::Point(dx, dy);
                }
            }
        // A block with hardly an edge says nothing: it keeps the shift it was given.
        shift = best - at_start > 1e-4 ? cv::Point2f(found) : cv::Point2f(start);
        return best;
    };
    cv::Point2f whole;
    best_shift({0, 0, reference.cols, reference.rows}, {0, 0}, reach, whole);
    cv::Mat shift_x(rows, columns, CV_32F), shift_y(rows, columns, CV_32F);
    for (int r = 0; r < rows; ++r)
        for (int c = 0; c < columns; ++c) {
            const int x0 = c * reference.cols / columns, x1 = (c + 1) * reference.cols / columns;
            const int y0 = r * reference.rows / rows, y1 = (r + 1) * reference.rows / rows;
            cv::Point2f shift;
            best_shift({x0, y0, x1 - x0, y1 - y0}, cv::Point(whole), std::max(2, reach / 4), shift);
            shift_x.at<float>(r, c) = shift.x;
            shift_y.at<float>(r, c) = shift.y;
        }
    if (rows >= 3 && columns >= 3) {
        cv::medianBlur(shift_x, shift_x, 3);
        cv::medianBlur(shift_y, shift_y, 3);
    }
    cv::Mat map_x, map_y;
    cv::resize(shift_x, map_x, reference.size(), 0, 0, cv::INTER_LINEAR);
    cv::resize(shift_y, map_y, reference.size(), 0, 0, cv::INTER_LINEAR);
    for (int y = 0; y < map_x.rows; ++y)
        for (int x = 0; x < map_x.cols; ++x) {
            map_x.at<float>(y, x) = static_cast<float>(x) - map_x.at<float>(y, x);
            map_y.at<float>(y, x) = static_cast<float>(y) - map_y.at<float>(y, x);
        }
    Registered registered;
    cv::remap(reference, registered.reference, map_x, map_y, cv::INTER_NEAREST, cv::BORDER_REPLICATE);
    // What the reference does not show cannot be compared.
    cv::remap(cv::Mat(reference.size(), CV_8U, cv::Scalar(255)), registered.both_show, map_x, map_y, cv::INTER_NEAREST,
              cv::BORDER_CONSTANT, cv::Scalar(0));
    return registered;
}

// Pieces of a tone that are large enough to be a conductor. Copper comes in many pieces, one a net and more; the
// substrate between them hangs together, but for holes and clearance rings, which are round or small.
double pieces_of(const cv::Mat& tone, double px_per_mm) {
    cv::Mat labels, stats, centroids;
    const int n = cv::connectedComponentsWithStats(tone, labels, stats, centroids, 4);
    int pieces = 0;
    for (int i = 1; i < n; ++i) pieces += stats.at<int>(i, cv::CC_STAT_AREA) > 0.2 * px_per_mm * px_per_mm;
    return pieces;
}

struct Region {
    cv::Rect box;
    cv::Mat mask;  // of the box
    int area = 0;
};

std::vector<Region> regions_of(const cv::Mat& seeds, const cv::Mat& within) {
    // Each region is a whole piece of `within` that holds a seed.
    cv::Mat labels, stats, centroids;
    const int n = cv::connectedComponentsWithStats(within, labels, stats, centroids, 8);
    std::vector<bool> seeded(static_cast<std::size_t>(n), false);
    for (int y = 0; y < labels.rows; ++y)
        for (int x = 0; x < labels.cols; ++x)
            if (seeds.at<std::uint8_t>(y, x)) seeded[static_cast<std::size_t>(labels.at<int>(y, x))] = true;
    std::vector<Region> regions;
    for (int i = 1; i < n; ++i) {
        if (!seeded[static_cast<std::size_t>(i)]) continue;
        Region region;
        region.box = {stats.at<int>(i, cv::CC_STAT_LEFT), stats.at<int>(i, cv::CC_STAT_TOP), stats.at<int>(i, cv::CC_STAT_WIDTH),
                      stats.at<int>(i, cv::CC_STAT_HEIGHT)};
        region.mask = labels(region.box) == i;
        region.area = stats.at<int>(i, cv::CC_STAT_AREA);
        regions.push_back(region);
    }
    return regions;
}

cv::Rect grown(const cv::Rect& box, int by, cv::Size limit) {
    return cv::Rect(box.x - by, box.y - by, box.width + 2 * by, box.height + 2 * by) & cv::Rect({0, 0}, limit);
}

// Pieces of copper inside a window.
struct Pieces {
    cv::Mat labels, stats;
    explicit Pieces(const cv::Mat& copper) {
        cv::Mat centroids;
        cv::connectedComponentsWithStats(copper, labels, stats, centroids, 4);
    }
    [[nodiscard]] int area(int label) const { return stats.at<int>(label, cv::CC_STAT_AREA); }
};

// Does the region part what is one in `whole` into pieces of `parted` that are apart? Pieces smaller than
// `least` pixels are rough edges.
bool parts(const cv::Mat& whole, const cv::Mat& parted, const cv::Mat& near, int least) {
    const Pieces one(whole), several(parted);
    std::map<int, std::set<int>> pieces_of_one;
    std::map<std::pair<int, int>, int> overlap;
    for (int y = 0; y < near.rows; ++y)
        for (int x = 0; x < near.cols; ++x) {
            const int a = one.labels.at<int>(y, x), b = several.labels.at<int>(y, x);
            if (a > 0 && b > 0) ++overlap[{a, b}];
        }
    std::set<int> touching;
    for (int y = 0; y < near.rows; ++y)
        for (int x = 0; x < near.cols; ++x)
            if (near.at<std::uint8_t>(y, x)) touching.insert(several.labels.at<int>(y, x));
    for (const auto& [pair, count] : overlap)
        if (touching.count(pair.second) && count >= least) pieces_of_one[pair.first].insert(pair.second);
    return std::any_of(pieces_of_one.begin(), pieces_of_one.end(), [](const auto& entry) { return entry.second.size() >= 2; });
}

// Does the hole that the region lies in reach copper's outside as the reference shows it?
bool reaches_outside(const cv::Mat& copper_is, const cv::Mat& copper_was, const cv::Mat& region) {
    cv::Mat labels;
    cv::connectedComponents(~copper_is, labels, 8);
    cv::Mat outside;
    cv::erode(~copper_was, outside, disc(1));
    std::set<int> inside;
    for (int y = 0; y < region.rows; ++y)
        for (int x = 0; x < region.cols; ++x)
            if (region.at<std::uint8_t>(y, x)) inside.insert(labels.at<int>(y, x));
    inside.erase(0);
    for (int y = 0; y < region.rows; ++y)
        for (int x = 0; x < region.cols; ++x)
            if (outside.at<std::uint8_t>(y, x) && inside.count(labels.at<int>(y, x))) return true;
    return false;
}

int pieces_touched(const cv::Mat& copper, const cv::Mat& near, int least) {
    const Pieces pieces(copper);
    std::set<int> touching;
    for (int y = 0; y < near.rows; ++y)
        for (int x = 0; x < near.cols; ++x)
            if (near.at<std::uint8_t>(y, x) && pieces.labels.at<int>(y, x) > 0 && pieces.area(pieces.labels.at<int>(y, x)) >= least)
                touching.insert(pieces.labels.at<int>(y, x));
    return static_cast<int>(touching.size());
}

}  // namespace

const char* name_of(DifferenceKind kind) {
    switch (kind) {
        case DifferenceKind::open: return "open";
        case DifferenceKind::short_circuit: return "short";
        case DifferenceKind::mouse_bite: return "mouse bite";
        case DifferenceKind::spur: return "spur";
        case DifferenceKind::stray_copper: return "stray copper";
        case DifferenceKind::pin_hole: return "pin hole";
    }
    return "";
}

Result<Comparison> compare_copper(const cv::Mat& reference, const cv::Mat& unit, const CompareOptions& options) {
    if (reference.empty() || unit.empty()) return bad_input("comparison: a picture is empty; give two pictures of the same area");
    if (reference.size() != unit.size())
        return bad_input(fmt::format("comparison: the pictures are {} x {} and {} x {} pixels; they must show the same area at one size",
                                     reference.cols, reference.rows, unit.cols, unit.rows));
    if (!(options.px_per_mm >= 1 && options.px_per_mm <= 400))
        return bad_input("comparison: pixels per millimetre must lie between 1 and 400");
    const double s = options.px_per_mm;
    EYELET_ASSIGN(cv::Mat was, two_tones(reference, "reference"));
    EYELET_ASSIGN(cv::Mat is, two_tones(unit, "unit"));

    Comparison comparison;
    if (options.copper == CopperIs::automatic) {
        cv::Mat inverse;
        cv::bitwise_not(was, inverse);
        // Where the count is even, dark: that is how artwork and scans show copper (common practice).
        const double dark = pieces_of(inverse, s), light = pieces_of(was, s);
        const double evidence = (dark - light) / (dark + light) + 0.35;
        comparison.copper_is_dark = evidence > 0;
        comparison.tone_is_sure = std::abs(evidence) > 0.3;
    } else {
        comparison.copper_is_dark = options.copper == CopperIs::dark;
    }
    if (comparison.copper_is_dark) {
        cv::bitwise_not(was, was);
        cv::bitwise_not(is, is);
    }
    Registered registered = register_to(was, is, std::max(2, static_cast<int>(std::lround(options.largest_shift_mm * s))));
    was = registered.reference;

    const double tolerance = std::max(1.0, options.edge_tolerance_mm * s);
    const cv::Mat ball = disc(tolerance);
    cv::Mat was_grown, was_shrunk, is_grown, missing, added, missing_all, added_all;
    cv::dilate(was, was_grown, ball);
    cv::erode(was, was_shrunk, ball);
    cv::dilate(is, is_grown, ball);
    cv::bitwise_and(was, ~is, missing_all);
    cv::bitwise_and(is, ~was, added_all);
    // Surely missing: deep inside the old copper, or far from the new. Surely added: far from the old copper.
    cv::bitwise_and(was_shrunk | ~is_grown, missing_all, missing);
    cv::bitwise_and(~was_grown, added_all, added);
    const cv::Mat any_missing = missing_all & registered.both_show, any_added = added_all & registered.both_show;
    cv::erode(registered.both_show, registered.both_show, ball, {-1, -1}, 1, cv::BORDER_CONSTANT, cv::Scalar(0));
    missing.setTo(0, ~registered.both_show);
    added.setTo(0, ~registered.both_show);
    // From the sure middle back to the whole difference, but not along the edges that merely wander.
    const auto whole = [&](const cv::Mat& sure, const cv::Mat& all) {
        cv::Mat reach;
        cv::dilate(sure, reach, disc(1.5 * tolerance));
        cv::bitwise_and(reach, all, reach);
        return reach;
    };
    missing_all = whole(missing, missing_all);
    added_all = whole(added, added_all);

    const int window_by = std::max(4, static_cast<int>(std::lround(kWindow * s)));
    const int reach = std::max(2, static_cast<int>(std::lround(tolerance)));
    const int least = std::max(4, static_cast<int>(0.01 * s * s));
    std::vector<Difference> found;
    const auto add = [&](const Region& region, DifferenceKind kind) {
        Difference difference;
        difference.kind = kind;
        difference.box = region.box;
        difference.area_mm2 = region.area / (s * s);
        found.push_back(difference);
    };
    // A cut through a thin track and a bridge over a thin gap are nowhere deep; what they do to the connections
    // tells them from a rough edge.
    const auto judge = [&](const Region& region, bool copper_gone, bool deep) {
        const cv::Rect window = grown(region.box, window_by, is.size());
        cv::Mat here = cv::Mat::zeros(window.size(), CV_8U), near;
        region.mask.copyTo(here(region.box - window.tl()));
        cv::dilate(here, near, disc(reach));
        const bool cut = copper_gone ? parts(was(window), is(window), near, least) : parts(is(window), was(window), near, least);
        if (!deep && !cut) return;
        if (copper_gone)
            add(region, cut ? DifferenceKind::open
                        : reaches_outside(is(window), was(window), here) ? DifferenceKind::mouse_bite
                                                                         : DifferenceKind::pin_hole);
        else
            add(region, cut ? DifferenceKind::short_circuit
                        : pieces_touched(was(window), near, 2) > 0 ? DifferenceKind::spur
                                                                   : DifferenceKind::stray_copper);
    };
    for (const bool copper_gone : {true, false}) {
        const cv::Mat& sure = copper_gone ? missing : added;
        const cv::Mat& all = copper_gone ? missing_all : added_all;
        for (const Region& region : regions_of(sure, all)) judge(region, copper_gone, true);
        cv::Mat shallow = copper_gone ? any_missing : any_added, rest;
        shallow.setTo(0, all);
        cv::erode(shallow, rest, disc(1));
        for (const Region& region : regions_of(rest, shallow)) judge(region, copper_gone, false);
    }

    // Differences of one kind close together are one; the box takes in what a person would mark.
    const int join = static_cast<int>(std::lround(kJoinWithin * s));
    for (bool joined = true; joined;) {
        joined = false;
        for (std::size_t i = 0; i < found.size() && !joined; ++i)
            for (std::size_t j = i + 1; j < found.size() && !joined; ++j)
                if (found[i].kind == found[j].kind && (grown(found[i].box, join, is.size()) & found[j].box).area() > 0) {
                    found[i].box |= found[j].box;
                    found[i].area_mm2 += found[j].area_mm2;
                    found.erase(found.begin() + static_cast<std::ptrdiff_t>(j));
                    joined = true;
                }
    }
    for (Difference& difference : found) {
        difference.probability = difference.area_mm2 / (difference.area_mm2 + kRoughArea);
        const int margin = static_cast<int>(std::lround(kBoxMargin * s));
        cv::Rect box = difference.box;
        const int smallest = static_cast<int>(std::lround(kBoxLeast * s));
        const int pad_x = std::max(margin, (smallest - box.width + 1) / 2), pad_y = std::max(margin, (smallest - box.height + 1) / 2);
        box = cv::Rect(box.x - pad_x, box.y - pad_y, box.width + 2 * pad_x, box.height + 2 * pad_y);
        difference.box = box & cv::Rect({0, 0}, is.size());
        if (difference.probability >= options.least_probability) comparison.differences.push_back(difference);
    }
    std::sort(comparison.differences.begin(), comparison.differences.end(), [](const Difference& a, const Difference& b) {
        return std::tuple(-a.probability, a.box.y, a.box.x) < std::tuple(-b.probability, b.box.y, b.box.x);
    });
    return comparison;
}

}  // namespace eyelet
