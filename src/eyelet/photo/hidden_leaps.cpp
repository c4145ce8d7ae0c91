#include "eyelet/photo/hidden_leaps.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <opencv2/imgproc.hpp>

namespace eyelet {

namespace {

std::size_t at(int index) { return static_cast<std::size_t>(index); }

struct End {
    int pixel = 0;
    int region = 0;
    double width_px = 0;  // 0: a pad, which has no direction either
    Point direction;      // unit, into the hidden area
};

// Ends of visible copper along the borders of hidden areas, by area.
std::map<int, std::vector<End>> find_ends(const RegionGraph& graph, const SidePictures& pictures, const LeapOptions& options) {
    const int width = graph.width;
    const int height = graph.height;
    cv::Mat areas;
    cv::connectedComponents(pictures.hidden, areas, 8, CV_32S);
    // Border pixels of visible copper, with the hidden area that they touch.
    cv::Mat border(height, width, CV_8U, cv::Scalar(0));
    cv::Mat touches(height, width, CV_32S, cv::Scalar(0));
    std::map<int, std::set<int>> pads_at;
    for (int row = 1; row + 1 < height; ++row) {
        const std::uint8_t* hidden = pictures.hidden.ptr<std::uint8_t>(row);
        for (int column = 1; column + 1 < width; ++column) {
            if (hidden[column] != 0) continue;
            int area = 0;
            for (const auto& [c, r] : {std::pair{column + 1, row}, std::pair{column - 1, row}, std::pair{column, row + 1}, std::pair{column, row - 1}})
                area = std::max(area, areas.at<int>(r, c));
            if (area == 0) continue;
            const int pad = pictures.owner.at<int>(row, column);
            if (pad >= 0) {
                pads_at[area].insert(pad);
                continue;
            }
            if (pictures.log_odds.at<float>(row, column) <= 0) continue;
            border.at<std::uint8_t>(row, column) = 1;
            touches.at<int>(row, column) = area;
        }
    }
    cv::Mat runs;
    cv::Mat statistics;
    cv::Mat centres;
    const int run_count = cv::connectedComponentsWithStats(border, runs, statistics, centres, 8, CV_32S);
    // The pixel of each run nearest its centre.
    std::vector<int> nearest(at(run_count), -1);
    std::vector<double> distance_to(at(run_count), 1e9);
    for (int row = 1; row + 1 < height; ++row)
        for (int column = 1; column + 1 < width; ++column) {
            const int run = runs.at<int>(row, column);
            if (run == 0) continue;
            const double d = std::hypot(column - centres.at<double>(run, 0), row - centres.at<double>(run, 1));
            if (d < distance_to[at(run)]) {
                distance_to[at(run)] = d;
                nearest[at(run)] = row * width + column;
            }
        }
    std::map<int, std::vector<End>> ends;
    const double widest_px = options.widest_stub_mm * pictures.grid.px_per_mm;
    for (int run = 1; run < run_count; ++run) {
        const double length = std::hypot(statistics.at<int>(run, cv::CC_STAT_WIDTH), statistics.at<int>(run, cv::CC_STAT_HEIGHT));
        if (length > widest_px) continue;
        End end;
        end.pixel = nearest[at(run)];
        end.region = graph.region[at(end.pixel)];
        const int row = end.pixel / width;
        const int column = end.pixel % width;
        end.width_px = std::max(1.0F, 2 * pictures.half_width.at<float>(row, column));
        // Direction: from where the copper's own way back leads, a millimetre or so inland.
        const std::vector<int> way = graph.way_back(end.pixel);
        const std::size_t back = std::min(way.size() - 1, static_cast<std::size_t>(pictures.grid.px_per_mm));
        const Point here{static_cast<double>(column), static_cast<double>(row)};
        const Point inland{static_cast<double>(way[back] % width), static_cast<double>(way[back] / width)};
        const double inland_px = distance(here, inland);
        if (inland_px < 2) continue;
        end.direction = (1 / inland_px) * (here - inland);
        // The way back may lead through the hidden area itself: then this end is where it comes out.
        if (back > 0 && pictures.hidden.at<std::uint8_t>(way[1] / width, way[1] % width) != 0) end.direction = -1.0 * end.direction;
        ends[touches.at<int>(row, column)].push_back(end);
    }
    for (const auto& [area, pads] : pads_at) {
        // A pad's place: any of its pixels does, the way back ends at once.
        for (const int pad : pads) {
            End end;
            end.region = pad;
            end.pixel = -1;
            ends[area].push_back(end);
        }
    }
    // Pads wholly under cover count for the area around them.
    return ends;
}

}  // namespace

void add_leaps(RegionGraph& graph, const SidePictures& pictures, const LeapOptions& options) {
    if (graph.pads == 0) return;
    std::map<int, std::vector<End>> ends = find_ends(graph, pictures, options);
    // A pixel in the middle of each pad.
    std::vector<int> middle(at(graph.pads), -1);
    {
        std::vector<std::array<double, 3>> sums(at(graph.pads), {0, 0, 0});
        for (int row = 0; row < graph.height; ++row)
            for (int column = 0; column < graph.width; ++column) {
                const int pad = pictures.owner.at<int>(row, column);
                if (pad < 0) continue;
                sums[at(pad)][0] += column;
                sums[at(pad)][1] += row;
                sums[at(pad)][2] += 1;
            }
        std::vector<double> best(at(graph.pads), 1e9);
        for (int row = 0; row < graph.height; ++row)
            for (int column = 0; column < graph.width; ++column) {
                const int pad = pictures.owner.at<int>(row, column);
                if (pad < 0) continue;
                const auto& s = sums[at(pad)];
                const double d = std::hypot(column - s[0] / s[2], row - s[1] / s[2]);
                if (d < best[at(pad)]) {
                    best[at(pad)] = d;
                    middle[at(pad)] = row * graph.width + column;
                }
            }
    }
    struct Leap {
        double pass = 0;
        const End* from = nullptr;
        const End* to = nullptr;
        double length_px = 0;
    };
    const double longest_px = options.longest_mm * pictures.grid.px_per_mm;
    const auto place = [&](const End& end) {
        return Point{static_cast<double>(end.pixel % graph.width), static_cast<double>(end.pixel / graph.width)};
    };
    std::set<std::pair<int, int>> known;  // pairs of pixels that leap already
    for (auto& [area, list] : ends) {
        for (End& end : list)
            if (end.pixel < 0) end.pixel = middle[at(end.region)];
        std::erase_if(list, [](const End& end) { return end.pixel < 0; });
        for (const End& from : list) {
            if (from.width_px == 0) continue;  // a stub at one end at least
            std::vector<Leap> leaps;
            for (const End& to : list) {
                if (&to == &from || to.region == from.region) continue;
                const Point chord = place(to) - place(from);
                const double length_px = length(chord);
                if (length_px < 1 || length_px > longest_px) continue;
                const Point unit = (1 / length_px) * chord;
                const double out = dot(unit, from.direction);
                if (out < 0.5) continue;
                double pass = -0.3 - 2.5 * (1 - out) - 0.4 * std::log1p(length_px / pictures.grid.px_per_mm / 4);
                if (to.width_px > 0) {
                    const double in = -dot(unit, to.direction);
                    if (in < 0.5) continue;
                    pass -= 2.5 * (1 - in) + std::abs(std::log(to.width_px / from.width_px));
                } else {
                    pass -= 0.5;
                }
                leaps.push_back({std::max(RegionGraph::kFloor, pass), &from, &to, length_px});
            }
            std::sort(leaps.begin(), leaps.end(), [](const Leap& x, const Leap& y) {
                return x.pass != y.pass ? x.pass > y.pass : x.to->pixel < y.to->pixel;
            });
            if (leaps.size() > at(options.partners)) leaps.resize(at(options.partners));
            for (const Leap& leap : leaps) {
                const auto pixels = std::minmax(leap.from->pixel, leap.to->pixel);
                if (!known.emplace(pixels.first, pixels.second).second) continue;
                const bool in_order = leap.from->region < leap.to->region;
                const End& a = in_order ? *leap.from : *leap.to;
                const End& b = in_order ? *leap.to : *leap.from;
                Contact contact;
                contact.a = a.region;
                contact.b = b.region;
                contact.pass = std::min<double>(
                    leap.pass, std::min(graph.reached[at(a.pixel)], graph.reached[at(b.pixel)]));
                contact.pixel_a = a.pixel;
                contact.pixel_b = b.pixel;
                contact.length_px = graph.steps[at(a.pixel)] + graph.steps[at(b.pixel)] + static_cast<int>(leap.length_px);
                contact.touching_px = 1;
                contact.open_px = static_cast<int>(std::lround(leap.from->width_px));
                contact.leap = true;
                graph.contacts.push_back(contact);
            }
        }
    }
}

}  // namespace eyelet
