// Puts parts on the board: first those that lead (connectors, rows of chips), then the small ones where there
// is room.
#pragma once

#include <string>
#include <unordered_map>
#include <vector>

#include "eyelet/synthetic/footprint.h"
#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/random.h"

namespace eyelet::synthetic {

class Placer {
  public:
    explicit Placer(Layout& layout) : layout_(layout) {}

    struct Place {
        Point at;
        double degrees = 0;
        Side side = Side::component;
    };
    // Whether the part's surroundings are free of other parts and inside the board.
    [[nodiscard]] bool fits(const Footprint& part, const Place& place) const;
    // Puts it there, free or not. An empty reference is counted up after the part's letter.
    PartIndex put(const Footprint& part, const Place& place, std::string reference = "",
                  std::string value = "");
    // Puts it at one of `tries` random places on a grid; false if none was free.
    bool put_somewhere(Random& random, const Footprint& part, Side side, double grid_mm, int tries);
    // Adds the reference beside each part and, now and then, the value.
    void print_references(Random& random, double height_mm);
    void keep_out(Box box) { taken_.push_back({box, true, true}); }
    [[nodiscard]] Footprint::Role role(PartIndex part) const { return roles_[part.raw()]; }

  private:
    struct Taken {
        Box box;
        bool component, solder;
    };
    [[nodiscard]] static Box placed_box(const Box& box, const Place& place);

    Layout& layout_;
    std::vector<Taken> taken_;
    std::vector<Footprint::Role> roles_;
    std::vector<Box> courtyards_;
    std::unordered_map<std::string, int> counts_;
};

// A recipe's parts, placed.
void place_parts(const Recipe& recipe, Random& random, Layout& layout, Placer& placer);

}  // namespace eyelet::synthetic
