#include "eyelet/synthetic/meter.h"

#include <gtest/gtest.h>

#include <variant>

namespace eyelet::synthetic {
namespace {

JointIndex j(std::size_t i) {
    return JointIndex{i};
}

// Joints 0-1-2 are one net, 3-4 another, 5 stands alone, 6 is in no list.
const std::vector<std::vector<JointIndex>> kNets{{j(0), j(1), j(2)}, {j(3), j(4)}, {j(5)}};

TEST(Meter, ReadsCopperWithinItsLimitsAndOpensElsewhere) {
    Meter meter(kNets, 7, {});
    for (int i = 0; i < 200; ++i) {
        const Said said = meter.read(j(0), j(2));
        ASSERT_TRUE(std::holds_alternative<Ohms>(said));
        EXPECT_GE(std::get<Ohms>(said).value, 0.05);
        EXPECT_LE(std::get<Ohms>(said).value, 0.4);
    }
    EXPECT_EQ(meter.read(j(0), j(3)), Said{Open{}});
    EXPECT_EQ(meter.read(j(5), j(6)), Said{Open{}});
    EXPECT_FALSE(meter.joined(j(5), j(6)));
}

TEST(Meter, OnePairKeepsItsOhmsBothWays) {
    MeterOptions exact;
    exact.spread_ohm = 0;
    Meter meter(kNets, 7, exact);
    EXPECT_EQ(meter.read(j(0), j(1)), meter.read(j(1), j(0)));
    EXPECT_NE(meter.read(j(0), j(1)), meter.read(j(0), j(2)));
}

TEST(Meter, MissesAsOftenAsAskedAndNeverJoinsWhatIsApart) {
    MeterOptions clumsy;
    clumsy.miss = 0.1;
    clumsy.seed = 9;
    Meter meter(kNets, 7, clumsy);
    int opens = 0;
    constexpr int kReadings = 4000;
    for (int i = 0; i < kReadings; ++i) {
        if (std::holds_alternative<Open>(meter.read(j(3), j(4)))) ++opens;
        EXPECT_TRUE(std::holds_alternative<Open>(meter.read(j(0), j(4))));
    }
    // Binomial: 400 expected, deviation 19; five deviations either way.
    EXPECT_NEAR(opens, 400, 95);
    EXPECT_EQ(meter.misses(), static_cast<std::size_t>(opens));
    EXPECT_EQ(meter.readings(), 2U * kReadings);
}

TEST(Meter, SameSeedSameAnswers) {
    MeterOptions options;
    options.miss = 0.3;
    Meter a(kNets, 7, options);
    Meter b(kNets, 7, options);
    options.seed = 2;
    Meter c(kNets, 7, options);
    int different = 0;
    for (int i = 0; i < 100; ++i) {
        const Said said = a.read(j(0), j(1));
        EXPECT_EQ(said, b.read(j(0), j(1)));
        if (said != c.read(j(0), j(1))) ++different;
    }
    EXPECT_GT(different, 0);
}

TEST(Meter, SweepAnswersEachJointInOrder) {
    MeterOptions beeper;
    beeper.only_beeps = true;
    Meter meter(kNets, 7, beeper);
    const std::vector<Said> answers = meter.sweep(j(0), {j(3), j(1), j(5), j(2)});
    EXPECT_EQ(answers, (std::vector<Said>{Open{}, Beep{}, Open{}, Beep{}}));
}

}  // namespace
}  // namespace eyelet::synthetic
