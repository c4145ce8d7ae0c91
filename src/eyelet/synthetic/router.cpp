#include "eyelet/synthetic/router.h"

#include <algorithm>
#include <cmath>
#include <queue>

namespace eyelet::synthetic {
namespace {

constexpr int kDirections = 8;
constexpr int kStepColumn[kDirections]{1, 1, 0, -1, -1, -1, 0, 1};
constexpr int kStepRow[kDirections]{0, 1, 1, 1, 0, -1, -1, -1};
constexpr std::uint8_t kThroughVia = 8;
constexpr std::uint8_t kStart = 9;

Side side_of(int layer) {
    return layer == 0 ? Side::component : Side::solder;
}

}  // namespace

Router::Router(const Recipe& recipe, Random& random, Layout& layout)
    : recipe_(recipe),
      random_(random),
      layout_(layout),
      columns_(static_cast<int>(recipe.size_mm.width / recipe.grid_mm) + 1),
      rows_(static_cast<int>(recipe.size_mm.height / recipe.grid_mm) + 1),
      half_mm_{recipe.signal_mm / 2, recipe.wide_mm / 2, recipe.power_mm / 2, recipe.via_pad_mm / 2} {
    const std::size_t nodes = 2 * static_cast<std::size_t>(columns_) * static_cast<std::size_t>(rows_);
    cost_.resize(nodes);
    came_.resize(nodes);
    seen_.resize(nodes);
    goal_.resize(nodes);
    for (int level = 0; level < kLevels; ++level) {
        owner_[level].assign(nodes, kFree);
        const double edge = half_mm_[level] + 0.5;
        for (int layer = 0; layer < 2; ++layer)
            for (int row = 0; row < rows_; ++row)
                for (int column = 0; column < columns_; ++column) {
                    const Point p = point_of({layer, column, row});
                    if (p.x < edge || p.y < edge || p.x > recipe.size_mm.width - edge ||
                        p.y > recipe.size_mm.height - edge)
                        owner_[level][place({layer, column, row})] = kBlocked;
                }
    }
    for (std::size_t j = 0; j < layout.assembly.joints.size(); ++j) {
        const Joint& joint = layout.assembly.joints[j];
        const Shape pad = pad_shape(joint);
        if (joint.kind == JointKind::via) ++vias_;  // so that new ones get new names
        // A pad without a net belongs to itself alone.
        for (int layer = 0; layer < 2; ++layer) {
            const bool here = joint.on(side_of(layer));
            for (int level = 0; level < kLevels; ++level)
                if (here) mark(pad, layer, level == kLevels - 1 ? -1 : layout.wanted_net[j], level);
        }
    }
}

std::size_t Router::place(const Node& node) const {
    return (static_cast<std::size_t>(node.layer) * static_cast<std::size_t>(rows_) +
            static_cast<std::size_t>(node.row)) *
               static_cast<std::size_t>(columns_) +
           static_cast<std::size_t>(node.column);
}

Router::Node Router::node_of(std::size_t at) const {
    const auto column = static_cast<int>(at % static_cast<std::size_t>(columns_));
    const auto rest = static_cast<int>(at / static_cast<std::size_t>(columns_));
    return {rest / rows_, column, rest % rows_};
}

Point Router::point_of(const Node& node) const {
    return {node.column * recipe_.grid_mm, node.row * recipe_.grid_mm};
}

Router::Node Router::nearest(int layer, Point p) const {
    return {layer, std::clamp(static_cast<int>(std::lround(p.x / recipe_.grid_mm)), 0, columns_ - 1),
            std::clamp(static_cast<int>(std::lround(p.y / recipe_.grid_mm)), 0, rows_ - 1)};
}

bool Router::passable(int level, std::size_t at, int net) const {
    const std::int16_t owner = owner_[level][at];
    return owner == kFree || owner == net + 2;
}

bool Router::via_fits(const Node& node, int net) const {
    return passable(kLevels - 1, place({0, node.column, node.row}), net) &&
           passable(kLevels - 1, place({1, node.column, node.row}), net);
}

void Router::mark(const Shape& shape, int layer, int net, int level) {
    const double reach = half_mm_[level] + recipe_.gap_mm;
    const auto stamp = [&](const Shape& piece) {
        const Box box = grown(bounds(piece), reach);
        const Node low = nearest(layer, box.low);
        const Node high = nearest(layer, box.high);
        for (int row = low.row; row <= high.row; ++row)
            for (int column = low.column; column <= high.column; ++column) {
                if (signed_distance_mm(piece, point_of({layer, column, row})) >= reach - 1e-6) continue;
                std::int16_t& owner = owner_[level][place({layer, column, row})];
                const auto mine = static_cast<std::int16_t>(net < 0 ? kBlocked : net + 2);
                if (owner == kFree)
                    owner = mine;
                else if (owner != mine)
                    owner = kBlocked;
            }
    };
    if (shape.closed || shape.core.size() < 3) {
        stamp(shape);
        return;
    }
    for (std::size_t i = 1; i < shape.core.size(); ++i)
        stamp({{shape.core[i - 1], shape.core[i]}, false, shape.radius_mm});
}

void Router::occupy(const Shape& shape, Side side, int net) {
    for (int level = 0; level < kLevels; ++level) mark(shape, side == Side::component ? 0 : 1, net, level);
}

bool Router::is_free(Side side, const Box& box) const {
    const int layer = side == Side::component ? 0 : 1;
    const Node low = nearest(layer, box.low);
    const Node high = nearest(layer, box.high);
    for (int row = low.row; row <= high.row; ++row)
        for (int column = low.column; column <= high.column; ++column)
            if (owner_[0][place({layer, column, row})] != kFree) return false;
    return true;
}

std::vector<Router::Node> Router::nodes_of(JointIndex index) const {
    const Joint& joint = layout_.assembly.joint(index);
    std::vector<Node> nodes;
    for (int layer = 0; layer < 2; ++layer)
        if (joint.on(side_of(layer)) && (layer == 1 || recipe_.two_layers || joint.sides != JointSides::both))
            if (joint.plated || layer == 1 || joint.sides != JointSides::both)
                nodes.push_back(nearest(layer, joint.copper_centre));
    return nodes;
}

std::vector<Router::Node> Router::search(int level, int net, const std::vector<Node>& from,
                                         const std::vector<Node>& to, Goal goal, double wander_mm) {
    if (effort_left_ <= 0) return {};
    ++round_;
    struct Open {
        float total;
        std::uint32_t at;
        bool operator<(const Open& other) const { return total > other.total; }
    };
    std::priority_queue<Open> open;
    const auto estimate = [&](const Node& node) -> float {
        if (goal != Goal::joint) return 0;
        float best = 1e9F;
        for (const Node& target : to) {
            const int dx = std::abs(node.column - target.column);
            const int dy = std::abs(node.row - target.row);
            const auto straight = static_cast<float>(std::max(dx, dy));
            const float extra = recipe_.routing == Routing::orthogonal ? 1.0F : 0.414F;
            best = std::min(best, straight + extra * static_cast<float>(std::min(dx, dy)));
        }
        return best;
    };
    for (const Node& node : to) goal_[place(node)] = round_;
    for (const Node& node : from) {
        const std::size_t at = place(node);
        if (!passable(level, at, net)) continue;
        seen_[at] = round_;
        cost_[at] = 0;
        came_[at] = kStart;
        open.push({estimate(node), static_cast<std::uint32_t>(at)});
    }
    const auto via_cost = static_cast<float>(3.0 / recipe_.grid_mm);
    const auto wander = static_cast<float>(wander_mm / recipe_.grid_mm);
    int effort = goal == Goal::joint ? 160000 : 20000;
    std::size_t found = 0;
    bool arrived = false;
    while (!open.empty() && effort-- > 0) {
        const Open best = open.top();
        open.pop();
        const std::size_t at = best.at;
        const Node node = node_of(at);
        if (best.total > cost_[at] + estimate(node) + 1e-3F) continue;
        const bool fits_via = goal == Goal::via && came_[at] != kStart &&
                              cost_[at] * recipe_.grid_mm > recipe_.via_pad_mm * 0.5 && via_fits(node, net);
        if ((goal == Goal::joint && goal_[at] == round_) || fits_via ||
            (goal == Goal::nowhere && cost_[at] > wander)) {
            found = at;
            arrived = true;
            break;
        }
        const std::uint8_t came = came_[at];
        const auto relax = [&](const Node& next, float step, std::uint8_t direction) {
            const std::size_t next_at = place(next);
            const float cost = cost_[at] + step;
            if (seen_[next_at] == round_ && cost_[next_at] <= cost) return;
            seen_[next_at] = round_;
            cost_[next_at] = cost;
            came_[next_at] = direction;
            open.push({cost + estimate(next), static_cast<std::uint32_t>(next_at)});
        };
        for (int d = 0; d < kDirections; ++d) {
            if (d % 2 == 1 && recipe_.routing == Routing::orthogonal) continue;
            const Node next{node.layer, node.column + kStepColumn[d], node.row + kStepRow[d]};
            if (next.column < 0 || next.row < 0 || next.column >= columns_ || next.row >= rows_) continue;
            if (!passable(level, place(next), net)) continue;
            float step = d % 2 == 1 ? 1.4142F : 1.0F;
            // One side prefers to run along, the other across; bends cost a little.
            if (recipe_.two_layers && d % 2 == 0 && (d % 4 == 0) != (node.layer == 0)) step *= 1.35F;
            if (came < kDirections && came != d)
                step += 0.3F + 0.25F * static_cast<float>(std::min((d - came) & 7, (came - d) & 7));
            if (goal == Goal::nowhere) step += 0.4F * static_cast<float>(random_.unit());
            relax(next, step, static_cast<std::uint8_t>(d));
        }
        if (recipe_.two_layers && goal == Goal::joint) {
            const Node next{1 - node.layer, node.column, node.row};
            if (passable(level, place(next), net) && via_fits(node, net)) relax(next, via_cost, kThroughVia);
        }
    }
    effort_left_ -= (goal == Goal::joint ? 160000 : 20000) - effort;
    if (!arrived) return {};
    std::vector<Node> path;
    for (std::size_t at = found;;) {
        Node node = node_of(at);
        path.push_back(node);
        const std::uint8_t came = came_[at];
        if (came == kStart) break;
        if (came == kThroughVia) {
            node.layer = 1 - node.layer;
        } else {
            node.column -= kStepColumn[came];
            node.row -= kStepRow[came];
        }
        at = place(node);
    }
    std::reverse(path.begin(), path.end());
    return path;
}

bool Router::sees(int level, int layer, int net, Point a, Point b) const {
    const int steps = std::max(1, static_cast<int>(distance(a, b) / (0.5 * recipe_.grid_mm)));
    for (int i = 0; i <= steps; ++i) {
        const Point p = a + (static_cast<double>(i) / steps) * (b - a);
        // All four nodes round the point, so that the gap holds between nodes too.
        const auto column = static_cast<int>(p.x / recipe_.grid_mm);
        const auto row = static_cast<int>(p.y / recipe_.grid_mm);
        for (int k = 0; k < 4; ++k) {
            const Node node{layer, std::min(column + k % 2, columns_ - 1), std::min(row + k / 2, rows_ - 1)};
            if (!passable(level, place(node), net)) return false;
        }
    }
    return true;
}

std::vector<Point> Router::shaped(int level, int layer, int net, std::vector<Point> points) {
    if (recipe_.routing != Routing::hand_drawn || points.size() < 3) return points;
    // Pull the thread tight, then round the bends, as tape and pen did.
    std::vector<Point> tight{points.front()};
    for (std::size_t i = 0; i + 1 < points.size();) {
        std::size_t far = i + 1;
        for (std::size_t j = points.size() - 1; j > i + 1; --j)
            if (distance(points[i], points[j]) < 25 && sees(level, layer, net, points[i], points[j])) {
                far = j;
                break;
            }
        tight.push_back(points[far]);
        i = far;
    }
    std::vector<Point> round{tight.front()};
    for (std::size_t i = 1; i + 1 < tight.size(); ++i) {
        const Point before = tight[i - 1] - tight[i];
        const Point after = tight[i + 1] - tight[i];
        const double cut = std::min({length(before) / 2, length(after) / 2, 1.2});
        const Point a = tight[i] + (cut / std::max(1e-9, length(before))) * before;
        const Point b = tight[i] + (cut / std::max(1e-9, length(after))) * after;
        if (!sees(level, layer, net, a, b)) {
            round.push_back(tight[i]);
            continue;
        }
        for (int k = 0; k <= 6; ++k) {
            const double t = k / 6.0;
            round.push_back(((1 - t) * (1 - t)) * a + (2 * t * (1 - t)) * tight[i] + (t * t) * b);
        }
    }
    round.push_back(tight.back());
    return round;
}

void Router::add_via(Point at, int net) {
    Joint via;
    via.name = JointName{"via" + std::to_string(++vias_)};
    via.board = BoardIndex{0};
    via.kind = JointKind::via;
    via.hole = via.copper_centre = at;
    via.pad_mm = {recipe_.via_pad_mm, recipe_.via_pad_mm};
    via.drill_mm = Size{recipe_.via_drill_mm, recipe_.via_drill_mm};
    layout_.assembly.joints.push_back(via);
    layout_.wanted_net.push_back(net);
    const Shape pad = pad_shape(via);
    for (int layer = 0; layer < 2; ++layer)
        for (int level = 0; level < kLevels; ++level)
            mark(pad, layer, level == kLevels - 1 ? -1 : net, level);
}

void Router::lay(int level, int net, const std::vector<Node>& path, Point first, Point last) {
    for (std::size_t begin = 0; begin < path.size();) {
        std::size_t end = begin;
        while (end + 1 < path.size() && path[end + 1].layer == path[begin].layer) ++end;
        std::vector<Point> points;
        if (begin == 0) points.push_back(first);
        for (std::size_t i = begin; i <= end; ++i) points.push_back(point_of(path[i]));
        if (end + 1 == path.size()) points.push_back(last);
        // Straight runs as one piece.
        std::vector<Point> corners;
        for (const Point p : points) {
            if (!corners.empty() && distance(corners.back(), p) < 1e-6) continue;
            if (corners.size() >= 2) {
                const Point a = corners[corners.size() - 1] - corners[corners.size() - 2];
                const Point b = p - corners.back();
                if (std::abs(cross(a, b)) < 1e-9 && dot(a, b) > 0) corners.pop_back();
            }
            corners.push_back(p);
        }
        if (corners.size() >= 2) {
            const int layer = path[begin].layer;
            Copper track;
            track.shape = stroke(shaped(level, layer, net, corners), 2 * half_mm_[level]);
            track.side = side_of(layer);
            track.net = net;
            occupy(track.shape, track.side, net);
            layout_.copper.push_back(track);
        }
        if (end + 1 < path.size()) add_via(point_of(path[end]), net);
        begin = end + 1;
    }
}

int Router::connect(int net, std::vector<JointIndex> joints, Width width) {
    if (joints.size() < 2) return 0;
    struct Known {
        Node node;
        Point exact;
    };
    std::vector<Known> tree;
    std::vector<Node> tree_nodes;
    const auto add_joint = [&](JointIndex joint) {
        for (const Node& node : nodes_of(joint)) {
            tree.push_back({node, layout_.assembly.joint(joint).copper_centre});
            tree_nodes.push_back(node);
        }
    };
    std::vector<Point> reached{layout_.assembly.joint(joints.back()).hole};
    add_joint(joints.back());
    joints.pop_back();
    int left = 0;
    while (!joints.empty()) {
        // The joint nearest to what is already joined.
        std::size_t best = 0;
        double best_distance = 1e18;
        for (std::size_t i = 0; i < joints.size(); ++i)
            for (const Point p : reached) {
                const double d = distance(p, layout_.assembly.joint(joints[i]).hole);
                if (d < best_distance) {
                    best_distance = d;
                    best = i;
                }
            }
        const JointIndex joint = joints[best];
        joints.erase(joints.begin() + static_cast<std::ptrdiff_t>(best));
        const std::vector<Node> targets = nodes_of(joint);
        bool done = false;
        for (int level = static_cast<int>(width); level >= 0 && !done; --level) {
            const std::vector<Node> path = search(level, net, tree_nodes, targets, Goal::joint, 0);
            if (path.empty()) continue;
            Point first = point_of(path.front());
            for (const Known& known : tree)
                if (place(known.node) == place(path.front())) {
                    first = known.exact;
                    break;
                }
            const std::size_t before = layout_.assembly.joints.size();
            lay(level, net, path, first, layout_.assembly.joint(joint).copper_centre);
            // Where a drawn track no longer runs over its grid nodes, later tracks may start only at joints.
            if (recipe_.routing != Routing::hand_drawn)
                for (const Node& node : path) tree_nodes.push_back(node);
            for (std::size_t via = before; via < layout_.assembly.joints.size(); ++via) {
                tree_nodes.push_back(nearest(0, layout_.assembly.joints[via].hole));
                tree_nodes.push_back(nearest(1, layout_.assembly.joints[via].hole));
            }
            done = true;
        }
        if (done) {
            add_joint(joint);
            reached.push_back(layout_.assembly.joint(joint).hole);
        } else {
            ++left;
        }
    }
    return left;
}

bool Router::fan_out(int net, JointIndex joint) {
    if (!recipe_.two_layers) return false;
    const std::vector<Node> path = search(0, net, nodes_of(joint), {}, Goal::via, 0);
    if (path.empty()) return false;
    const Point end = point_of(path.back());
    lay(0, net, path, layout_.assembly.joint(joint).copper_centre, end);
    add_via(end, net);
    return true;
}

void Router::stub(int net, JointIndex joint) {
    const std::vector<Node> path =
        search(0, net, nodes_of(joint), {}, Goal::nowhere, random_.uniform(1.5, 12));
    if (path.size() > 2)
        lay(0, net, path, layout_.assembly.joint(joint).copper_centre, point_of(path.back()));
}

}  // namespace eyelet::synthetic
