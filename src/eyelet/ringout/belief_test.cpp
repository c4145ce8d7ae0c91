#include "eyelet/ringout/belief.h"

#include <gtest/gtest.h>

#include <cmath>

namespace eyelet::ringing {
namespace {

TEST(Weaken, MultipliesTheOdds) {
    // 0.8 is odds of 4 to 1; a tenth of them is 0.4 to 1.
    EXPECT_NEAR(Belief::weaken(0.8, 0.1), 0.4 / 1.4, 1e-12);
    EXPECT_EQ(Belief::weaken(0, 0.5), 0);
    EXPECT_NEAR(Belief::weaken(0.3, 1), 0.3, 1e-15);
}

TEST(Weaken, StaysANumberWhereCertaintyMeetsManyOpens) {
    // Between two nets with many links 1 - (1 - p)^n is 1, and with many opens miss^m is 0.
    EXPECT_EQ(Belief::weaken(1, 0), 0);
    EXPECT_EQ(Belief::weaken(1 - std::pow(0.05, 20), std::pow(0.015, 400)), 0);
    EXPECT_LE(Belief::weaken(1, 1e6), 1);
}

}  // namespace
}  // namespace eyelet::ringing
