// A made map of many joints with known nets and what photographs might have proposed of them, for measuring
// the ring-out without photographs. The proposals' probabilities are honest by construction: of the links
// given p about p are true.
#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "eyelet/board/evidence.h"
#include "eyelet/board/map.h"

namespace eyelet::synthetic {

struct MadeOptions {
    double seen = 0.85;         // share of true neighbours for which a link is proposed at all
    double lead_found = 0.995;  // share of joints with an unproposed neighbour that have a lead
    double lead_false = 0.15;   // share of other joints that have one
    std::uint64_t seed = 1;
};

struct MadeBoard {
    Assembly assembly;  // one board, pads only
    std::vector<std::vector<JointIndex>> nets;
    Proposals proposals;
};

[[nodiscard]] MadeBoard made_board(std::size_t joints, const MadeOptions& options = {});

}  // namespace eyelet::synthetic
