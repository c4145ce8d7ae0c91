// The trained pixel model, built into the library. It is stored with weights of half precision
// (IEEE 754 binary16) in the Open Neural Network Exchange form and widened here, because OpenCV 4.6 reads only
// single precision.
#pragma once

#include <vector>

namespace eyelet {

[[nodiscard]] std::vector<unsigned char> copper_model_onnx();

}  // namespace eyelet
