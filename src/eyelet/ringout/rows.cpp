// Rows that a needle can be drawn along, and what gestures cost.
#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "eyelet/ringout/ring_out.h"

namespace eyelet {
namespace {

// Off the line by less than this is still straight for a hand with a needle.
constexpr double kStraight_mm = 0.1;
constexpr double kGapSlack_mm = 1e-6;

struct Placed {
    double along = 0;
    double across = 0;
    JointIndex joint;
};

void cut_into_rows(std::vector<Placed> placed, double gap_mm, BoardIndex board, Side side,
                   std::set<std::vector<JointIndex>>& seen, std::vector<Row>& rows) {
    std::sort(placed.begin(), placed.end(), [](const Placed& a, const Placed& b) {
        return std::tie(a.across, a.along, a.joint) < std::tie(b.across, b.along, b.joint);
    });
    for (std::size_t first = 0; first < placed.size();) {
        std::size_t last = first;
        while (last < placed.size() && placed[last].across - placed[first].across <= kStraight_mm) ++last;
        std::sort(placed.begin() + static_cast<std::ptrdiff_t>(first), placed.begin() + static_cast<std::ptrdiff_t>(last),
                  [](const Placed& a, const Placed& b) {
                      return std::tie(a.along, a.joint) < std::tie(b.along, b.joint);
                  });
        for (std::size_t i = first; i < last;) {
            Row row{board, side, {placed[i].joint}};
            std::size_t k = i + 1;
            for (; k < last; ++k) {
                const double gap = std::hypot(placed[k].along - placed[k - 1].along,
                                              placed[k].across - placed[k - 1].across);
                if (gap > gap_mm + kGapSlack_mm) break;
                row.joints.push_back(placed[k].joint);
            }
            if (row.joints.size() > 1 && seen.insert(row.joints).second) rows.push_back(std::move(row));
            i = k;
        }
        first = last;
    }
}

}  // namespace

std::vector<Row> find_rows(const Assembly& assembly, double gap_mm) {
    std::vector<Row> rows;
    std::map<std::pair<BoardIndex, Side>, std::vector<JointIndex>> reachable;
    for (std::size_t i = 0; i < assembly.joints.size(); ++i) {
        const Joint& joint = assembly.joints[i];
        if (!joint.can_be_touched()) continue;
        for (Side side : {Side::component, Side::solder})
            if (joint.on(side)) reachable[{joint.board, side}].push_back(JointIndex(i));
    }
    std::map<BoardIndex, std::set<std::vector<JointIndex>>> seen;  // a row of plated joints is one row, not two
    for (const auto& [where, joints] : reachable) {
        std::vector<Placed> placed;
        for (bool flat : {true, false}) {
            placed.clear();
            for (JointIndex j : joints) {
                const Point p = assembly.joint(j).hole;
                placed.push_back(flat ? Placed{p.x, p.y, j} : Placed{p.y, p.x, j});
            }
            cut_into_rows(placed, gap_mm, where.first, where.second, seen[where.first], rows);
        }
        // Slanted parts: along the line through two neighbouring joints of the part.
        std::map<PartIndex, std::vector<JointIndex>> of_part;
        for (JointIndex j : joints)
            if (assembly.joint(j).part.valid()) of_part[assembly.joint(j).part].push_back(j);
        for (const auto& [part, its] : of_part) {
            if (its.size() < 3) continue;
            const Point step = assembly.joint(its[1]).hole - assembly.joint(its[0]).hole;
            const double span = length(step);
            if (span < 1e-9 || std::abs(step.x) < 1e-3 * span || std::abs(step.y) < 1e-3 * span) continue;
            const Point u = (1 / span) * step;
            placed.clear();
            for (JointIndex j : its) placed.push_back({dot(u, assembly.joint(j).hole), cross(u, assembly.joint(j).hole), j});
            cut_into_rows(placed, gap_mm, where.first, where.second, seen[where.first], rows);
        }
    }
    return rows;
}

double seconds_for(const Assembly& assembly, const ProbeCosts& costs, const Probes& now, const Gesture& gesture) {
    double seconds = 0;
    const Joint& hold = assembly.joint(gesture.hold);
    if (now.held != gesture.hold) {
        seconds += costs.place_held_s;
        if (now.held.valid() && assembly.joint(now.held).board == hold.board)
            seconds += costs.travel_s_per_mm * distance(assembly.joint(now.held).hole, hold.hole);
    }
    const Joint& first = assembly.joint(gesture.along.front());
    seconds += costs.place_moving_s;
    const bool same_board = now.moving.valid() && assembly.joint(now.moving).board == first.board;
    if (same_board)
        seconds += costs.travel_s_per_mm * distance(assembly.joint(now.moving).hole, first.hole);
    if (now.moving.valid() && (!same_board || (now.moving_side && *now.moving_side != gesture.along_side)))
        seconds += costs.flip_s;
    for (std::size_t i = 1; i < gesture.along.size(); ++i)
        seconds += costs.sweep_joint_s + costs.travel_s_per_mm * distance(assembly.joint(gesture.along[i - 1]).hole,
                                                                           assembly.joint(gesture.along[i]).hole);
    return seconds;
}

}  // namespace eyelet
