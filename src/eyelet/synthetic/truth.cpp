#include "eyelet/synthetic/truth.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <unordered_map>

namespace eyelet::synthetic {
namespace {

class Groups {
  public:
    explicit Groups(std::size_t count) : parent_(count) {
        std::iota(parent_.begin(), parent_.end(), std::size_t{0});
    }
    std::size_t find(std::size_t i) {
        while (parent_[i] != i) i = parent_[i] = parent_[parent_[i]];
        return i;
    }
    void join(std::size_t a, std::size_t b) { parent_[find(a)] = find(b); }

  private:
    std::vector<std::size_t> parent_;
};

struct Item {
    Shape shape;
    std::size_t group;
};

// Every two figures of one side that overlap become one group.
void join_touching(const std::vector<Item>& items, Groups& groups) {
    constexpr double kBin = 2.0;
    std::unordered_map<long, std::vector<std::size_t>> bins;
    for (std::size_t i = 0; i < items.size(); ++i) {
        const Box box = bounds(items[i].shape);
        const auto left = static_cast<long>(std::floor(box.low.x / kBin));
        const auto right = static_cast<long>(std::floor(box.high.x / kBin));
        const auto top = static_cast<long>(std::floor(box.low.y / kBin));
        const auto bottom = static_cast<long>(std::floor(box.high.y / kBin));
        for (long y = top; y <= bottom; ++y)
            for (long x = left; x <= right; ++x) {
                auto& bin = bins[y * 100000 + x];
                for (const std::size_t other : bin)
                    if (groups.find(items[other].group) != groups.find(items[i].group) &&
                        overlap(bounds(items[other].shape), box) &&
                        gap_mm(items[other].shape, items[i].shape) < 0)
                        groups.join(items[other].group, items[i].group);
                bin.push_back(i);
            }
    }
}

// Points that cover a figure closely enough that copper which overlaps it by more than 0.05 mm meets one of
// them.
template <class Visit>
void each_inner_point(const Shape& shape, Visit visit) {
    constexpr double kStep = 0.05;
    const double rim = std::max(0.0, shape.radius_mm - 0.005);
    if (shape.closed || shape.core.size() == 1) {
        const Box box = bounds(shape);
        for (double y = box.low.y; y <= box.high.y; y += kStep)
            for (double x = box.low.x; x <= box.high.x; x += kStep)
                if (signed_distance_mm(shape, {x, y}) < 0) visit(Point{x, y});
        return;
    }
    for (std::size_t i = 1; i < shape.core.size(); ++i) {
        const Point a = shape.core[i - 1];
        const Point b = shape.core[i];
        const double run = distance(a, b);
        if (run <= 0) continue;
        const Point along = (1 / run) * (b - a);
        const Point across{-along.y, along.x};
        for (double t = -rim; t <= run + rim; t += kStep) {
            const double beyond = std::max(-t, t - run);
            const double half = beyond > 0 ? std::sqrt(std::max(0.0, rim * rim - beyond * beyond)) : rim;
            for (const double side : {-1.0, -0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75, 1.0})
                visit(a + t * along + (side * half) * across);
        }
    }
}

}  // namespace

std::vector<std::vector<JointIndex>> true_nets(const Layout& layout) {
    const std::size_t joints = layout.assembly.joints.size();
    // Groups: for each joint one on either side, then each piece of copper, then each piece of each fill.
    std::size_t count = 2 * joints + layout.copper.size();
    std::vector<std::size_t> first_piece;
    for (const Fill& fill : layout.fills) {
        first_piece.push_back(count);
        count += static_cast<std::size_t>(fill.pieces);
    }
    Groups groups(count);
    for (const Side side : {Side::component, Side::solder}) {
        const std::size_t offset = side == Side::component ? 0 : joints;
        std::vector<Item> items;
        for (std::size_t j = 0; j < joints; ++j)
            if (layout.assembly.joints[j].on(side) && !layout.is_lost(j))
                items.push_back({pad_shape(layout.assembly.joints[j]), offset + j});
        for (std::size_t c = 0; c < layout.copper.size(); ++c) {
            const Copper& copper = layout.copper[c];
            if (copper.side != side) continue;
            if (copper.shape.closed || copper.shape.core.size() < 3) {
                items.push_back({copper.shape, 2 * joints + c});
                continue;
            }
            for (std::size_t i = 1; i < copper.shape.core.size(); ++i)
                items.push_back(
                    {{{copper.shape.core[i - 1], copper.shape.core[i]}, false, copper.shape.radius_mm},
                     2 * joints + c});
        }
        join_touching(items, groups);
        for (std::size_t f = 0; f < layout.fills.size(); ++f) {
            const Fill& fill = layout.fills[f];
            if (fill.side != side) continue;
            const auto touch = [&](Point p, std::size_t group) {
                const std::int32_t piece = fill.piece_at(p);
                if (piece >= 0) groups.join(first_piece[f] + static_cast<std::size_t>(piece), group);
            };
            for (const Item& item : items)
                each_inner_point(item.shape, [&](Point p) { touch(p, item.group); });
            // Fills of one net may lie over each other.
            for (std::size_t g = 0; g < f; ++g) {
                const Fill& other = layout.fills[g];
                if (other.side != side) continue;
                for (int row = 0; row < fill.rows; ++row)
                    for (int column = 0; column < fill.columns; ++column) {
                        const std::int32_t piece = fill.piece[static_cast<std::size_t>(row) *
                                                                  static_cast<std::size_t>(fill.columns) +
                                                              static_cast<std::size_t>(column)];
                        if (piece < 0) continue;
                        const std::int32_t under = other.piece_at({fill.origin_mm.x + column * fill.cell_mm,
                                                                   fill.origin_mm.y + row * fill.cell_mm});
                        if (under >= 0)
                            groups.join(first_piece[f] + static_cast<std::size_t>(piece),
                                        first_piece[g] + static_cast<std::size_t>(under));
                    }
            }
        }
    }
    for (std::size_t j = 0; j < joints; ++j) {
        const Joint& joint = layout.assembly.joints[j];
        // A pad on one side answers for its joint alone.
        if (layout.is_lost(j) || joint.joins_sides() || joint.sides != JointSides::both)
            groups.join(j, joints + j);
    }
    std::unordered_map<std::size_t, std::size_t> net_of;
    std::vector<std::vector<JointIndex>> nets;
    for (std::size_t j = 0; j < joints; ++j) {
        const auto [entry, fresh] = net_of.try_emplace(groups.find(j), nets.size());
        if (fresh) nets.emplace_back();
        nets[entry->second].push_back(JointIndex{j});
    }
    std::stable_sort(nets.begin(), nets.end(),
                     [](const auto& a, const auto& b) { return a.size() > b.size(); });
    return nets;
}

}  // namespace eyelet::synthetic
