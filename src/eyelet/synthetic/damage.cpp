#include "eyelet/synthetic/damage.h"

#include <algorithm>
#include <cmath>

#include "eyelet/synthetic/fill.h"
#include "eyelet/synthetic/truth.h"

namespace eyelet::synthetic {
namespace {

// The pieces of a polyline that lie outside a disc.
std::vector<std::vector<Point>> outside_disc(const std::vector<Point>& line, Point centre, double radius) {
    std::vector<std::vector<Point>> pieces;
    std::vector<Point> piece;
    const auto end_piece = [&] {
        if (piece.size() > 1) pieces.push_back(piece);
        piece.clear();
    };
    for (std::size_t i = 1; i < line.size(); ++i) {
        const Point a = line[i - 1];
        const Point ab = line[i] - a;
        const double l2 = dot(ab, ab);
        if (l2 <= 0) continue;
        // Where the segment enters and leaves the disc, as shares of its length.
        const double middle = dot(centre - a, ab) / l2;
        const double off = distance(a + middle * ab, centre);
        const double half = off < radius ? std::sqrt((radius * radius - off * off) / l2) : -1;
        const double enter = std::clamp(middle - half, 0.0, 1.0);
        const double leave = std::clamp(middle + half, 0.0, 1.0);
        if (half < 0 || enter >= leave) {
            if (piece.empty()) piece.push_back(a);
            piece.push_back(line[i]);
            continue;
        }
        if (enter > 0) {
            if (piece.empty()) piece.push_back(a);
            piece.push_back(a + enter * ab);
        }
        end_piece();
        if (leave < 1) piece = {a + leave * ab, line[i]};
    }
    end_piece();
    return pieces;
}

}  // namespace

void lose_pad(Layout& layout, JointIndex lost) {
    const Joint joint = layout.assembly.joint(lost);
    const double pad = std::max(joint.pad_mm.width, joint.pad_mm.height) / 2;
    std::vector<Copper> kept;
    for (const Copper& copper : layout.copper) {
        // Copper that only passes by stays; what comes near enough to have met the pad goes with it.
        const double radius = pad + copper.shape.radius_mm + 0.15;
        if (copper.shape.closed || !joint.on(copper.side) ||
            signed_distance_mm(copper.shape, joint.copper_centre) > pad) {
            kept.push_back(copper);
            continue;
        }
        for (const auto& piece : outside_disc(copper.shape.core, joint.copper_centre, radius)) {
            Copper rest = copper;
            rest.shape.core = piece;
            kept.push_back(rest);
        }
    }
    layout.copper = std::move(kept);
    for (Fill& fill : layout.fills) {
        if (!joint.on(fill.side)) continue;
        for (int row = 0; row < fill.rows; ++row)
            for (int column = 0; column < fill.columns; ++column) {
                const auto at = static_cast<std::size_t>(row) * static_cast<std::size_t>(fill.columns) +
                                static_cast<std::size_t>(column);
                const Point p{fill.origin_mm.x + column * fill.cell_mm,
                              fill.origin_mm.y + row * fill.cell_mm};
                const double clear = distance(p, joint.copper_centre) - pad - 0.2;
                if (clear > 1) continue;
                fill.depth_mm[at] = std::min(fill.depth_mm[at], static_cast<float>(clear));
            }
        label_pieces(fill);
    }
    layout.lost.push_back(lost);
    layout.nets = true_nets(layout);
}

}  // namespace eyelet::synthetic
