#include "eyelet/synthetic/fill.h"

#include <algorithm>
#include <cmath>

namespace eyelet::synthetic {

double Fill::depth_at(Point p) const {
    const double x = (p.x - origin_mm.x) / cell_mm;
    const double y = (p.y - origin_mm.y) / cell_mm;
    if (x < 0 || y < 0 || x >= columns - 1 || y >= rows - 1) return -1;
    const auto column = static_cast<int>(x);
    const auto row = static_cast<int>(y);
    const double fx = x - column;
    const double fy = y - row;
    const float* at = depth_mm.data() + static_cast<std::ptrdiff_t>(row) * columns + column;
    return (1 - fy) * ((1 - fx) * static_cast<double>(at[0]) + fx * static_cast<double>(at[1])) +
           fy * ((1 - fx) * static_cast<double>(at[columns]) + fx * static_cast<double>(at[columns + 1]));
}

std::int32_t Fill::piece_at(Point p) const {
    if (depth_at(p) <= 0) return -1;
    const auto column = static_cast<int>((p.x - origin_mm.x) / cell_mm);
    const auto row = static_cast<int>((p.y - origin_mm.y) / cell_mm);
    for (int k = 0; k < 4; ++k) {
        const std::int32_t found =
            piece[static_cast<std::size_t>(row + k / 2) * static_cast<std::size_t>(columns) +
                  static_cast<std::size_t>(column + k % 2)];
        if (found >= 0) return found;
    }
    return -1;
}

void label_pieces(Fill& fill) {
    fill.pieces = 0;
    fill.piece.assign(fill.depth_mm.size(), -1);
    std::vector<std::size_t> stack;
    const auto columns = static_cast<std::size_t>(fill.columns);
    for (std::size_t start = 0; start < fill.depth_mm.size(); ++start) {
        if (fill.depth_mm[start] <= 0 || fill.piece[start] >= 0) continue;
        const std::int32_t name = fill.pieces++;
        const auto visit = [&](std::size_t node) {
            if (fill.depth_mm[node] <= 0 || fill.piece[node] >= 0) return;
            fill.piece[node] = name;
            stack.push_back(node);
        };
        visit(start);
        while (!stack.empty()) {
            const std::size_t node = stack.back();
            stack.pop_back();
            if (node % columns > 0) visit(node - 1);
            if (node % columns + 1 < columns) visit(node + 1);
            if (node >= columns) visit(node - columns);
            if (node + columns < fill.depth_mm.size()) visit(node + columns);
            // Across a cell's diagonal copper is joined where the saddle between its nodes lies inside.
            for (const std::ptrdiff_t dx : {-1, 1})
                for (const std::ptrdiff_t dy : {-1, 1}) {
                    const auto column = static_cast<std::ptrdiff_t>(node % columns) + dx;
                    const auto row = static_cast<std::ptrdiff_t>(node / columns) + dy;
                    if (column < 0 || row < 0 || column >= fill.columns || row >= fill.rows) continue;
                    const auto across = static_cast<std::size_t>(row * fill.columns + column);
                    const float one =
                        fill.depth_mm[static_cast<std::size_t>((row - dy) * fill.columns + column)];
                    const float two =
                        fill.depth_mm[static_cast<std::size_t>(row * fill.columns + column - dx)];
                    if (one <= 0 && two <= 0 && fill.depth_mm[node] * fill.depth_mm[across] > one * two)
                        visit(across);
                }
        }
    }
}

namespace {

constexpr float kDeep = 0.6F;  // depths are known up to this only

class Filler {
  public:
    Filler(const FillPlan& plan, Random& random, Layout& layout)
        : plan_(plan), random_(random), layout_(layout) {
        const Shape outline{plan.outline, true, 0};
        const Box box = grown(bounds(outline), 0.3);
        fill_.side = plan.side;
        fill_.net = plan.net;
        fill_.origin_mm = box.low;
        fill_.columns = static_cast<int>(box.size().width / fill_.cell_mm) + 2;
        fill_.rows = static_cast<int>(box.size().height / fill_.cell_mm) + 2;
        fill_.depth_mm.resize(static_cast<std::size_t>(fill_.columns) * static_cast<std::size_t>(fill_.rows));
        for (int row = 0; row < fill_.rows; ++row)
            for (int column = 0; column < fill_.columns; ++column)
                at(column, row) =
                    std::min(kDeep, static_cast<float>(-signed_distance_mm(outline, point(column, row))));
    }

    void run() {
        cut_foreign();
        foreign_ = fill_.depth_mm;
        choose_spokes();
        if (plan_.hatch_mm > 0) hatch();
        const std::vector<float> whole = fill_.depth_mm;
        remove_thin();
        label();
        for (int pass = 0; pass < 4 && mend_hairlines(whole); ++pass) label();
        lay_spokes();
        drop_islands();
        layout_.fills.push_back(std::move(fill_));
    }

  private:
    float& at(int column, int row) {
        return fill_.depth_mm[static_cast<std::size_t>(row) * static_cast<std::size_t>(fill_.columns) +
                              static_cast<std::size_t>(column)];
    }
    [[nodiscard]] Point point(int column, int row) const {
        return {fill_.origin_mm.x + column * fill_.cell_mm, fill_.origin_mm.y + row * fill_.cell_mm};
    }

    void cut(const Shape& shape, double clearance) {
        const Box box = grown(bounds(shape), clearance + static_cast<double>(kDeep));
        const int left = std::max(0, static_cast<int>((box.low.x - fill_.origin_mm.x) / fill_.cell_mm));
        const int right = std::min(fill_.columns - 1,
                                   static_cast<int>((box.high.x - fill_.origin_mm.x) / fill_.cell_mm) + 1);
        const int top = std::max(0, static_cast<int>((box.low.y - fill_.origin_mm.y) / fill_.cell_mm));
        const int bottom =
            std::min(fill_.rows - 1, static_cast<int>((box.high.y - fill_.origin_mm.y) / fill_.cell_mm) + 1);
        for (int row = top; row <= bottom; ++row)
            for (int column = left; column <= right; ++column) {
                float& depth = at(column, row);
                if (depth < -0.3F) continue;
                depth = std::min(
                    depth, static_cast<float>(signed_distance_mm(shape, point(column, row)) - clearance));
            }
    }

    void cut_stroke(const Shape& shape, double clearance) {
        if (shape.closed || shape.core.size() < 3) return cut(shape, clearance);
        for (std::size_t i = 1; i < shape.core.size(); ++i)
            cut({{shape.core[i - 1], shape.core[i]}, false, shape.radius_mm}, clearance);
    }

    void cut_foreign() {
        for (const Copper& copper : layout_.copper)
            if (copper.side == plan_.side && copper.net != plan_.net)
                cut_stroke(copper.shape, plan_.clearance_mm);
        for (std::size_t j = 0; j < layout_.assembly.joints.size(); ++j) {
            const Joint& joint = layout_.assembly.joints[j];
            if (layout_.wanted_net[j] != plan_.net && joint.on(plan_.side))
                cut(pad_shape(joint), plan_.clearance_mm);
        }
        for (const Fill& other : layout_.fills) {
            if (other.side != plan_.side) continue;
            if (other.net == plan_.net) continue;
            // Depths of the other fill are known near its edge only; further off the box is clear of it.
            for (int row = 0; row < fill_.rows; ++row)
                for (int column = 0; column < fill_.columns; ++column) {
                    const double depth = other.depth_at(point(column, row));
                    if (depth > -0.95) near_other(other, column, row, depth);
                }
        }
    }

    // The other fill's field holds true distances outside only as far as its own cuts reached: measure
    // afresh.
    void near_other(const Fill& other, int column, int row, double depth) {
        float& mine = at(column, row);
        if (mine < -0.3F) return;
        double gap = -depth;
        if (depth <= 0) {
            gap = 1;
            const Point p = point(column, row);
            const double reach = plan_.clearance_mm + 0.3;
            const int n = static_cast<int>(reach / fill_.cell_mm);
            for (int dy = -n; dy <= n; ++dy)
                for (int dx = -n; dx <= n; ++dx) {
                    const Point q{p.x + dx * fill_.cell_mm, p.y + dy * fill_.cell_mm};
                    const double inside = other.depth_at(q);
                    if (inside > 0) gap = std::min(gap, distance(p, q) - inside);
                }
        }
        mine = std::min(mine, static_cast<float>(gap - plan_.clearance_mm));
    }

    void choose_spokes() {
        for (std::size_t j = 0; j < layout_.assembly.joints.size(); ++j) {
            const Joint& joint = layout_.assembly.joints[j];
            if (layout_.wanted_net[j] != plan_.net || !joint.on(plan_.side) || joint.kind == JointKind::via)
                continue;
            if (!joint.plated && joint.sides == JointSides::both) continue;
            if (!random_.chance(plan_.spoked)) continue;
            spoked_.push_back(j);
            cut(pad_shape(joint), plan_.ring_mm);
        }
    }

    void hatch() {
        const double half = plan_.hatch_line_mm / 2;
        const double frame = 0.6;
        for (int row = 0; row < fill_.rows; ++row)
            for (int column = 0; column < fill_.columns; ++column) {
                const Point p = point(column, row);
                const double r = plan_.hatch_slanted ? 0.70710678 : 1.0;
                const double u = plan_.hatch_slanted ? r * (p.x + p.y) : p.x;
                const double v = plan_.hatch_slanted ? r * (p.x - p.y) : p.y;
                const auto off = [&](double w) {
                    return std::abs(w - plan_.hatch_mm * std::round(w / plan_.hatch_mm));
                };
                const double lines = half - std::min(off(u), off(v));
                float& depth = at(column, row);
                const double border = frame - static_cast<double>(depth);
                depth = std::min(depth, static_cast<float>(std::max(lines, border)));
            }
    }

    // Keeps what a disc of the least width can reach (an opening): the union of all discs that fit.
    void remove_thin() {
        const auto least = static_cast<float>(plan_.least_width_mm / 2);
        const std::vector<float> before = fill_.depth_mm;
        const auto reach = static_cast<int>(static_cast<double>(least) / fill_.cell_mm) + 2;
        for (int row = 0; row < fill_.rows; ++row)
            for (int column = 0; column < fill_.columns; ++column) {
                float& depth = at(column, row);
                if (depth >= least || depth < -0.15F) continue;
                float best = -1;
                for (int dy = -reach; dy <= reach; ++dy)
                    for (int dx = -reach; dx <= reach; ++dx) {
                        const int c = column + dx;
                        const int r = row + dy;
                        if (c < 0 || r < 0 || c >= fill_.columns || r >= fill_.rows) continue;
                        const float there =
                            before[static_cast<std::size_t>(r) * static_cast<std::size_t>(fill_.columns) +
                                   static_cast<std::size_t>(c)];
                        if (there < least) continue;
                        best = std::max(best, there - static_cast<float>(fill_.cell_mm * std::hypot(dx, dy)));
                    }
                depth = std::min(depth, best);
            }
    }

    // Where two discs of the least width do not quite meet, the opening leaves a hairline between two pieces.
    // No board is made with one: the neck comes back as it was. True if any came back.
    bool mend_hairlines(const std::vector<float>& whole) {
        constexpr int kReach = 3;
        std::vector<std::size_t> back;
        for (int row = kReach; row + kReach < fill_.rows; ++row)
            for (int column = kReach; column + kReach < fill_.columns; ++column) {
                const std::int32_t piece = fill_.piece[index(column, row)];
                if (piece < 0 || fill_.depth_mm[index(column, row)] > 0.15F) continue;
                for (int dy = 0; dy <= kReach; ++dy)
                    for (int dx = -kReach; dx <= kReach; ++dx) {
                        const std::int32_t other = fill_.piece[index(column + dx, row + dy)];
                        if (other < 0 || other == piece || whole[index(column + dx / 2, row + dy / 2)] <= 0)
                            continue;
                        for (int y = std::min(0, dy) - 1; y <= std::max(0, dy) + 1; ++y)
                            for (int x = std::min(0, dx) - 1; x <= std::max(0, dx) + 1; ++x) {
                                const int c = column + x;
                                const int r = row + y;
                                if (c >= 0 && r >= 0 && c < fill_.columns && r < fill_.rows)
                                    back.push_back(index(c, r));
                            }
                    }
            }
        for (const std::size_t node : back) fill_.depth_mm[node] = whole[node];
        return !back.empty();
    }

    [[nodiscard]] std::size_t index(int column, int row) const {
        return static_cast<std::size_t>(row) * static_cast<std::size_t>(fill_.columns) +
               static_cast<std::size_t>(column);
    }

    void label() { label_pieces(fill_); }

    [[nodiscard]] double foreign_depth(Point p) const {
        const auto column = static_cast<int>(std::lround((p.x - fill_.origin_mm.x) / fill_.cell_mm));
        const auto row = static_cast<int>(std::lround((p.y - fill_.origin_mm.y) / fill_.cell_mm));
        if (column < 0 || row < 0 || column >= fill_.columns || row >= fill_.rows) return -1;
        return static_cast<double>(
            foreign_[static_cast<std::size_t>(row) * static_cast<std::size_t>(fill_.columns) +
                     static_cast<std::size_t>(column)]);
    }

    void lay_spokes() {
        for (const std::size_t j : spoked_) {
            const Joint& joint = layout_.assembly.joints[j];
            const Shape pad = pad_shape(joint);
            const double offset =
                joint.rotation_deg + (plan_.slanted_spokes && joint.shape == PadShape::circle ? 45.0 : 0.0);
            const bool pair = plan_.spokes == 2;
            const int first = random_.integer(0, 3);
            for (int k = 0; k < (pair ? 2 : plan_.spokes); ++k) {
                const Point direction = turned({1, 0}, offset + 90.0 * (first + (pair ? 2 * k : k)));
                // Out of the pad, over the ring, a little into the fill.
                double out = 0;
                while (out < 12 &&
                       signed_distance_mm(pad, joint.copper_centre + out * direction) < plan_.ring_mm + 0.15)
                    out += 0.05;
                const Point end = joint.copper_centre + out * direction;
                if (fill_.depth_at(end) < 0.05) continue;
                bool clear = true;
                for (double t = 0; t < out; t += 0.1) {
                    const Point p = joint.copper_centre + t * direction;
                    if (signed_distance_mm(pad, p) > 0 && foreign_depth(p) < plan_.spoke_mm * 0.4)
                        clear = false;
                }
                if (!clear) continue;
                Copper spoke;
                spoke.shape = stroke({joint.copper_centre, end}, plan_.spoke_mm);
                spoke.side = plan_.side;
                spoke.kind = Copper::Kind::spoke;
                spoke.net = plan_.net;
                layout_.copper.push_back(spoke);
            }
        }
    }

    void drop_islands() {
        std::vector<char> joined(static_cast<std::size_t>(fill_.pieces), 0);
        std::vector<int> area(static_cast<std::size_t>(fill_.pieces), 0);
        for (const std::int32_t piece : fill_.piece)
            if (piece >= 0) ++area[static_cast<std::size_t>(piece)];
        const auto touch = [&](Point p) {
            const std::int32_t piece = fill_.piece_at(p);
            if (piece >= 0) joined[static_cast<std::size_t>(piece)] = 1;
        };
        for (const Copper& copper : layout_.copper) {
            if (copper.side != plan_.side || copper.net != plan_.net) continue;
            for (const Point p : copper.shape.core) touch(p);
        }
        for (std::size_t j = 0; j < layout_.assembly.joints.size(); ++j)
            if (layout_.wanted_net[j] == plan_.net && layout_.assembly.joints[j].on(plan_.side))
                touch(layout_.assembly.joints[j].copper_centre);
        for (std::size_t i = 0; i < fill_.piece.size(); ++i) {
            const std::int32_t piece = fill_.piece[i];
            if (piece < 0) continue;
            const bool drop = area[static_cast<std::size_t>(piece)] < 40 ||
                              (!plan_.keep_islands && joined[static_cast<std::size_t>(piece)] == 0);
            if (!drop) continue;
            fill_.piece[i] = -1;
            fill_.depth_mm[i] = -0.2F;
        }
    }

    const FillPlan& plan_;
    Random& random_;
    Layout& layout_;
    Fill fill_;
    std::vector<float> foreign_;
    std::vector<std::size_t> spoked_;
};

}  // namespace

void add_fill(const FillPlan& plan, Random& random, Layout& layout) {
    Filler(plan, random, layout).run();
}

}  // namespace eyelet::synthetic
