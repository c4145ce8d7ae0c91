#include "eyelet/photo/pad_search.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include <opencv2/imgproc.hpp>

#include "eyelet/photo/rectify.h"

namespace eyelet {

namespace {

// Below this agreement a peak is chance: an outline of 40 independent points across noise reaches 0.25 once in
// thousands of places.
constexpr double kLeastAgreement = 0.4;
// Gradients of less than about one grey level a pixel are noise, not edges.
constexpr double kGradientFloor = 1.0;
// Corners of pads drawn as rounded rectangles: a quarter of the shorter side is common practice.
constexpr double kCornerShare = 0.25;
constexpr std::size_t kFewestPoints = 24;

// Outline of a rectangle with rounded corners, before it is turned; radius 0 to half the shorter side.
std::vector<OutlinePoint> rounded_outline(Size size, double radius, double step_mm) {
    const double w = size.width / 2 - radius;
    const double h = size.height / 2 - radius;
    std::vector<OutlinePoint> points;
    const auto straight = [&](Point from, Point to, Point normal) {
        const double along = distance(from, to);
        const int n = static_cast<int>(std::lround(along / step_mm));
        for (int i = 0; i < n; ++i) points.push_back({from + ((i + 0.5) / n) * (to - from), normal});
    };
    const auto corner = [&](Point middle, double from_rad) {
        const int n = static_cast<int>(std::lround(radius * std::numbers::pi / 2 / step_mm));
        for (int i = 0; i < n; ++i) {
            const double a = from_rad + (i + 0.5) / n * std::numbers::pi / 2;
            const Point out{std::cos(a), std::sin(a)};
            points.push_back({middle + radius * out, out});
        }
    };
    straight({size.width / 2, -h}, {size.width / 2, h}, {1, 0});
    corner({w, h}, 0);
    straight({w, size.height / 2}, {-w, size.height / 2}, {0, 1});
    corner({-w, h}, std::numbers::pi / 2);
    straight({-size.width / 2, h}, {-size.width / 2, -h}, {-1, 0});
    corner({-w, -h}, std::numbers::pi);
    straight({-w, -size.height / 2}, {w, -size.height / 2}, {0, -1});
    corner({w, -h}, 3 * std::numbers::pi / 2);
    return points;
}

double corner_radius(PadShape shape, Size size) {
    const double shorter = std::min(size.width, size.height);
    switch (shape) {
        case PadShape::circle:
        case PadShape::oval: return shorter / 2;
        case PadShape::rounded_rectangle: return shorter * kCornerShare;
        default: return 0;
    }
}

// Whether a place lies on a joint's pad (as its box, turned).
bool on_pad(const Joint& joint, Point place) {
    const double a = joint.rotation_deg * std::numbers::pi / 180;
    const Point d = place - joint.copper_centre;
    // Counter-clockwise as seen is clockwise in a frame whose y runs down.
    const Point in_pad{std::cos(a) * d.x - std::sin(a) * d.y, std::sin(a) * d.x + std::cos(a) * d.y};
    return std::abs(in_pad.x) <= joint.pad_mm.width / 2 && std::abs(in_pad.y) <= joint.pad_mm.height / 2;
}

}  // namespace

std::vector<OutlinePoint> outline_of(PadShape shape, Size size_mm, double rotation_deg, double step_mm) {
    const double around = 2 * (size_mm.width + size_mm.height);
    std::vector<OutlinePoint> points =
        rounded_outline(size_mm, corner_radius(shape, size_mm), std::min(step_mm, around / (1.2 * kFewestPoints)));
    const double a = rotation_deg * std::numbers::pi / 180;
    const auto turned = [&](Point p) {
        return Point{std::cos(a) * p.x + std::sin(a) * p.y, -std::sin(a) * p.x + std::cos(a) * p.y};
    };
    for (OutlinePoint& p : points) p = {turned(p.at), turned(p.normal)};
    return points;
}

std::vector<Mark> marks_of(const Assembly& assembly, BoardIndex board, Side side, std::size_t most) {
    constexpr double step_mm = 0.08;
    std::vector<const Joint*> joints;
    std::vector<JointIndex> places;
    for (std::size_t i = 0; i < assembly.joints.size(); ++i) {
        const Joint& joint = assembly.joints[i];
        if (joint.board == board && joint.on(side) && joint.kind == JointKind::pad) {
            joints.push_back(&joint);
            places.push_back(JointIndex(i));
        }
    }
    // Neighbours by a grid of cells as large as the largest pad.
    double cell = 1;
    for (const Joint* joint : joints) cell = std::max(cell, std::hypot(joint->pad_mm.width, joint->pad_mm.height));
    const auto cell_of = [&](Point p) {
        return std::pair(static_cast<long>(std::floor(p.x / cell)), static_cast<long>(std::floor(p.y / cell)));
    };
    std::map<std::pair<long, long>, std::vector<std::size_t>> grid;
    for (std::size_t i = 0; i < joints.size(); ++i) grid[cell_of(joints[i]->copper_centre)].push_back(i);

    // What is left in reach of a joint, in round-robin order over cells so that any first part is spread evenly.
    std::map<std::pair<long, long>, std::vector<std::size_t>> spread;
    const Size size = assembly.board(board).size_mm;
    const double wide = std::max(1e-6, std::max(size.width, size.height) / 12);
    for (std::size_t i = 0; i < joints.size(); ++i) {
        const Joint& joint = *joints[i];
        if (joint.shape == PadShape::custom || joint.shape == PadShape::trapezoid) continue;
        const auto outline = outline_of(joint.shape, joint.pad_mm, joint.rotation_deg, step_mm);
        std::size_t covered = 0;
        const auto [cx, cy] = cell_of(joint.copper_centre);
        for (long x = cx - 1; x <= cx + 1; ++x)
            for (long y = cy - 1; y <= cy + 1; ++y)
                if (const auto near = grid.find({x, y}); near != grid.end())
                    for (std::size_t other : near->second)
                        if (other != i)
                            covered += static_cast<std::size_t>(std::count_if(outline.begin(), outline.end(), [&](const OutlinePoint& p) {
                                return on_pad(*joints[other], joint.copper_centre + p.at);
                            }));
        if (4 * covered < outline.size())
            spread[{static_cast<long>(joint.copper_centre.x / wide), static_cast<long>(joint.copper_centre.y / wide)}].push_back(i);
    }
    std::vector<std::size_t> chosen;
    for (std::size_t turn = 0; chosen.size() < most; ++turn) {
        const std::size_t before = chosen.size();
        for (const auto& [place, inside] : spread)
            if (turn < inside.size() && chosen.size() < most) chosen.push_back(inside[turn]);
        if (chosen.size() == before) break;
    }
    std::sort(chosen.begin(), chosen.end());
    std::vector<Mark> marks;
    for (std::size_t i : chosen) {
        const Joint& joint = *joints[i];
        marks.push_back({places[i], MarkKind::pad, joint.copper_centre, outline_of(joint.shape, joint.pad_mm, joint.rotation_deg, step_mm)});
        if (joint.drill_mm && joint.drill_mm->width < joint.pad_mm.width && joint.drill_mm->height < joint.pad_mm.height)
            marks.push_back({places[i], MarkKind::hole, joint.hole, outline_of(PadShape::oval, *joint.drill_mm, joint.rotation_deg, step_mm)});
    }
    return marks;
}

namespace {

// Grey or colour to what is compared: logarithms, in hundredths, so that a dim corner counts like a bright one. Of a
// colour picture the brightness gives way to the two ratios between channels: solder's shading and its highlights move
// the brightness but not the ratios, and those change where metal meets mask.
constexpr float kDarkFloor = 12;  // grey levels; below it is noise
constexpr float kBrightnessShare = 0.4F;

void to_compared(cv::Mat& flat) {
    cv::log(flat + cv::Scalar::all(kDarkFloor), flat);
    flat *= 100;
    if (flat.channels() != 3) return;
    for (int r = 0; r < flat.rows; ++r)
        for (auto* p = flat.ptr<cv::Vec3f>(r); p != flat.ptr<cv::Vec3f>(r) + flat.cols; ++p)
            *p = {kBrightnessShare / 3 * ((*p)[0] + (*p)[1] + (*p)[2]), (*p)[0] - (*p)[1], (*p)[2] - (*p)[1]};
}

// The patch around a mark, as seen straight from above, and its gradients (channels interleaved).
struct Patch {
    Point low_mm;
    cv::Mat across;
    cv::Mat down;
};

Patch patch_around(const cv::Mat& photo, const Camera& camera, const Mark& mark, const SearchWindow& window) {
    Point reach;
    for (const OutlinePoint& p : mark.outline) reach = {std::max(reach.x, std::abs(p.at.x)), std::max(reach.y, std::abs(p.at.y))};
    const double margin = window.reach_mm + 2 * window.blur_mm + 3 / window.px_per_mm;
    const Box box{mark.middle_mm - reach - Point{margin, margin}, mark.middle_mm + reach + Point{margin, margin}};
    cv::Mat flat;
    rectify(photo, camera, box, window.px_per_mm).convertTo(flat, CV_32F);
    const double sigma = window.blur_mm * window.px_per_mm;
    to_compared(flat);
    if (sigma > 0.3) cv::GaussianBlur(flat, flat, {}, sigma, sigma, cv::BORDER_REPLICATE);
    Patch patch;
    patch.low_mm = box.low;
    const cv::Matx13f difference(-0.5F, 0, 0.5F);
    cv::filter2D(flat, patch.across, CV_32F, difference, {-1, -1}, 0, cv::BORDER_REPLICATE);
    cv::filter2D(flat, patch.down, CV_32F, difference.t(), {-1, -1}, 0, cv::BORDER_REPLICATE);
    return patch;
}

// J for every whole shift of -reach .. reach pixels.
cv::Mat agreement_map(const Patch& patch, const Mark& mark, double px_per_mm, int reach) {
    const int channels = patch.across.channels();
    struct Tap {
        int column, row;
        float fx, fy, nx, ny;
    };
    std::vector<Tap> taps;
    for (const OutlinePoint& p : mark.outline) {
        const Point at = px_per_mm * (mark.middle_mm + p.at - patch.low_mm) - Point{0.5, 0.5};
        const double column = std::floor(at.x);
        const double row = std::floor(at.y);
        const Tap tap{static_cast<int>(column), static_cast<int>(row), static_cast<float>(at.x - column), static_cast<float>(at.y - row),
                      static_cast<float>(p.normal.x), static_cast<float>(p.normal.y)};
        if (tap.column - reach < 0 || tap.row - reach < 0 || tap.column + reach + 1 >= patch.across.cols ||
            tap.row + reach + 1 >= patch.across.rows)
            return {};
        taps.push_back(tap);
    }
    cv::Mat map(2 * reach + 1, 2 * reach + 1, CV_32F);
    const auto count = static_cast<float>(taps.size());
    for (int sy = -reach; sy <= reach; ++sy)
        for (int sx = -reach; sx <= reach; ++sx) {
            float directed[3] = {};
            float energy = 0;
            for (const Tap& tap : taps) {
                const int column = (tap.column + sx) * channels;
                const float* ax = patch.across.ptr<float>(tap.row + sy) + column;
                const float* bx = patch.across.ptr<float>(tap.row + sy + 1) + column;
                const float* ay = patch.down.ptr<float>(tap.row + sy) + column;
                const float* by = patch.down.ptr<float>(tap.row + sy + 1) + column;
                const float w00 = (1 - tap.fx) * (1 - tap.fy);
                const float w10 = tap.fx * (1 - tap.fy);
                const float w01 = (1 - tap.fx) * tap.fy;
                const float w11 = tap.fx * tap.fy;
                for (int k = 0; k < channels; ++k) {
                    const float gx = w00 * ax[k] + w10 * ax[k + channels] + w01 * bx[k] + w11 * bx[k + channels];
                    const float gy = w00 * ay[k] + w10 * ay[k + channels] + w01 * by[k] + w11 * by[k + channels];
                    directed[k] += gx * tap.nx + gy * tap.ny;
                    energy += gx * gx + gy * gy;
                }
            }
            float square = 0;
            for (int k = 0; k < channels; ++k) square += directed[k] * directed[k] / (count * count);
            // An open hole is dark; a bright spot of its size is the end of a lead.
            if (mark.kind == MarkKind::hole && directed[0] < 0) square = 0;
            map.at<float>(sy + reach, sx + reach) = square / (energy / count + static_cast<float>(kGradientFloor));
        }
    return map;
}

// Where a parabola through three values a step apart has its top.
double top_of(double before, double at, double after) {
    const double bend = before - 2 * at + after;
    return bend < 0 ? std::clamp(0.5 * (before - after) / bend, -0.5, 0.5) : 0;
}

}  // namespace

std::vector<Found> find_marks(const cv::Mat& photo, const Camera& camera, std::span<const Mark> marks, const SearchWindow& window) {
    const int reach = std::max(2, static_cast<int>(std::ceil(window.reach_mm * window.px_per_mm)));
    std::vector<Found> found(marks.size());
    cv::parallel_for_(cv::Range(0, static_cast<int>(marks.size())), [&](const cv::Range& range) {
        for (int i = range.start; i < range.end; ++i) {
            const Mark& mark = marks[static_cast<std::size_t>(i)];
            const Point predicted = camera.to_photo(mark.middle_mm);
            if (predicted.x < 0 || predicted.y < 0 || predicted.x >= photo.cols || predicted.y >= photo.rows) continue;
            const cv::Mat map = agreement_map(patch_around(photo, camera, mark, window), mark, window.px_per_mm, reach);
            if (map.empty()) continue;
            double best = 0;
            cv::Point at;
            cv::minMaxLoc(map, nullptr, &best, nullptr, &at);
            // A peak on the rim may go on outside.
            if (best < kLeastAgreement || at.x == 0 || at.y == 0 || at.x == 2 * reach || at.y == 2 * reach) continue;
            const auto value = [&](int dx, int dy) { return static_cast<double>(map.at<float>(at.y + dy, at.x + dx)); };
            const Point shift_px{at.x - reach + top_of(value(-1, 0), best, value(1, 0)),
                                 at.y - reach + top_of(value(0, -1), best, value(0, 1))};
            found[static_cast<std::size_t>(i)] = {static_cast<std::size_t>(i), (1 / window.px_per_mm) * shift_px, best};
        }
    });
    std::erase_if(found, [](const Found& f) { return f.agreement == 0; });
    return found;
}

std::vector<Edge> find_edges(const cv::Mat& photo, const Camera& camera, std::span<const Mark> marks, const SearchWindow& window) {
    std::vector<std::vector<Edge>> of_mark(marks.size());
    const double step_mm = 0.5 / window.px_per_mm;
    const int reach = std::max(3, static_cast<int>(std::ceil(window.reach_mm / step_mm)));
    cv::parallel_for_(cv::Range(0, static_cast<int>(marks.size())), [&](const cv::Range& range) {
        std::vector<double> strength(static_cast<std::size_t>(2 * reach + 1));
        for (int i = range.start; i < range.end; ++i) {
            const Mark& mark = marks[static_cast<std::size_t>(i)];
            const Point predicted = camera.to_photo(mark.middle_mm);
            if (predicted.x < 0 || predicted.y < 0 || predicted.x >= photo.cols || predicted.y >= photo.rows) continue;
            const Patch patch = patch_around(photo, camera, mark, window);
            const int channels = patch.across.channels();
            const auto points = mark.outline.size();
            const double around = static_cast<double>(points) * distance(mark.outline[0].at, mark.outline[1].at);
            const auto pieces = std::max<std::size_t>(8, static_cast<std::size_t>(around / kEdgePieceMm));
            for (std::size_t piece = 0; piece < pieces; ++piece) {
                const std::size_t first = piece * points / pieces;
                const std::size_t last = (piece + 1) * points / pieces;
                if (first == last) continue;
                Point at;
                Point normal;
                for (std::size_t k = first; k < last; ++k) {
                    at = at + mark.outline[k].at;
                    normal = normal + mark.outline[k].normal;
                }
                // Around a corner the normals differ and no one edge lies along the piece.
                if (length(normal) < 0.9 * static_cast<double>(last - first)) continue;
                normal = (1 / length(normal)) * normal;
                at = (1.0 / static_cast<double>(last - first)) * at;
                for (int s = -reach; s <= reach; ++s) {
                    double directed[3] = {};
                    for (std::size_t k = first; k < last; ++k) {
                        const Point place = window.px_per_mm * (mark.middle_mm + mark.outline[k].at + (s * step_mm) * mark.outline[k].normal - patch.low_mm) -
                                            Point{0.5, 0.5};
                        const int column = static_cast<int>(std::floor(place.x));
                        const int row = static_cast<int>(std::floor(place.y));
                        if (column < 0 || row < 0 || column + 1 >= patch.across.cols || row + 1 >= patch.across.rows) continue;
                        const double fx = place.x - column;
                        const double fy = place.y - row;
                        const float* ax = patch.across.ptr<float>(row) + column * channels;
                        const float* bx = patch.across.ptr<float>(row + 1) + column * channels;
                        const float* ay = patch.down.ptr<float>(row) + column * channels;
                        const float* by = patch.down.ptr<float>(row + 1) + column * channels;
                        for (int c = 0; c < channels; ++c) {
                            const double gx = (1 - fy) * ((1 - fx) * ax[c] + fx * ax[c + channels]) + fy * ((1 - fx) * bx[c] + fx * bx[c + channels]);
                            const double gy = (1 - fy) * ((1 - fx) * ay[c] + fx * ay[c + channels]) + fy * ((1 - fx) * by[c] + fx * by[c + channels]);
                            directed[c] += gx * mark.outline[k].normal.x + gy * mark.outline[k].normal.y;
                        }
                    }
                    double square = 0;
                    for (const double d : directed) square += d * d;
                    strength[static_cast<std::size_t>(s + reach)] = std::sqrt(square) / static_cast<double>(last - first);
                }
                const auto top = std::max_element(strength.begin(), strength.end());
                if (top == strength.begin() || top + 1 == strength.end() || *top < std::sqrt(kGradientFloor)) continue;
                const double place = static_cast<double>(top - strength.begin()) - reach + top_of(*(top - 1), *top, *(top + 1));
                of_mark[static_cast<std::size_t>(i)].push_back({static_cast<std::size_t>(i), mark.middle_mm + at, normal, place * step_mm});
            }
        }
    });
    std::vector<Edge> edges;
    for (const auto& of_one : of_mark) edges.insert(edges.end(), of_one.begin(), of_one.end());
    return edges;
}

}  // namespace eyelet
