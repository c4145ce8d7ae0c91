// Lays tracks: a search over a grid on both sides, with eight directions, that keeps a gap from what is
// foreign. No track is ever moved again: what finds no way stays open. Search: P. E. Hart, N. J. Nilsson,
// B. Raphael, "A formal basis for the heuristic determination of minimum cost paths", IEEE Trans. SSC 4
// (1968).
#pragma once

#include <cstdint>
#include <vector>

#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/random.h"

namespace eyelet::synthetic {

class Router {
  public:
    enum class Width { signal, wide, power };
    Router(const Recipe& recipe, Random& random, Layout& layout);

    // Nodes that all searches together may open; what is left to do after that finds no way.
    void allow_effort(double nodes) { effort_left_ = nodes; }
    // Joins the joints by tracks of this width or, where that does not fit, narrower; returns how many joints
    // found no way.
    int connect(int net, std::vector<JointIndex> joints, Width width);
    // A short track from a surface pad to a via of its own.
    bool fan_out(int net, JointIndex joint);
    // A track that ends nowhere.
    void stub(int net, JointIndex joint);
    // No copper within the gap of this box.
    [[nodiscard]] bool is_free(Side side, const Box& box) const;
    // Makes the figure foreign to every track still to come (except those of its own net; -1: all).
    void occupy(const Shape& shape, Side side, int net);

  private:
    static constexpr int kLevels = 4;  // three widths, then vias
    static constexpr std::int16_t kFree = 0;
    static constexpr std::int16_t kBlocked = -1;
    struct Node {
        int layer, column, row;
    };
    struct Step {
        int column, row;
        float length;
    };

    [[nodiscard]] std::size_t place(const Node& node) const;
    [[nodiscard]] Node node_of(std::size_t place) const;
    [[nodiscard]] Point point_of(const Node& node) const;
    [[nodiscard]] Node nearest(int layer, Point p) const;
    [[nodiscard]] bool passable(int level, std::size_t place, int net) const;
    [[nodiscard]] bool via_fits(const Node& node, int net) const;
    [[nodiscard]] bool sees(int level, int layer, int net, Point a, Point b) const;
    [[nodiscard]] std::vector<Node> nodes_of(JointIndex joint) const;
    enum class Goal { joint, via, nowhere };
    // The cheapest way from any of `from` to any of `to`; empty if none was found.
    std::vector<Node> search(int level, int net, const std::vector<Node>& from, const std::vector<Node>& to,
                             Goal goal, double wander_mm);
    // Lays the copper of a path; `ends` are exact points for its two ends.
    void lay(int level, int net, const std::vector<Node>& path, Point first, Point last);
    void add_via(Point at, int net);
    void mark(const Shape& shape, int layer, int net, int level);
    [[nodiscard]] std::vector<Point> shaped(int level, int layer, int net, std::vector<Point> points);

    const Recipe& recipe_;
    Random& random_;
    Layout& layout_;
    int columns_;
    int rows_;
    double half_mm_[kLevels];
    std::vector<std::int16_t> owner_[kLevels];
    std::vector<float> cost_;
    std::vector<std::uint8_t> came_;
    std::vector<std::uint32_t> seen_;
    std::vector<std::uint32_t> goal_;
    std::uint32_t round_ = 0;
    double effort_left_ = 6e6;  // nodes that all searches of this board may still open
    int vias_ = 0;
};

}  // namespace eyelet::synthetic
