#include "eyelet/ringout/ring_out.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "eyelet/ringout/rehearsal.h"

namespace eyelet {
namespace {

using testing::HasSubstr;

// Pads on a 2.54 mm grid, `across` to a row: P0 P1 P2 ...
Assembly grid(std::size_t pads, std::size_t across) {
    Assembly assembly;
    assembly.name = "grid";
    assembly.boards.push_back({BoardName("main"), {100, 100}, {}});
    for (std::size_t i = 0; i < pads; ++i) {
        Joint joint;
        joint.name = JointName("P" + std::to_string(i));
        joint.board = BoardIndex(0);
        joint.hole = joint.copper_centre = {2.54 * static_cast<double>(i % across), 2.54 * static_cast<double>(i / across)};
        joint.pad_mm = {1.6, 1.6};
        assembly.joints.push_back(joint);
    }
    return assembly;
}

Link link(std::size_t from, std::size_t to, double probability) {
    Link l;
    l.from = JointIndex(from);
    l.to = JointIndex(to);
    l.side = Side::solder;
    l.probability = probability;
    return l;
}

Reading reading(std::size_t from, std::size_t to, Said said, const char* entry = "") {
    return {EntryName(entry), JointIndex(from), JointIndex(to), said, false};
}

RingOut ring(const Assembly& assembly, const Proposals& proposals = {}, const RingOptions& options = {},
             std::vector<Reading> readings = {}, std::vector<Skip> skips = {}) {
    return std::move(RingOut::create(assembly, proposals, options, std::move(readings), std::move(skips)).value());
}

// Nets of one to eight pads, mostly near each other.
Truth random_truth(const Assembly& assembly, std::mt19937_64& random) {
    const std::size_t n = assembly.joints.size();
    Truth truth(n);
    std::uint32_t net = 0;
    for (std::size_t i = 0; i < n; ++net)
        for (std::size_t size = 1 + random() % 8; size > 0 && i < n; --size) truth[i++] = net;
    for (std::size_t swaps = n / 3; swaps > 0; --swaps) std::swap(truth[random() % n], truth[random() % n]);
    return truth;
}

double uniform(std::mt19937_64& random) { return static_cast<double>(random() >> 11) * 0x1p-53; }

bool joined(const RingState& state, std::size_t a, std::size_t b) { return state.joints[a].net == state.joints[b].net; }

// Every partition of n things, as block numbers.
std::vector<std::vector<int>> all_partitions(int n) {
    std::vector<std::vector<int>> partitions{{}};
    for (int i = 0; i < n; ++i) {
        std::vector<std::vector<int>> longer;
        for (const auto& p : partitions) {
            const int blocks = p.empty() ? 0 : *std::max_element(p.begin(), p.end()) + 1;
            for (int b = 0; b <= blocks; ++b) {
                longer.push_back(p);
                longer.back().push_back(b);
            }
        }
        partitions = std::move(longer);
    }
    return partitions;
}

bool fits(const std::vector<int>& partition, const std::vector<Reading>& readings) {
    for (const Reading& r : readings)
        if ((partition[r.from.raw()] == partition[r.to.raw()]) != std::holds_alternative<Ohms>(r.said)) return false;
    return true;
}

bool can_all_be_true(const std::vector<Reading>& readings, int n) {
    static std::map<int, std::vector<std::vector<int>>> known;
    auto& partitions = known[n];
    if (partitions.empty()) partitions = all_partitions(n);
    return std::any_of(partitions.begin(), partitions.end(), [&](const auto& p) { return fits(p, readings); });
}

std::set<std::set<std::string>> partition(const Assembly& assembly, const RingState& state) {
    std::set<std::set<std::string>> nets;
    for (const Net& net : state.nets) {
        std::set<std::string> names;
        for (JointIndex j : net.joints) names.insert(assembly.joint(j).name.text());
        nets.insert(names);
    }
    return nets;
}

TEST(RingOut, AsksFirstWhereCopperIsPlain) {
    const Assembly board = grid(4, 4);
    Proposals proposals;
    proposals.links = {link(0, 3, 0.97), link(1, 2, 0.2)};
    RingOut r = ring(board, proposals);
    const auto gesture = r.next();
    ASSERT_TRUE(gesture);
    EXPECT_EQ(std::set({gesture->hold.raw(), gesture->along.back().raw()}), std::set({0U, 3U}));
    EXPECT_THAT(gesture->why, HasSubstr("Copper is plain to see"));
}

TEST(RingOut, AsksAgainBeforeItBelievesAnOpenWhereCopperIsPlain) {
    const Assembly board = grid(2, 2);
    Proposals proposals;
    proposals.links = {link(0, 1, 0.97)};
    RingOut r = ring(board, proposals);
    ASSERT_TRUE(r.next());
    ASSERT_TRUE(r.answer(TouchAnswer{Open{}}).ok());
    const auto again = r.next();
    ASSERT_TRUE(again);
    EXPECT_EQ(again->purpose, Gesture::Purpose::again);
    ASSERT_TRUE(r.answer(TouchAnswer{Ohms{0.2}}).ok());
    EXPECT_EQ(partition(board, r.state()), (std::set<std::set<std::string>>{{"P0", "P1"}}));
}

TEST(RingOut, RefusesAnAnswerOfTheWrongKind) {
    const Assembly board = grid(2, 2);
    Proposals proposals;
    proposals.links = {link(0, 1, 0.97)};
    RingOut r = ring(board, proposals);
    const auto before = r.next();
    EXPECT_FALSE(r.answer(SweepAnswer{{Open{}}}).ok());
    EXPECT_FALSE(r.answer(TouchAnswer{Ohms{std::nan("")}}).ok());
    EXPECT_EQ(r.next(), before);
    EXPECT_TRUE(r.readings().empty());
}

TEST(RingOut, AWithdrawnReadingIsAsIfNeverTaken) {
    const Assembly board = grid(4, 4);
    Proposals proposals;
    proposals.links = {link(0, 1, 0.9), link(2, 3, 0.4)};
    RingOut with = ring(board, proposals, {}, {reading(0, 1, Ohms{0.2}, "e1"), reading(2, 3, Open{}, "e2")});
    ASSERT_TRUE(with.withdraw(EntryName("e1")).ok());
    RingOut never = ring(board, proposals, {}, {reading(2, 3, Open{}, "e2")});
    EXPECT_EQ(with.next(), never.next());
    EXPECT_EQ(partition(board, with.state()), partition(board, never.state()));
    EXPECT_FALSE(with.withdraw(EntryName("e1")).ok());
}


TEST(RingOut, IsRebuiltFromItsReadingsAtEveryStep) {
    const Assembly board = grid(24, 6);
    std::mt19937_64 random(3);
    const Truth truth = random_truth(board, random);
    const Proposals proposals = rehearsed_proposals(board, truth, RehearsedSight::populated(), random);
    RingOut live = ring(board, proposals);
    RehearsalMeter meter{truth, 0.05, std::mt19937_64(5)};
    int step = 0;
    while (const auto gesture = live.next()) {
        RingOut again = ring(board, proposals, {}, live.readings(), live.skips());
        ASSERT_EQ(again.next(), gesture) << "step " << step;
        const RingState a = live.state(), b = again.state();
        ASSERT_EQ(partition(board, a), partition(board, b));
        ASSERT_EQ(a.expected_mistakes, b.expected_mistakes);
        ASSERT_EQ(a.counts.gestures, b.counts.gestures);
        ASSERT_EQ(a.counts.seconds, b.counts.seconds);
        const EntryName entry("e" + std::to_string(step++));
        if (step == 4) {
            ASSERT_TRUE(live.answer(SkipAnswer{"cannot reach", gesture->to()}, entry).ok());
        } else {
            ASSERT_TRUE(live.answer(meter.answer(*gesture), entry).ok());
        }
    }
    EXPECT_GT(step, 10);
}

TEST(RingOut, UndoTakesBackTheLastGestureAndNothingElse) {
    const Assembly board = grid(20, 5);
    std::mt19937_64 random(4);
    const Truth truth = random_truth(board, random);
    const Proposals proposals = rehearsed_proposals(board, truth, RehearsedSight::poor(), random);
    RingOut r = ring(board, proposals);
    RehearsalMeter meter{truth, 0.05, std::mt19937_64(5)};
    EXPECT_FALSE(r.undo().ok());
    for (int step = 0; step < 25; ++step) {
        const auto gesture = r.next();
        if (!gesture) break;
        const auto before = partition(board, r.state());
        const double mistakes = r.expected_mistakes();
        const Answered answered = r.answer(meter.answer(*gesture)).value();
        const Answered undone = r.undo().value();
        ASSERT_EQ(undone.readings.size(), answered.readings.size());
        ASSERT_EQ(r.next(), gesture);
        ASSERT_EQ(partition(board, r.state()), before);
        ASSERT_EQ(r.expected_mistakes(), mistakes);
        ASSERT_TRUE(r.answer(meter.answer(*gesture)).ok());
    }
}

TEST(RingOut, TheOrderOfReadingsDoesNotMatter) {
    const Assembly board = grid(18, 6);
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
        std::mt19937_64 random(seed);
        const Truth truth = random_truth(board, random);
        const Proposals proposals = rehearsed_proposals(board, truth, RehearsedSight::populated(), random);
        RehearsalMeter meter{truth, 0.2, std::mt19937_64(seed)};
        std::vector<Reading> readings;
        for (int k = 0; k < 40; ++k) {
            const std::size_t a = random() % 18, b = random() % 18;
            if (a != b) readings.push_back(reading(a, b, meter.read(JointIndex(a), JointIndex(b))));
        }
        RingState first = ring(board, proposals, {}, readings).state();
        std::shuffle(readings.begin(), readings.end(), random);
        RingState second = ring(board, proposals, {}, readings).state();
        ASSERT_EQ(partition(board, first), partition(board, second));
        ASSERT_EQ(first.links, second.links);
        ASSERT_EQ(first.expected_mistakes, second.expected_mistakes);
        for (std::size_t i = 0; i < 18; ++i) ASSERT_EQ(first.joints[i].standing, second.joints[i].standing);
        ASSERT_EQ(first.contradictions.size(), second.contradictions.size());
    }
}

// Against brute force over every partition of six joints: tied together exactly the pairs that share a block in
// every partition that fits the readings, proven apart exactly those that share one in none.
TEST(RingOut, ProvesExactlyWhatEveryPartitionThatFitsAgreesOn) {
    constexpr int n = 6;
    const Assembly board = grid(n, n);
    const auto partitions = all_partitions(n);
    ASSERT_EQ(partitions.size(), 203U);  // Bell number
    for (std::uint64_t seed = 1; seed <= 300; ++seed) {
        std::mt19937_64 random(seed);
        const auto& truth = partitions[random() % partitions.size()];
        std::vector<Reading> readings;
        for (std::size_t k = 1 + random() % 10; k > 0; --k) {
            const std::size_t a = random() % n, b = random() % n;
            if (a != b) readings.push_back(reading(a, b, truth[a] == truth[b] ? Said(Ohms{0.1}) : Said(Open{})));
        }
        RingOut r = ring(board, {}, {}, readings);
        const RingState state = r.state();
        for (std::size_t a = 0; a < n; ++a)
            for (std::size_t b = a + 1; b < n; ++b) {
                bool always = true, never = true;
                for (const auto& p : partitions)
                    if (fits(p, readings)) (p[a] == p[b] ? never : always) = false;
                ASSERT_EQ(joined(state, a, b), always) << "seed " << seed;
                if (!always) {
                    ASSERT_EQ(r.apart(JointIndex(a), JointIndex(b)) == ApartStanding::proven, never) << "seed " << seed;
                }
            }
    }
}

// Against brute force over all subsets: what is shown cannot all be true, no smaller set that holds its open reading
// can be found, and where the readings contradict each other something is shown.
TEST(RingOut, ShowsTheSmallestSetOfReadingsThatCannotAllBeTrue) {
    constexpr int n = 5;
    const Assembly board = grid(n, n);
    int shown = 0;
    for (std::uint64_t seed = 1; seed <= 400; ++seed) {
        std::mt19937_64 random(seed);
        std::vector<Reading> readings;
        std::set<std::pair<std::size_t, std::size_t>> pairs;  // one reading a pair: a second would settle it
        while (readings.size() < 7) {
            const std::size_t a = random() % n, b = random() % n;
            if (a >= b || !pairs.insert({a, b}).second) continue;
            readings.push_back(reading(a, b, uniform(random) < 0.6 ? Said(Ohms{0.1}) : Said(Open{})));
        }
        RingOut r = ring(board, {}, {}, readings);
        const RingState state = r.state();
        ASSERT_EQ(state.contradictions.empty(), can_all_be_true(readings, n)) << "seed " << seed;
        for (const Contradiction& c : state.contradictions) {
            ++shown;
            std::vector<Reading> set;
            for (std::size_t i : c.readings) set.push_back(readings[i]);
            ASSERT_FALSE(can_all_be_true(set, n));
            std::size_t open = readings.size();
            for (std::size_t i : c.readings)
                if (std::holds_alternative<Open>(readings[i].said)) {
                    ASSERT_EQ(open, readings.size()) << "one open against a chain";
                    open = i;
                }
            for (unsigned mask = 0; mask < (1U << readings.size()); ++mask) {
                if (!(mask >> open & 1U) || static_cast<std::size_t>(__builtin_popcount(mask)) >= set.size()) continue;
                std::vector<Reading> smaller;
                for (std::size_t i = 0; i < readings.size(); ++i)
                    if (mask >> i & 1U) smaller.push_back(readings[i]);
                // Other opens may make a small set impossible by themselves; they have contradictions of their own.
                bool other_open = false;
                for (const Reading& x : smaller)
                    other_open = other_open || (std::holds_alternative<Open>(x.said) && !(x.from == readings[open].from && x.to == readings[open].to));
                if (!other_open) {
                    ASSERT_TRUE(can_all_be_true(smaller, n));
                }
            }
        }
    }
    EXPECT_GT(shown, 50);
}

TEST(RingOut, AsksTheTouchThatSettlesAContradiction) {
    // P0 - P1 - P2 read joined step by step, P0 to P2 open: one of the three is wrong.
    const Assembly board = grid(3, 3);
    RingOut r = ring(board, {}, {}, {reading(0, 1, Ohms{0.1}), reading(1, 2, Ohms{0.1}), reading(0, 2, Open{})});
    ASSERT_EQ(r.state().contradictions.size(), 1U);
    const auto gesture = r.next();
    ASSERT_TRUE(gesture);
    EXPECT_EQ(gesture->purpose, Gesture::Purpose::contradiction);
    EXPECT_EQ(std::set({gesture->hold.raw(), gesture->to().raw()}), std::set({0U, 2U}));
    ASSERT_TRUE(r.answer(TouchAnswer{Ohms{0.1}}).ok());
    EXPECT_TRUE(r.state().contradictions.empty());
}

TEST(RingOut, TwoOpensOutvoteOneReadingOfCopper) {
    // A needle that slipped onto a neighbour once: P0 to P1.
    const Assembly board = grid(3, 3);
    RingOut r = ring(board, {}, {}, {reading(0, 1, Ohms{0.1}), reading(0, 1, Open{})});
    EXPECT_TRUE(joined(r.state(), 0, 1));
    ASSERT_TRUE(r.add(reading(1, 0, Open{})).ok());
    EXPECT_FALSE(joined(r.state(), 0, 1));
}

TEST(RingOut, AReadingBetweenTheThresholdsIsNotProof) {
    const Assembly board = grid(2, 2);
    Proposals proposals;
    proposals.links = {link(0, 1, 0.6)};
    RingOut r = ring(board, proposals, {}, {reading(0, 1, Ohms{47})});
    RingState state = r.state();
    EXPECT_EQ(r.apart(JointIndex(0), JointIndex(1)), ApartStanding::presumed);
    ASSERT_EQ(state.unsettled.size(), 1U);
    EXPECT_NE(state.links[0], Standing::proven);
    EXPECT_NE(state.links[0], Standing::refuted);
    int asked = 0;
    while (r.next() && asked < 50) {
        ASSERT_TRUE(r.answer(TouchAnswer{Ohms{47}}).ok());
        ++asked;
    }
    EXPECT_LT(asked, 10);  // it does not go on for ever
    EXPECT_FALSE(joined(r.state(), 0, 1));
}

TEST(RingOut, ABeepIsCopperOnlyWhereTheOptionsSaySo) {
    const Assembly board = grid(2, 2);
    Proposals proposals;
    proposals.links = {link(0, 1, 0.6)};
    RingOptions options;
    options.beep = BeepMeans::copper;
    RingState taken = ring(board, proposals, options, {reading(0, 1, Beep{})}).state();
    EXPECT_TRUE(joined(taken, 0, 1));
    EXPECT_TRUE(taken.beep_assumed);
    EXPECT_TRUE(taken.joints[0].by_beep);
    options.beep = BeepMeans::nothing;
    RingState kept = ring(board, proposals, options, {reading(0, 1, Beep{})}).state();
    EXPECT_EQ(kept.links[0], Standing::proposed);
    EXPECT_FALSE(kept.beep_assumed);
    RingState measured = ring(board, proposals, options, {reading(0, 1, Ohms{0.3})}).state();
    EXPECT_EQ(measured.links[0], Standing::proven);
    EXPECT_FALSE(measured.beep_assumed);
}

TEST(RingOut, AJointThatCannotBeReachedIsReportedAndNotAskedAgain) {
    const Assembly board = grid(12, 4);
    std::mt19937_64 random(8);
    const Truth truth = random_truth(board, random);
    const Proposals proposals = rehearsed_proposals(board, truth, RehearsedSight::bare(), random);
    RehearsalMeter meter{truth, 0, std::mt19937_64(1)};
    for (bool told : {true, false}) {
        RingOut r = ring(board, proposals);
        const JointIndex blocked(5);
        int asked = 0, refused_after = 0;
        while (const auto g = r.next()) {
            ASSERT_LT(++asked, 300);
            const bool involved = g->hold == blocked || std::find(g->along.begin(), g->along.end(), blocked) != g->along.end();
            if (!involved) {
                ASSERT_TRUE(r.answer(meter.answer(*g)).ok());
                continue;
            }
            ASSERT_LT(++refused_after, told ? 2 : 12);
            ASSERT_TRUE(r.answer(SkipAnswer{"under the heatsink", told ? blocked : JointIndex()}).ok());
        }
        const RingState state = r.state();
        ASSERT_GT(refused_after, 0);
        if (told) {
            EXPECT_EQ(state.joints[5].standing, JointStanding::unreachable);
            EXPECT_THAT(state.joints[5].why, HasSubstr("under the heatsink"));
        }
        EXPECT_GT(state.counts.joints_unproven + state.unsettled.size(), 0U);
        for (std::size_t a = 0; a < 12; ++a)
            for (std::size_t b = 0; b < 12; ++b)
                if (a != 5 && b != 5) {
                    ASSERT_EQ(joined(state, a, b), truth[a] == truth[b]);
                }
    }
}

TEST(RingOut, NeverAsksForAViaButFollowsCopperThroughIt) {
    Assembly board = grid(3, 3);
    board.joints[1].kind = JointKind::via;
    Proposals proposals;
    proposals.links = {link(0, 1, 0.95), link(1, 2, 0.95)};
    RingOut r = ring(board, proposals);
    const auto gesture = r.next();
    ASSERT_TRUE(gesture);
    EXPECT_EQ(std::set({gesture->hold.raw(), gesture->to().raw()}), std::set({0U, 2U}));
    ASSERT_TRUE(r.answer(TouchAnswer{Ohms{0.2}}).ok());
    const RingState state = r.state();
    EXPECT_EQ(state.links[0], Standing::proven);
    EXPECT_EQ(state.links[1], Standing::proven);
    EXPECT_EQ(state.counts.joints, 2U);
    EXPECT_EQ(state.nets.size(), 1U);
    EXPECT_FALSE(r.add(reading(0, 1, Ohms{0.1})).ok());
}

TEST(RingOut, RingsOutACableBetweenBoards) {
    Assembly pair = grid(4, 2);
    pair.boards.push_back({BoardName("front"), {50, 50}, {}});
    pair.joints[2].board = pair.joints[3].board = BoardIndex(1);
    pair.cables.push_back({"flat cable", {{JointIndex(0), JointIndex(2)}, {JointIndex(1), JointIndex(3)}}});
    Proposals proposals;  // photographs were taken, and show copper nowhere
    proposals.leads = {{JointIndex(0), Side::solder, 1e-6, std::nullopt}};
    RingOut r = ring(pair, proposals);
    int asked = 0;
    while (const auto g = r.next()) {
        ASSERT_LT(++asked, 20);
        ASSERT_TRUE(r.answer(g->kind == Gesture::Kind::touch ? Answer(TouchAnswer{Ohms{0.1}}) : Answer(SweepAnswer{std::vector<Said>(g->along.size(), Open{})})).ok());
    }
    EXPECT_EQ(asked, 2);
    EXPECT_TRUE(joined(r.state(), 0, 2));
    EXPECT_TRUE(joined(r.state(), 1, 3));
}

TEST(RingOut, PresumedApartIsToldFromProvenApart) {
    const Assembly board = grid(3, 3);
    Proposals proposals;
    proposals.links = {link(0, 1, 0.97)};
    RingOut r = ring(board, proposals, {}, {reading(0, 1, Ohms{0.1})});
    const RingState state = r.state();
    EXPECT_EQ(state.joints[2].standing, JointStanding::presumed);
    EXPECT_EQ(r.apart(JointIndex(0), JointIndex(2)), ApartStanding::presumed);
    ASSERT_TRUE(r.add(reading(1, 2, Open{})).ok());
    EXPECT_EQ(r.state().joints[2].standing, JointStanding::proven);
    EXPECT_EQ(r.apart(JointIndex(0), JointIndex(2)), ApartStanding::proven);
}

TEST(RingOut, ProvesApartEveryTwoNetsThatComeNear) {
    const Assembly board = grid(16, 4);
    std::mt19937_64 random(9);
    const Truth truth = random_truth(board, random);
    const Proposals proposals = rehearsed_proposals(board, truth, RehearsedSight::bare(), random);
    RingOptions options;
    options.apart_mm = 1.5;  // pads of 1.6 mm at 2.54 mm: neighbours along the axes are 0.94 mm apart
    RingOut r = ring(board, proposals, options);
    RehearsalMeter meter{truth, 0, std::mt19937_64(1)};
    while (const auto g = r.next()) ASSERT_TRUE(r.answer(meter.answer(*g)).ok());
    for (std::size_t a = 0; a < 16; ++a)
        for (std::size_t b = a + 1; b < 16; ++b) {
            if (truth[a] == truth[b] || distance(board.joints[a].hole, board.joints[b].hole) > 2.6) continue;
            EXPECT_EQ(r.apart(JointIndex(a), JointIndex(b)), ApartStanding::proven) << a << " " << b;
        }
}

TEST(RingOut, NamesOptionsThatAreOutOfRange) {
    const Assembly board = grid(2, 2);
    RingOptions options;
    options.risk = std::nan("");
    EXPECT_THAT(RingOut::create(board, {}, options).error().message, HasSubstr("risk"));
    options = {};
    options.contact_miss = 0;
    EXPECT_THAT(RingOut::create(board, {}, options).error().message, HasSubstr("contact_miss"));
    options = {};
    options.open_above_ohm = 0.5;
    EXPECT_THAT(RingOut::create(board, {}, options).error().message, HasSubstr("open_above_ohm"));
    options = {};
    options.costs.flip_s = -1;
    EXPECT_THAT(RingOut::create(board, {}, options).error().message, HasSubstr("flip_s"));
}

// The whole ring-out, with and without photographs, with and without contacts that miss. Fixed seeds.
struct RehearsalCase {
    const char* name;
    bool photographs;
    RehearsedSight sight;
    double miss;
};
class Rehearsal : public testing::TestWithParam<RehearsalCase> {};

TEST_P(Rehearsal, EndsWithTheTrueNets) {
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
        std::mt19937_64 random(seed);
        const Assembly board = grid(60, 10);
        const Truth truth = random_truth(board, random);
        Proposals proposals;
        if (GetParam().photographs) proposals = rehearsed_proposals(board, truth, GetParam().sight, random);
        const RehearsalResult r = rehearse(board, proposals, truth, {}, GetParam().miss, seed, 5000);
        EXPECT_FALSE(r.ran_out);
        EXPECT_EQ(r.nets_wrong, 0U) << "seed " << seed;
        EXPECT_TRUE(r.state.settled);
        EXPECT_TRUE(r.state.proposals_confirmed);
        // Joins are found one by one: floor = pads - nets, whatever the scheme, and a sweep reads several.
        EXPECT_GE(r.state.counts.readings, r.floor);
        std::size_t ties = 0;
        for (std::size_t k = 0; k < 6; ++k) ties += r.joined[k];
        EXPECT_EQ(ties, r.floor);
    }
}

INSTANTIATE_TEST_SUITE_P(Boards, Rehearsal,
                         testing::Values(RehearsalCase{"bare", true, RehearsedSight::bare(), 0},
                                         RehearsalCase{"bare_missing", true, RehearsedSight::bare(), 0.01},
                                         RehearsalCase{"populated_missing", true, RehearsedSight::populated(), 0.01},
                                         RehearsalCase{"poor", true, RehearsedSight::poor(), 0},
                                         RehearsalCase{"poor_missing", true, RehearsedSight::poor(), 0.01},
                                         RehearsalCase{"dark", false, {}, 0}, RehearsalCase{"dark_missing", false, {}, 0.01}),
                         [](const auto& p) { return p.param.name; });

// W. H. Kautz, "Testing for faults in wiring networks", IEEE Trans. Computers C-23 (1974): any scheme needs
// p - 1 + ceil(log2 q) tests (p = size of the largest cluster, q = number of clusters), even with many probes.
int kautz(int p, int q) { return p - 1 + static_cast<int>(std::ceil(std::log2(q))); }

TEST(Bounds, KautzAsQuoted) {  // formula from the abstract; numbers recomputed
    EXPECT_EQ(kautz(1, 8), 3);
    EXPECT_EQ(kautz(2, 8), 4);
    EXPECT_EQ(kautz(4, 16), 7);
    EXPECT_EQ(kautz(3, 100), 9);
    EXPECT_EQ(kautz(10, 250), 17);
}

// X. Liu and S. Mukherjee, "Tight query complexity bounds for learning graph partitions" (2022): a given partition of
// n pins into k nets is verified by n - k answers "joined" and one "apart" for each two nets, no fewer.
TEST(Bounds, ProvingEverythingApartTakesAtLeastAReadingForEachTwoNets) {
    const Assembly board = grid(10, 10);
    const Truth truth{0, 0, 0, 0, 1, 1, 1, 2, 2, 2};
    RingOptions options;
    options.apart_mm = 1000;
    RingOut r = ring(board, {}, options);
    RehearsalMeter meter{truth, 0, std::mt19937_64(1)};
    std::size_t gestures = 0;
    while (const auto g = r.next()) {
        ASSERT_TRUE(r.answer(meter.answer(*g)).ok());
        ++gestures;
    }
    EXPECT_GE(r.state().counts.readings, 7U + 3U);  // (n, k) = (10, 3) in the paper's formula: 10
    EXPECT_GE(static_cast<int>(r.state().counts.readings), kautz(4, 3));
    for (std::size_t a = 0; a < 10; ++a)
        for (std::size_t b = 0; b < a; ++b) {
            ASSERT_EQ(joined(r.state(), a, b), truth[a] == truth[b]);
            if (truth[a] != truth[b]) {
                EXPECT_EQ(r.apart(JointIndex(a), JointIndex(b)), ApartStanding::proven);
            }
        }
}

TEST(Rows, AreStraightOnOneSideAndWithoutWideGaps) {
    Assembly board = grid(8, 4);
    board.joints[2].sides = JointSides::component;   // on the component side only
    board.joints[6].hole.y += 0.3;                   // off its row
    board.joints[7].hole.x += 5;                     // too far from the next
    const std::vector<Row> rows = find_rows(board, 5.08);
    const auto has = [&](std::vector<std::size_t> joints, std::optional<Side> side) {
        std::vector<JointIndex> wanted;
        for (std::size_t j : joints) wanted.emplace_back(j);
        return std::any_of(rows.begin(), rows.end(), [&](const Row& r) { return r.joints == wanted && (!side || r.side == *side); });
    };
    EXPECT_TRUE(has({0, 1, 2, 3}, Side::component));
    EXPECT_TRUE(has({0, 1, 3}, Side::solder));  // P2 is not there; P1 to P3 is 5.08 mm
    EXPECT_TRUE(has({4, 5}, std::nullopt));
    EXPECT_FALSE(has({4, 5, 6}, std::nullopt));
    EXPECT_TRUE(has({0, 4}, std::nullopt));
    for (const Row& row : rows) EXPECT_GE(row.joints.size(), 2U);
}

TEST(Rows, EveryGestureThatIsAskedCanBeMade) {
    std::mt19937_64 random(12);
    Assembly board = grid(80, 10);
    for (Joint& joint : board.joints) {
        const double kind = uniform(random);
        if (kind < 0.2) joint.sides = JointSides::component;
        else if (kind < 0.3) joint.sides = JointSides::solder;
        else if (kind < 0.4) joint.kind = JointKind::via;
        if (uniform(random) < 0.1) joint.hole.x += 1.1;
    }
    const Truth truth = random_truth(board, random);
    RingOut r = ring(board, rehearsed_proposals(board, truth, RehearsedSight::poor(), random));
    RehearsalMeter meter{truth, 0.01, std::mt19937_64(1)};
    int sweeps = 0;
    while (const auto g = r.next()) {
        ASSERT_TRUE(board.joint(g->hold).can_be_touched());
        ASSERT_TRUE(board.joint(g->hold).on(g->hold_side));
        for (std::size_t i = 0; i < g->along.size(); ++i) {
            const Joint& joint = board.joint(g->along[i]);
            ASSERT_TRUE(joint.can_be_touched());
            ASSERT_TRUE(joint.on(g->along_side));
            ASSERT_NE(g->along[i], g->hold);
            if (i > 0) {
                ASSERT_LE(distance(joint.hole, board.joint(g->along[i - 1]).hole), 5.08 + 1e-5);
            }
            const Point line = board.joint(g->along.back()).hole - board.joint(g->along.front()).hole;
            ASSERT_LE(std::abs(cross(line, joint.hole - board.joint(g->along.front()).hole)), 0.1 * length(line) + 1e-9);
        }
        sweeps += g->kind == Gesture::Kind::sweep;
        ASSERT_FALSE(g->why.empty());
        ASSERT_TRUE(r.answer(meter.answer(*g)).ok());
    }
    EXPECT_GT(sweeps, 3);
}

TEST(Costs, AreSecondsByTheStatedFormula) {
    const Assembly board = grid(4, 4);
    ProbeCosts costs;
    Gesture touch;
    touch.hold = JointIndex(0);
    touch.along = {JointIndex(1)};
    EXPECT_DOUBLE_EQ(seconds_for(board, costs, {}, touch), 2.0 + 1.5);
    Probes now{JointIndex(0), JointIndex(3), Side::component, Side::component};
    EXPECT_DOUBLE_EQ(seconds_for(board, costs, now, touch), 1.5 + 0.01 * 2 * 2.54);  // held stays, the other travels
    touch.along_side = Side::solder;
    EXPECT_DOUBLE_EQ(seconds_for(board, costs, now, touch), 1.5 + 0.01 * 2 * 2.54 + 6.0);
    Gesture sweep = touch;
    sweep.kind = Gesture::Kind::sweep;
    sweep.along_side = Side::component;
    sweep.along = {JointIndex(1), JointIndex(2), JointIndex(3)};
    EXPECT_NEAR(seconds_for(board, costs, {}, sweep), 2.0 + 1.5 + 2 * (0.4 + 0.0254), 1e-12);
}

TEST(Nets, AreNamedAfterTheirLargestPartAndInNaturalOrder) {
    Assembly board = grid(12, 12);
    board.parts.resize(2);
    board.parts[0] = {PartName("U1"), BoardIndex(0), "", "", Side::component, {}, {JointIndex(10), JointIndex(11), JointIndex(9)}};
    board.joints[10].part = PartIndex(0);
    const auto nets = nets_from_links(board, {link(2, 10, 0.9), link(10, 3, 0.4)});
    ASSERT_EQ(nets.size(), 11U);
    EXPECT_EQ(nets[0].name, "P10");
    EXPECT_EQ(nets[0].joints, (std::vector{JointIndex(2), JointIndex(10)}));
    EXPECT_EQ(nets[1].name, "P0");
    EXPECT_EQ(nets[3].name, "P3");
    EXPECT_EQ(nets.back().name, "P11");
}

}  // namespace
}  // namespace eyelet
