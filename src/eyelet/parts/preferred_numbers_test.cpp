#include "eyelet/parts/preferred_numbers.h"

#include <algorithm>

#include <gtest/gtest.h>

namespace eyelet {
namespace {

// IEC 60063 (values second-hand, from public tables that agree).
TEST(PreferredNumbers, TablesOfTheStandard) {
    EXPECT_EQ(preferred_mantissas(3), (std::vector<int>{100, 220, 470}));
    EXPECT_EQ(preferred_mantissas(12), (std::vector<int>{100, 120, 150, 180, 220, 270, 330, 390, 470, 560, 680, 820}));
    const std::vector<int> e192 = preferred_mantissas(192);
    EXPECT_EQ(e192.size(), 192U);
    EXPECT_EQ(e192[185], 920);  // not 919, which the rule would give
    const std::vector<int> e96 = preferred_mantissas(96), e48 = preferred_mantissas(48);
    EXPECT_TRUE(std::includes(e192.begin(), e192.end(), e96.begin(), e96.end()));
    EXPECT_TRUE(std::includes(e96.begin(), e96.end(), e48.begin(), e48.end()));
    EXPECT_EQ(e48[1], 105);
    EXPECT_EQ(e48.back(), 953);
}

TEST(PreferredNumbers, NamesTheCoarsestSeries) {
    EXPECT_EQ(preferred_series(4700), 3);
    EXPECT_EQ(preferred_series(27e3), 12);
    EXPECT_EQ(preferred_series(27.4e3), 48);
    EXPECT_EQ(preferred_series(1e-7), 3);
    EXPECT_EQ(preferred_series(999.9e-9), 0);
    EXPECT_EQ(preferred_series(0), 0);
    EXPECT_EQ(preferred_series(1234), 0);
}

TEST(PreferredNumbers, NearestByRatio) {
    EXPECT_NEAR(nearest_preferred(3162.3, 12), 3300, 1e-9);
    EXPECT_NEAR(nearest_preferred(9.6, 12), 10, 1e-9);
}

}  // namespace
}  // namespace eyelet
