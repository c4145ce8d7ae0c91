// The fitted judgement of candidate links and of leads. link_model_table.cpp holds the numbers and says how, and on
// what, they were fitted.
#pragma once

#include "eyelet/photo/boosted_trees.h"

namespace eyelet {

[[nodiscard]] const TreeModel& link_model();  // over LinkFeatures: the two joints are in the same net

}  // namespace eyelet
