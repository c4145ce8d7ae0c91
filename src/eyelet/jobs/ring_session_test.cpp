#include "eyelet/jobs/ring_session.h"

#include <gmock/gmock.h>

#include <set>

#include "eyelet/jobs/import.h"
#include "eyelet/jobs/nets.h"
#include "eyelet/jobs/testing.h"

namespace eyelet {
namespace {

using testing::IsEmpty;
using testing::SizeIs;

class RingSessionTest : public testing::Test {
  protected:
    void SetUp() override {
        NewJob wanted;
        wanted.map = drawn_.map;
        job_ = must(store_->add_job(wanted, {"Ada", "test"})).name;
        for (std::size_t net = 0; net < drawn_.nets.size(); ++net)
            for (JointIndex joint : drawn_.nets[net]) net_of_[joint] = net;
        options_.who = {"Ada", "test"};
        options_.instrument = "handheld meter";
        options_.lead_ohm = 0.2;
    }
    std::unique_ptr<RingSession> open() { return must(RingSession::open(*store_, job_, options_)); }

    Said truth(JointIndex a, JointIndex b) {
        return net_of_[a] == net_of_[b] ? Said(Ohms{0.2}) : Said(Open{});
    }
    Answer answer_to(const Gesture& gesture) {
        if (gesture.kind == Gesture::Kind::touch) return TouchAnswer{truth(gesture.hold, gesture.to())};
        SweepAnswer sweep;
        for (JointIndex joint : gesture.along) sweep.said.push_back(truth(gesture.hold, joint));
        return sweep;
    }
    void step(RingSession& session) {
        const auto gesture = must(session.next());
        ASSERT_TRUE(gesture.has_value());
        ok(session.answer(answer_to(*gesture)));
    }
    std::set<std::set<std::string>> names(const std::vector<Net>& nets) {
        std::set<std::set<std::string>> all;
        for (const Net& net : nets) {
            std::set<std::string> one;
            for (JointIndex joint : net.joints) one.insert(drawn_.map.joint(joint).name.text());
            all.insert(one);
        }
        return all;
    }
    std::set<std::set<std::string>> true_names() {
        std::vector<Net> nets;
        for (const auto& joints : drawn_.nets) nets.push_back({"", NetStanding::proven, joints});
        return names(nets);
    }
    std::size_t readings_stored() { return must(store_->journal(job_, EntryKind::reading)).size(); }

    const DrawnBoard drawn_ = drawn_board();
    TemporaryFolder bench_;
    std::unique_ptr<Store> store_ = must(open_bench(bench_.path()));
    JobName job_;
    RingSessionOptions options_;
    std::map<JointIndex, std::size_t> net_of_;
};

TEST_F(RingSessionTest, RingsABoardOutToItsTrueNets) {
    auto session = open();
    EXPECT_THAT(session->remarks(), SizeIs(1));  // copper was not followed
    std::size_t gestures = 0;
    while (const auto gesture = must(session->next())) {
        const std::size_t before = readings_stored();
        ok(session->answer(answer_to(*gesture)));
        // Acknowledged means stored, all of a sweep's readings together.
        EXPECT_EQ(readings_stored(), before + gesture->along.size());
        ASSERT_LT(++gestures, 1000U);
    }
    EXPECT_TRUE(session->state().settled);
    EXPECT_EQ(session->state().counts.gestures, gestures);
    EXPECT_EQ(names(session->state().nets), true_names());
    EXPECT_EQ(names(must(nets_of(*store_, job_, NetsFrom::readings)).nets), true_names());
    const auto entry = std::get<ReadingEntry>(must(store_->journal(job_, EntryKind::reading)).front().body);
    EXPECT_EQ(entry.instrument, "handheld meter");
    EXPECT_EQ(entry.lead_ohm, 0.2);
    EXPECT_EQ(entry.copper_below_ohm, options_.ring.copper_below_ohm);
}

TEST_F(RingSessionTest, TakesUpWhereItWasLeft) {
    // Closed and opened again after every answer, it knows what it knew, and comes to the same end.
    std::size_t gestures = 0;
    for (;; ++gestures) {
        ASSERT_LT(gestures, 1000U);
        auto session = open();
        EXPECT_EQ(session->state().counts.gestures, gestures);
        const auto gesture = must(session->next());
        EXPECT_EQ(must(open()->next()), gesture);
        if (!gesture) break;
        ok(session->answer(answer_to(*gesture)));
        const auto reopened = open();
        EXPECT_EQ(names(reopened->state().nets), names(session->state().nets));
        EXPECT_EQ(reopened->state().counts.readings, session->state().counts.readings);
        for (std::size_t i = 0; i < drawn_.map.joints.size(); ++i)
            EXPECT_EQ(reopened->state().joints[i].standing, session->state().joints[i].standing) << i;
    }
    EXPECT_EQ(names(open()->state().nets), true_names());
    EXPECT_TRUE(open()->state().settled);
}

TEST_F(RingSessionTest, UndoWithdrawsAWholeGestureAndAsksItAgain) {
    auto session = open();
    for (int i = 0; i < 4; ++i) step(*session);
    const auto asked = must(session->next());
    ASSERT_TRUE(asked.has_value());
    ok(session->answer(answer_to(*asked)));
    const std::size_t stored = readings_stored();
    const Edit undone = must(session->undo());
    EXPECT_THAT(undone.entries, SizeIs(asked->along.size()));
    EXPECT_EQ(readings_stored(), stored);  // withdrawn, not deleted
    const auto again = must(session->next());
    ASSERT_TRUE(again.has_value());
    EXPECT_EQ(again->hold, asked->hold);
    EXPECT_EQ(again->along, asked->along);
    for (int i = 0; i < 4; ++i) must(session->undo());
    EXPECT_EQ(session->undo().error().code, ErrorCode::refused);
    EXPECT_EQ(session->state().counts.readings, 0U);
}

TEST_F(RingSessionTest, ASkipIsStoredAsNotMeasured) {
    auto session = open();
    const auto asked = must(session->next());
    ASSERT_TRUE(asked.has_value());
    ok(session->answer(SkipAnswer{"under the heat sink", asked->to()}));
    const auto journal = must(store_->journal(job_, EntryKind::reading));
    ASSERT_THAT(journal, SizeIs(asked->along.size()));
    const auto& reading = std::get<ReadingEntry>(journal.front().body);
    ASSERT_TRUE(std::holds_alternative<NotMeasured>(reading.said));
    EXPECT_EQ(std::get<NotMeasured>(reading.said).why, "under the heat sink");
    const auto after = must(session->next());
    EXPECT_EQ(must(open()->next()), after);
    EXPECT_NE(after, asked);
    ok(session->undo().ok() ? Status() : Status(bad_input("undo")));
    EXPECT_EQ(must(session->next())->along, asked->along);
}

TEST_F(RingSessionTest, AWrongAnswerStoresNothingAndTheQuestionStands) {
    auto session = open();
    EXPECT_EQ(session->answer(TouchAnswer{Open{}}).error().code, ErrorCode::refused);
    const auto asked = must(session->next());
    ASSERT_TRUE(asked.has_value());
    if (asked->kind == Gesture::Kind::touch) {
        EXPECT_FALSE(session->answer(SweepAnswer{{Open{}, Open{}}}).ok());
        EXPECT_FALSE(session->answer(TouchAnswer{Ohms{std::numeric_limits<double>::quiet_NaN()}}).ok());
    } else {
        EXPECT_FALSE(session->answer(TouchAnswer{Open{}}).ok());
        EXPECT_FALSE(session->answer(SweepAnswer{{}}).ok());
        SweepAnswer bad = std::get<SweepAnswer>(answer_to(*asked));
        bad.said.back() = Ohms{std::numeric_limits<double>::infinity()};
        EXPECT_FALSE(session->answer(bad).ok());
    }
    EXPECT_THAT(must(store_->journal(job_)), IsEmpty());
    EXPECT_EQ(must(session->next()), asked);
}

TEST_F(RingSessionTest, SeesWhatAnotherDeviceDid) {
    auto here = open();
    auto other_store = must(open_bench(bench_.path()));
    auto there = must(RingSession::open(*other_store, job_, options_));
    step(*here);
    step(*there);
    step(*there);
    EXPECT_TRUE(must(here->refresh()));
    EXPECT_FALSE(must(here->refresh()));
    EXPECT_EQ(here->state().counts.gestures, 3U);
    // A reading withdrawn over there has no effect here any more.
    const auto journal = must(store_->journal(job_, EntryKind::reading));
    std::vector<EntryName> all;
    for (const Entry& entry : journal) all.push_back(entry.name);
    ok(other_store->withdraw(job_, all, "wrong unit", options_.who));
    EXPECT_TRUE(must(here->refresh()));
    EXPECT_EQ(here->state().counts.readings, 0U);
}

TEST_F(RingSessionTest, NamesTheJournalEntriesOfAContradiction) {
    auto session = open();
    // J1.1 with J1.2 and J1.2 with J1.3 are copper, J1.1 with J1.3 is open, twice: they cannot all be true.
    ok(session->volunteer(JointIndex(0), JointIndex(1), Ohms{0.1}));
    ok(session->volunteer(JointIndex(1), JointIndex(2), Ohms{0.1}));
    ok(session->volunteer(JointIndex(0), JointIndex(2), Open{}));
    ok(session->volunteer(JointIndex(0), JointIndex(2), Open{}));
    ASSERT_FALSE(session->state().contradictions.empty());
    for (const Contradiction& contradiction : session->state().contradictions)
        EXPECT_EQ(session->entries_of(contradiction).size(), contradiction.readings.size());
    EXPECT_FALSE(session->volunteer(JointIndex(0), JointIndex(0), Open{}).ok());
    EXPECT_FALSE(session->volunteer(JointIndex(0), JointIndex(99), Open{}).ok());
    EXPECT_EQ(readings_stored(), 4U);
}

TEST_F(RingSessionTest, NetsGoByTheThresholdsThatTheReadingsWereTakenWith) {
    // 3 ohm is copper to somebody who says so, and no proof by default.
    auto strict = open();
    ok(strict->volunteer(JointIndex(0), JointIndex(1), Ohms{3}));
    EXPECT_EQ(must(nets_of(*store_, job_)).nets.front().joints.size(), 1U);
    options_.ring.copper_below_ohm = 5;
    auto lenient = open();
    EXPECT_EQ(lenient->state().nets.front().joints.size(), 2U);
    ok(lenient->volunteer(JointIndex(2), JointIndex(3), Open{}));
    EXPECT_EQ(must(nets_of(*store_, job_)).nets.front().joints.size(), 2U);
}

TEST_F(RingSessionTest, ReadingsOnAJointThatTheMapLostAreLeftOutAndSaid) {
    auto session = open();
    ok(session->volunteer(JointIndex(0), JointIndex(1), Ohms{0.1}));
    ok(session->volunteer(JointIndex(2), JointIndex(3), Open{}));
    Assembly map = drawn_.map;
    map.joints[0].name = JointName("J1.1 renamed");
    must(store_->edit_map(job_, map, "J1.1 renamed", options_.who));
    EXPECT_TRUE(must(session->refresh()));
    EXPECT_THAT(session->remarks(), SizeIs(2));
    EXPECT_EQ(session->state().counts.readings, 1U);
    must(store_->undo(job_, options_.who));
    EXPECT_TRUE(must(session->refresh()));
    EXPECT_EQ(session->state().counts.readings, 2U);
}

}  // namespace
}  // namespace eyelet
