// The nets that a layout's copper makes, from its figures alone: what touches is joined, whatever it was
// meant for. Plated holes and vias join the sides.
#pragma once

#include <vector>

#include "eyelet/synthetic/layout.h"

namespace eyelet::synthetic {

// A partition of all joints: largest net first, then by its lowest joint; joints in order.
[[nodiscard]] std::vector<std::vector<JointIndex>> true_nets(const Layout& layout);

}  // namespace eyelet::synthetic
