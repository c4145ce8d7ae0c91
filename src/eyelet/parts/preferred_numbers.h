// Preferred numbers of IEC 60063: E3 to E192.
#pragma once

#include <vector>

namespace eyelet {

// The finest coarse-to-fine series (3, 6, 12, 24, 48, 96, 192) whose table holds the number's mantissa, 0 if none.
// Zero and numbers that are not finite are in none.
[[nodiscard]] int preferred_series(double value);

// The mantissas of one series from 100 up (three digits, also for E24 and coarser). Empty for other numbers.
[[nodiscard]] std::vector<int> preferred_mantissas(int series);

// The value of the series nearest by ratio. REQUIRES: value > 0 and a series that exists.
[[nodiscard]] double nearest_preferred(double value, int series);

}  // namespace eyelet
