// The fitted judgement of candidate links, of leads, and of joining groups. The tables (link_model_table.cpp and its
// neighbours) hold the numbers and say how, and on what, they were fitted; training/follow fits them.
#pragma once

#include "eyelet/photo/boosted_trees.h"

namespace eyelet {

[[nodiscard]] const TreeModel& link_model();  // over LinkFeatures: the two joints are in the same net
[[nodiscard]] const TreeModel& lead_model();  // over LeadFeatures: the joint has a link that is in no list
[[nodiscard]] const TreeModel& join_model();  // over JoinFeatures: most pairs of joints across two groups share a net

}  // namespace eyelet
