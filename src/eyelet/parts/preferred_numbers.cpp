#include "eyelet/parts/preferred_numbers.h"

#include <algorithm>
#include <cmath>

namespace eyelet {

namespace {

// E24 is older than the rule and differs from it in eight places, so it is a table.
constexpr int kE24[] = {100, 110, 120, 130, 150, 160, 180, 200, 220, 240, 270, 300,
                        330, 360, 390, 430, 470, 510, 560, 620, 680, 750, 820, 910};

}  // namespace

std::vector<int> preferred_mantissas(int series) {
    std::vector<int> mantissas;
    if (series == 3 || series == 6 || series == 12 || series == 24) {
        for (int i = 0; i < 24; i += 24 / series) mantissas.push_back(kE24[i]);
    } else if (series == 48 || series == 96 || series == 192) {
        for (int i = 0; i < 192; i += 192 / series) {
            const int rounded = static_cast<int>(std::lround(100 * std::pow(10, i / 192.0)));
            mantissas.push_back(i == 185 ? 920 : rounded);  // the one exception of the standard: not 919
        }
    }
    return mantissas;
}

int preferred_series(double value) {
    if (!std::isfinite(value) || value <= 0) return 0;
    double mantissa = value / std::pow(10, std::floor(std::log10(value)) - 2);
    if (mantissa >= 999.5) mantissa /= 10;
    const int rounded = static_cast<int>(std::lround(mantissa));
    if (std::abs(mantissa - rounded) > 1e-6 * mantissa) return 0;
    for (int series : {3, 6, 12, 24, 48, 96, 192}) {
        const std::vector<int> all = preferred_mantissas(series);
        if (std::find(all.begin(), all.end(), rounded) != all.end()) return series;
    }
    return 0;
}

double nearest_preferred(double value, int series) {
    const double decade = std::pow(10, std::floor(std::log10(value)) - 2);
    double best = 0;
    for (double scale : {decade / 10, decade, decade * 10})
        for (int mantissa : preferred_mantissas(series)) {
            const double candidate = mantissa * scale;
            if (best == 0 || std::abs(std::log(candidate / value)) < std::abs(std::log(best / value))) best = candidate;
        }
    return best;
}

}  // namespace eyelet
