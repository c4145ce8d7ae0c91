// What age and bad repairs do to a board's copper. The truth must be worked out again afterwards.
#pragma once

#include "eyelet/synthetic/layout.h"

namespace eyelet::synthetic {

// The joint's pads on both sides are gone, with the plating of its hole and the copper next to them: the
// joint touches nothing any more, and tracks that met there end short. REQUIRES: a joint of the layout, not a
// via.
void lose_pad(Layout& layout, JointIndex joint);

}  // namespace eyelet::synthetic
