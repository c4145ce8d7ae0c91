// How good proposed links and nets are, measured against the known layout.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "drawn.h"

namespace eyelet::fitting {

struct PairScore {
    double precision = 0;
    double recall = 0;
    double f1 = 0;
};
// Same-net pairs of pads (vias excluded).
PairScore score_nets(const Drawn& one, const std::vector<std::vector<JointIndex>>& nets);

struct LinkScore {
    int links = 0;
    int sure = 0;          // above 0.9
    int sure_true = 0;     // same net
    int sure_same_area = 0;// same copper area of that side
    double sure_covers = 0;// joins that the true ones among them make, of all joins (joints - nets)
    double all_cover = 0;  // the same for all links given (at 1 % or more)
};
LinkScore score_links(const Drawn& one, const std::vector<Link>& links);

struct Reliability {
    struct Tenth {
        int links = 0;
        double sum = 0;
        int yes = 0;
    };
    std::vector<Tenth> tenths = std::vector<Tenth>(10);
    void add(double probability, bool yes);
    void print(const std::string& title) const;
    [[nodiscard]] double worst(int least_links) const;
};

}  // namespace eyelet::fitting
