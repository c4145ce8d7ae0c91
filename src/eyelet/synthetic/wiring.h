// Which pins are meant to be joined. Net 0 is ground, net 1 the supply, the rest signals; some pins stay
// free.
#pragma once

#include <vector>

#include "eyelet/synthetic/layout.h"
#include "eyelet/synthetic/placing.h"
#include "eyelet/synthetic/random.h"

namespace eyelet::synthetic {

inline constexpr int kGround = 0;
inline constexpr int kSupply = 1;

// Fills layout.wanted_net and returns the number of nets.
int invent_nets(const Recipe& recipe, Random& random, const Placer& placer, Layout& layout);

}  // namespace eyelet::synthetic
