#include "eyelet/photo/link_model.h"
namespace eyelet {
const TreeModel& link_model() { static const TreeModel model{}; return model; }
}
