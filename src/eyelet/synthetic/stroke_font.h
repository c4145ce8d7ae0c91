// A plain stroke alphabet for print and for text in copper, drawn on a grid 4 wide and 6 high.
#pragma once

#include <string>
#include <vector>

#include "eyelet/core/geometry.h"
#include "eyelet/synthetic/shape.h"

namespace eyelet::synthetic {

enum class Mirrored { no, yes };

// Strokes of the text with its first letter's upper left corner at `at`; capitals only, unknown letters are
// left blank. A letter is `height_mm` high and 0.67 of that wide. Turned by `degrees` about `at`; mirrored
// text runs to the left, as print on the solder side does in the board's frame.
[[nodiscard]] std::vector<Shape> text_strokes(const std::string& text, Point at, double height_mm,
                                              double line_mm, double degrees = 0,
                                              Mirrored mirrored = Mirrored::no);
[[nodiscard]] double text_width_mm(const std::string& text, double height_mm);

}  // namespace eyelet::synthetic
