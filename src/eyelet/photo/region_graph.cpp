#include "eyelet/photo/region_graph.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>
#include <unordered_map>

namespace eyelet {

namespace {

constexpr double kStep = 0.125;  // log-odds of one level
constexpr int kLevels = static_cast<int>((RegionGraph::kCeiling - RegionGraph::kFloor) / kStep) + 1;
constexpr int kPadLevel = kLevels - 1;

// Straight steps first, so that ways run straight where they can.
constexpr std::array<int, 8> kColumnStep{1, -1, 0, 0, 1, -1, 1, -1};
constexpr std::array<int, 8> kRowStep{0, 0, 1, -1, 1, -1, -1, 1};
constexpr std::array<std::uint8_t, 8> kOpposite{1, 0, 3, 2, 5, 4, 7, 6};

int level_of(float log_odds) {
    const double clamped = std::clamp<double>(log_odds, RegionGraph::kFloor, RegionGraph::kCeiling);
    return static_cast<int>(std::lround((clamped - RegionGraph::kFloor) / kStep));
}
double log_odds_of(int level) { return RegionGraph::kFloor + kStep * level; }

// Calls visit(neighbour, direction) for each neighbour inside the grid.
template <class Visit>
void for_neighbours(int pixel, int width, int height, Visit visit) {
    const int row = pixel / width;
    const int column = pixel - row * width;
    for (int k = 0; k < 8; ++k) {
        const int c = column + kColumnStep[static_cast<std::size_t>(k)];
        const int r = row + kRowStep[static_cast<std::size_t>(k)];
        if (c < 0 || r < 0 || c >= width || r >= height) continue;
        visit(r * width + c, static_cast<std::uint8_t>(k));
    }
}

std::size_t at(int index) { return static_cast<std::size_t>(index); }

// Summits that are no pad and rise far enough over the pass at which they meet something higher: the classic
// sweep from above with a forest of merged components; the younger summit ends where two components meet.
std::vector<int> find_islands(const std::vector<std::uint8_t>& level, const std::vector<std::int32_t>& pad_of, int width,
                              int height, const RegionOptions& options) {
    const int count = width * height;
    std::array<std::vector<int>, kLevels> pixels_at;
    {
        std::array<int, kLevels> sizes{};
        for (int p = 0; p < count; ++p) ++sizes[level[at(p)]];
        for (int l = 0; l < kLevels; ++l) pixels_at[at(l)].reserve(at(sizes[at(l)]));
        for (int p = 0; p < count; ++p) pixels_at[level[at(p)]].push_back(p);
    }
    std::vector<int> parent(at(count), -1);
    std::vector<int> size(at(count), 1);
    std::vector<std::uint8_t> birth(at(count), 0);  // level of the component's summit; above all for pads
    constexpr std::uint8_t kPadBirth = 255;
    const int rise = std::max(1, static_cast<int>(std::lround(options.island_rise / kStep)));
    const auto root_of = [&](int p) {
        while (parent[at(p)] != p) {
            parent[at(p)] = parent[at(parent[at(p)])];
            p = parent[at(p)];
        }
        return p;
    };
    std::vector<int> islands;
    for (int l = kLevels - 1; l >= 0; --l) {
        for (const int p : pixels_at[at(l)]) {
            parent[at(p)] = p;
            birth[at(p)] = pad_of[at(p)] >= 0 ? kPadBirth : static_cast<std::uint8_t>(l);
            int root = p;
            for_neighbours(p, width, height, [&](int q, std::uint8_t) {
                if (parent[at(q)] < 0) return;
                int other = root_of(q);
                if (other == root) return;
                int older = root;
                int younger = other;
                if (birth[at(younger)] > birth[at(older)] ||
                    (birth[at(younger)] == birth[at(older)] && size[at(younger)] > size[at(older)]))
                    std::swap(older, younger);
                if (birth[at(younger)] != kPadBirth && birth[at(younger)] - l >= rise &&
                    size[at(younger)] >= options.least_island_px)
                    islands.push_back(younger);
                parent[at(younger)] = older;
                size[at(older)] += size[at(younger)];
                root = older;
            });
        }
    }
    // A component's root stays the first pixel of its summit: the older root wins every merge.
    return islands;
}

struct Border {
    int level = -1;
    int length = 0;
    int pixel_a = 0;
    int pixel_b = 0;
    int touching = 0;
    std::array<int, kLevels> at_level{};
};

}  // namespace

std::vector<int> RegionGraph::way_back(int pixel) const {
    std::vector<int> way{pixel};
    while (back[at(pixel)] != kSource) {
        const std::size_t k = back[at(pixel)];
        pixel += kRowStep[k] * width + kColumnStep[k];
        way.push_back(pixel);
    }
    return way;
}

std::vector<int> RegionGraph::way_back_inside(int pixel) const {
    std::vector<int> way{pixel};
    while (back_inside[at(pixel)] != kSource) {
        const std::size_t k = back_inside[at(pixel)];
        pixel += kRowStep[k] * width + kColumnStep[k];
        way.push_back(pixel);
    }
    return way;
}

RegionGraph grow_regions(const cv::Mat& log_odds, const cv::Mat& owner, int pads, const RegionOptions& options) {
    RegionGraph graph;
    graph.width = log_odds.cols;
    graph.height = log_odds.rows;
    graph.pads = pads;
    if (pads == 0) return graph;  // nothing to grow from
    const int width = graph.width;
    const int height = graph.height;
    const int count = width * height;

    std::vector<std::uint8_t> level(at(count));
    std::vector<std::int32_t> pad_of(at(count));
    for (int row = 0; row < height; ++row) {
        const float* heights = log_odds.ptr<float>(row);
        const int* owners = owner.ptr<int>(row);
        for (int column = 0; column < width; ++column) {
            const std::size_t p = at(row * width + column);
            pad_of[p] = owners[column];
            level[p] = static_cast<std::uint8_t>(owners[column] >= 0 ? kPadLevel : level_of(heights[column]));
        }
    }
    const std::vector<int> islands = find_islands(level, pad_of, width, height, options);
    graph.regions = pads + static_cast<int>(islands.size());

    // Flood. `reached` is the lowest level on the way from the source.
    graph.region.assign(at(count), -1);
    graph.back.assign(at(count), RegionGraph::kSource);
    std::vector<std::uint8_t> reached(at(count), 0);
    std::vector<std::int32_t> steps(at(count), 0);
    std::array<std::vector<int>, kLevels> waiting;
    std::array<std::size_t, kLevels> taken{};
    for (int p = 0; p < count; ++p) {
        if (pad_of[at(p)] < 0) continue;
        graph.region[at(p)] = pad_of[at(p)];
        reached[at(p)] = kPadLevel;
        waiting[kPadLevel].push_back(p);
    }
    for (std::size_t i = 0; i < islands.size(); ++i) {
        const int p = islands[i];
        graph.region[at(p)] = pads + static_cast<int>(i);
        reached[at(p)] = level[at(p)];
        waiting[level[at(p)]].push_back(p);
    }
    int l = kLevels - 1;
    while (l >= 0) {
        if (taken[at(l)] == waiting[at(l)].size()) {
            std::vector<int>().swap(waiting[at(l)]);
            taken[at(l)] = 0;
            --l;
            continue;
        }
        const int p = waiting[at(l)][taken[at(l)]++];
        for_neighbours(p, width, height, [&](int q, std::uint8_t k) {
            if (graph.region[at(q)] >= 0) return;
            const int reach = std::min<int>(l, level[at(q)]);
            graph.region[at(q)] = graph.region[at(p)];
            graph.back[at(q)] = kOpposite[k];
            reached[at(q)] = static_cast<std::uint8_t>(reach);
            steps[at(q)] = steps[at(p)] + 1;
            waiting[at(reach)].push_back(q);
        });
    }

    graph.area_px.assign(at(graph.regions), 0);
    const int even = level_of(0.0F);
    for (int p = 0; p < count; ++p)
        if (level[at(p)] >= even) ++graph.area_px[at(graph.region[at(p)])];

    // Where regions touch: straight neighbours only, each pair of pixels once.
    std::unordered_map<std::uint64_t, Border> borders;
    const auto note = [&](int p, int q) {
        int a = graph.region[at(p)];
        int b = graph.region[at(q)];
        if (a == b) return;
        if (a > b) {
            std::swap(a, b);
            std::swap(p, q);
        }
        Border& border = borders[(static_cast<std::uint64_t>(a) << 32) | static_cast<std::uint32_t>(b)];
        const int pass = std::min(reached[at(p)], reached[at(q)]);
        const int length = steps[at(p)] + steps[at(q)] + 1;
        ++border.touching;
        ++border.at_level[at(std::min(level[at(p)], level[at(q)]))];
        if (pass > border.level || (pass == border.level && length < border.length)) {
            border.level = pass;
            border.length = length;
            border.pixel_a = p;
            border.pixel_b = q;
        }
    };
    for (int row = 0; row < height; ++row)
        for (int column = 0; column < width; ++column) {
            const int p = row * width + column;
            if (column + 1 < width) note(p, p + 1);
            if (row + 1 < height) note(p, p + width);
        }
    graph.contacts.reserve(borders.size());
    for (const auto& [key, border] : borders) {
        Contact contact;
        contact.a = static_cast<int>(key >> 32);
        contact.b = static_cast<int>(key & 0xffffffffU);
        contact.pass = log_odds_of(border.level);
        contact.pixel_a = border.pixel_a;
        contact.pixel_b = border.pixel_b;
        contact.length_px = border.length;
        contact.touching_px = border.touching;
        for (int k = std::max(0, border.level - 4); k < kLevels; ++k) contact.open_px += border.at_level[at(k)];
        graph.contacts.push_back(contact);
    }
    std::sort(graph.contacts.begin(), graph.contacts.end(),
              [](const Contact& x, const Contact& y) { return x.a != y.a ? x.a < y.a : x.b < y.b; });
    graph.steps = std::move(steps);
    graph.reached.resize(at(count));
    for (int p = 0; p < count; ++p) graph.reached[at(p)] = static_cast<float>(log_odds_of(reached[at(p)]));
    for (const int island : islands) graph.summit.push_back(static_cast<float>(log_odds_of(level[at(island)])));
    return graph;
}

void cross_islands(RegionGraph& graph) {
    const int width = graph.width;
    const int height = graph.height;
    const int count = static_cast<int>(graph.region.size());
    const int pads = graph.pads;
    graph.contacts_of.assign(at(graph.regions), {});
    for (std::size_t i = 0; i < graph.contacts.size(); ++i) {
        graph.contacts_of[at(graph.contacts[i].a)].push_back(static_cast<int>(i));
        graph.contacts_of[at(graph.contacts[i].b)].push_back(static_cast<int>(i));
    }

    // Inside islands: each pixel to its nearest contact; contacts whose areas touch are neighbours. An island's body
    // is what lies nearly as high as its summit, or above even odds; it is connected, for the flood came down through it.
    std::vector<float> body;
    for (const float summit : graph.summit) body.push_back(std::min(0.0F, summit - 0.75F));
    graph.entry.assign(2 * graph.contacts.size(), -1);
    graph.crossings.clear();
    graph.back_inside.assign(at(count), RegionGraph::kSource);
    graph.crossings_of.assign(2 * graph.contacts.size(), {});
    std::vector<std::int32_t> half_of(at(count), -1);
    std::vector<int> queue;
    // Two contacts may use the same pixel of the island; the second is then a neighbour at no distance.
    std::unordered_map<std::uint64_t, Crossing> crossings;
    const auto cross = [&](int half_a, int half_b, int pixel_a, int pixel_b, int length) {
        if (half_a > half_b) {
            std::swap(half_a, half_b);
            std::swap(pixel_a, pixel_b);
        }
        const std::uint64_t key = (static_cast<std::uint64_t>(half_a) << 32) | static_cast<std::uint32_t>(half_b);
        const auto [place, fresh] = crossings.try_emplace(key, Crossing{half_a, half_b, pixel_a, pixel_b, length});
        if (!fresh && length < place->second.length_px) place->second = {half_a, half_b, pixel_a, pixel_b, length};
    };
    for (std::size_t i = 0; i < graph.contacts.size(); ++i) {
        for (const int end : {0, 1}) {
            const Contact& contact = graph.contacts[i];
            if ((end == 0 ? contact.a : contact.b) < pads) continue;
            const int half = 2 * static_cast<int>(i) + end;
            const int island = end == 0 ? contact.a : contact.b;
            // From the crossing uphill to the island's body.
            int pixel = end == 0 ? contact.pixel_a : contact.pixel_b;
            while (graph.reached[at(pixel)] < body[at(island - pads)]) {
                const std::size_t k = graph.back[at(pixel)];
                pixel += kRowStep[k] * width + kColumnStep[k];
            }
            graph.entry[at(half)] = pixel;
            if (half_of[at(pixel)] >= 0) {
                cross(half_of[at(pixel)], half, pixel, pixel, 0);
                continue;
            }
            half_of[at(pixel)] = half;
            queue.push_back(pixel);
        }
    }
    std::vector<std::int32_t> steps(at(count), 0);
    for (std::size_t i = 0; i < queue.size(); ++i) {
        const int p = queue[i];
        for_neighbours(p, width, height, [&](int q, std::uint8_t k) {
            if (graph.region[at(q)] != graph.region[at(p)]) return;
            if (half_of[at(q)] >= 0) {
                if (half_of[at(q)] != half_of[at(p)])
                    cross(half_of[at(p)], half_of[at(q)], p, q, steps[at(p)] + steps[at(q)] + 1);
                return;
            }
            if (graph.reached[at(q)] < body[at(graph.region[at(q)] - pads)]) return;
            half_of[at(q)] = half_of[at(p)];
            graph.back_inside[at(q)] = kOpposite[k];
            steps[at(q)] = steps[at(p)] + 1;
            queue.push_back(q);
        });
    }
    graph.crossings.reserve(crossings.size());
    for (const auto& [key, crossing] : crossings) graph.crossings.push_back(crossing);
    std::sort(graph.crossings.begin(), graph.crossings.end(), [](const Crossing& x, const Crossing& y) {
        return x.half_a != y.half_a ? x.half_a < y.half_a : x.half_b < y.half_b;
    });
    for (std::size_t i = 0; i < graph.crossings.size(); ++i) {
        graph.crossings_of[at(graph.crossings[i].half_a)].push_back(static_cast<int>(i));
        graph.crossings_of[at(graph.crossings[i].half_b)].push_back(static_cast<int>(i));
    }
}

}  // namespace eyelet
