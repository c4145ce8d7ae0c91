#include "eyelet/photo/link_model.h"
namespace eyelet {
const TreeModel& join_model() { static const TreeModel model{}; return model; }
}
