// What every store promises, run over each implementation (only SQLite so far).
#include "eyelet/bench/store.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmath>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <limits>
#include <thread>

#include "eyelet/bench/testing.h"

namespace eyelet {
namespace {

namespace fs = std::filesystem;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::SizeIs;

struct Implementation {
    const char* name;
    std::function<Result<std::unique_ptr<Store>>(const fs::path&)> open;
};

void PrintTo(const Implementation& one, std::ostream* out) {
    *out << one.name;
}

class StoreTest : public testing::TestWithParam<Implementation> {
  protected:
    std::unique_ptr<Store> open() { return must(GetParam().open(folder_.path())); }
    // Two stores on one bench, as two processes have them.
    void SetUp() override { store_ = open(); }

    JobName new_job() { return must(store_->add_job(small_job(), kWho)).name; }
    std::vector<StoredSaid> said_in(const JobName& job) {
        std::vector<StoredSaid> said;
        for (const Entry& entry : must(store_->journal(job, EntryKind::reading)))
            if (!entry.withdrawn) said.push_back(std::get<ReadingEntry>(entry.body).said);
        return said;
    }

    TemporaryFolder folder_;
    std::unique_ptr<Store> store_;
    const Who kWho{"Ada", "bench 1"};
    const Who kOther{"Grace", "tablet"};
};

TEST_P(StoreTest, KeepsAJobAcrossReopening) {
    NewJob wanted = small_job();
    wanted.unit = UnitName("SN-0042 ä");
    wanted.complaint = "stops after ten minutes — only when warm";
    wanted.condition = "warm";
    const Job made = must(store_->add_job(wanted, kWho));
    EXPECT_EQ(made.name.text(), "J1");
    store_.reset();
    store_ = open();
    const Job job = must(store_->job(made.name));
    EXPECT_EQ(job.assembly, wanted.map.name);
    EXPECT_EQ(job.unit, wanted.unit);
    EXPECT_EQ(job.complaint, wanted.complaint);
    EXPECT_EQ(job.condition, wanted.condition);
    EXPECT_EQ(job.opened_by, kWho);
    EXPECT_EQ(job.map_version, 1);
    // "2026-03-01T12:00:00.000Z": digits where the example has digits, and nothing else.
    std::string shape = job.opened_at;
    for (char& c : shape)
        if (c >= '0' && c <= '9') c = '0';
    EXPECT_EQ(shape, "0000-00-00T00:00:00.000Z") << job.opened_at;
}

TEST_P(StoreTest, GivesTheMapBackBitForBit) {
    NewJob wanted = small_job();
    wanted.map.joints[0].hole = {0.1 + 0.2, 1e-300};  // no short decimal form; near the smallest double
    wanted.map.joints[0].rotation_deg = -1.0 / 3;
    wanted.map.joints[1].drill_mm = std::nullopt;
    wanted.map.joints[1].sides = JointSides::solder;
    wanted.map.joints[1].shape = PadShape::rounded_rectangle;
    const JobName job = must(store_->add_job(wanted, kWho)).name;
    const Assembly map = must(store_->map(job)).map;
    ASSERT_THAT(map.joints, SizeIs(wanted.map.joints.size()));
    for (std::size_t i = 0; i < map.joints.size(); ++i) {
        const Joint& a = map.joints[i];
        const Joint& b = wanted.map.joints[i];
        EXPECT_EQ(a.name, b.name);
        EXPECT_EQ(a.board, b.board);
        EXPECT_EQ(a.kind, b.kind);
        EXPECT_EQ(a.part, b.part);
        EXPECT_EQ(a.pin, b.pin);
        EXPECT_EQ(a.hole, b.hole);
        EXPECT_EQ(a.copper_centre, b.copper_centre);
        EXPECT_EQ(a.sides, b.sides);
        EXPECT_EQ(a.plated, b.plated);
        EXPECT_EQ(a.shape, b.shape);
        EXPECT_EQ(a.pad_mm, b.pad_mm);
        EXPECT_EQ(a.rotation_deg, b.rotation_deg);
        EXPECT_EQ(a.drill_mm, b.drill_mm);
    }
    ASSERT_THAT(map.parts, SizeIs(1));
    EXPECT_EQ(map.parts[0].name, wanted.map.parts[0].name);
    EXPECT_EQ(map.parts[0].body, wanted.map.parts[0].body);
    EXPECT_EQ(map.parts[0].joints, wanted.map.parts[0].joints);
    EXPECT_EQ(map.boards[0].outline, wanted.map.boards[0].outline);
    ASSERT_THAT(map.cables, SizeIs(1));
    EXPECT_EQ(map.cables[0].conductors[0].to, wanted.map.cables[0].conductors[0].to);
}

TEST_P(StoreTest, SharesAMapAmongUnitsAndMakesANewVersionForADifferentOne) {
    const Job first = must(store_->add_job(small_job(), kWho));
    const Job same = must(store_->add_job(small_job(), kWho));
    NewJob changed = small_job();
    changed.map.joints[2].pin = "K";
    const Job different = must(store_->add_job(changed, kWho));
    EXPECT_EQ(first.map_version, 1);
    EXPECT_EQ(same.map_version, 1);
    EXPECT_EQ(different.map_version, 2);
    EXPECT_EQ(first.unit.text(), "unit 1");
    EXPECT_EQ(same.unit.text(), "unit 2");
    EXPECT_EQ(must(store_->map(first.name)).map.joints[2].pin, "2");
    EXPECT_EQ(must(store_->map(different.name)).map.joints[2].pin, "K");
    EXPECT_THAT(must(store_->jobs()), SizeIs(3));
}

TEST_P(StoreTest, EditsTheMapInNewVersionsAndUndoesThem) {
    const JobName job = new_job();
    const JobName bystander = new_job();
    Assembly map = must(store_->map(job)).map;
    map.parts[0].value = "220u 35V";
    EXPECT_EQ(must(store_->edit_map(job, map, "C1 read", kOther)), 2);
    EXPECT_EQ(must(store_->map(job)).map.parts[0].value, "220u 35V");
    EXPECT_EQ(must(store_->map(job)).made_by, kOther);
    EXPECT_EQ(must(store_->map(bystander)).version, 1);

    EXPECT_EQ(must(store_->undo(job, kWho)).kind, Edit::Kind::map_edited);
    EXPECT_EQ(must(store_->map(job)).version, 1);
    EXPECT_EQ(must(store_->redo(job, kWho)).kind, Edit::Kind::map_edited);
    EXPECT_EQ(must(store_->map(job)).version, 2);
    EXPECT_THAT(must(store_->map_versions(job)), SizeIs(2));

    map.joints[1].name = map.joints[0].name;
    const auto bad = store_->edit_map(job, map, "doubled", kWho);
    ASSERT_FALSE(bad.ok());
    EXPECT_EQ(bad.error().code, ErrorCode::bad_input);
    EXPECT_EQ(must(store_->map(job)).version, 2);
}

TEST_P(StoreTest, KeepsPhotographsByteForByte) {
    NewJob wanted = small_job();
    wanted.photographs = {small_photograph(Side::component, 70'000), small_photograph(Side::solder, 1)};
    wanted.photographs[0].tie_points = {{JointName("C1.1"), {10.25, 20.5}}, {JointName("X1.1"), {30, 40}}};
    const JobName job = must(store_->add_job(wanted, kWho)).name;
    const auto photographs = must(store_->photographs(job));
    ASSERT_THAT(photographs, SizeIs(2));
    for (std::size_t i = 0; i < 2; ++i) {
        EXPECT_EQ(must(store_->photograph_bytes(photographs[i].name)), wanted.photographs[i].bytes);
        EXPECT_EQ(photographs[i].side, wanted.photographs[i].side);
        EXPECT_EQ(photographs[i].width_px, wanted.photographs[i].width_px);
        EXPECT_EQ(photographs[i].byte_count, wanted.photographs[i].bytes.size());
        EXPECT_EQ(photographs[i].tie_points, wanted.photographs[i].tie_points);
        const fs::path file =
            folder_.path() / "photographs" / photographs[i].sha256.substr(0, 2) / photographs[i].sha256;
        EXPECT_TRUE(fs::is_regular_file(file)) << file;
    }
    // A photograph is a journal entry too.
    EXPECT_THAT(must(store_->journal(job, EntryKind::photograph)), SizeIs(2));
    EXPECT_TRUE(fs::is_empty(folder_.path() / "photographs" / "incoming"));
}

TEST_P(StoreTest, SaysWhenAPhotographOnDiskIsNoLongerWhatItWas) {
    NewJob wanted = small_job();
    wanted.photographs = {small_photograph(Side::component, 1000)};
    const JobName job = must(store_->add_job(wanted, kWho)).name;
    const Photograph photograph = must(store_->photographs(job)).front();
    const fs::path file = folder_.path() / "photographs" / photograph.sha256.substr(0, 2) / photograph.sha256;
    fs::resize_file(file, 999);
    const auto cut = store_->photograph_bytes(photograph.name);
    ASSERT_FALSE(cut.ok());
    EXPECT_EQ(cut.error().code, ErrorCode::storage);
    fs::remove(file);
    EXPECT_FALSE(store_->photograph_bytes(photograph.name).ok());
}

TEST_P(StoreTest, NothingMeasuredIsNotZeroAndNotOpen) {
    const JobName job = new_job();
    const auto reading = [](const char* to, StoredSaid said) {
        ReadingEntry r;
        r.from = JointName("X1.1");
        r.to = JointName(to);
        r.said = std::move(said);
        return r;
    };
    ReadingEntry full = reading("C1.1", Ohms{0.21});
    full.gesture = GestureKind::sweep;
    full.instrument = "handheld meter";
    full.lead_ohm = 0.18;
    full.copper_below_ohm = 2.0;
    full.open_above_ohm = 20.0;
    full.board_state = "out of the case";
    const std::vector<EntryBody> bodies{full,
                                        reading("C1.2", Open{}),
                                        reading("X1.2", Beep{}),
                                        reading("X1.3", NotMeasured{"cannot reach", JointName("X1.3")}),
                                        reading("C1.2", Ohms{0.0}),
                                        reading("C1.2", NotMeasured{}),
                                        reading("C1.2", Ohms{-0.01})};
    const auto names = must(store_->add_entries(job, bodies, kWho));
    store_ = nullptr;
    store_ = open();
    const auto journal = must(store_->journal(job, EntryKind::reading));
    ASSERT_THAT(journal, SizeIs(bodies.size()));
    for (std::size_t i = 0; i < bodies.size(); ++i) {
        EXPECT_EQ(journal[i].body, bodies[i]) << i;
        EXPECT_EQ(journal[i].name, names[i]);
        EXPECT_EQ(journal[i].edit, journal[0].edit);
        EXPECT_EQ(journal[i].who, kWho);
    }
    EXPECT_FALSE(std::get<ReadingEntry>(journal[1].body).lead_ohm.has_value());
}

TEST_P(StoreTest, KeepsEveryKindOfEntry) {
    const JobName job = new_job();
    Place place;
    place.board = BoardName("main");
    place.side = Side::solder;
    place.point_mm = Point{12.5, -0.25};
    place.joints = {JointName("C1.2"), JointName("C1.1")};
    place.parts = {PartName("C1")};
    const std::vector<EntryBody> bodies{
        FindingEntry{"lost pad", place, "gone with the old capacitor"}, WorkEntry{"patched", Place{}, ""},
        NoteEntry{"smells of fish — electrolyte"}, TrialEntry{"warm, 40 °C", 90.5, 2, "stopped twice"}};
    must(store_->add_entries(job, bodies, kWho));
    const auto journal = must(store_->journal(job));
    ASSERT_THAT(journal, SizeIs(bodies.size()));
    for (std::size_t i = 0; i < bodies.size(); ++i) EXPECT_EQ(journal[i].body, bodies[i]) << i;
    EXPECT_THAT(must(store_->journal(job, EntryKind::trial)), SizeIs(1));
    EXPECT_THAT(must(store_->journal(job, EntryKind::reading)), IsEmpty());
}

TEST_P(StoreTest, RefusesWhatIsWrongAndChangesNothing) {
    const JobName job = new_job();
    const std::string latin1 = "ca\xe9";
    const double nan = std::numeric_limits<double>::quiet_NaN();
    const auto reading = [](const char* from, const char* to, StoredSaid said) {
        ReadingEntry r;
        r.from = JointName(from);
        r.to = JointName(to);
        r.said = std::move(said);
        return r;
    };
    const std::vector<std::pair<EntryBody, const char*>> bad{
        {reading("A", "A", Open{}), "two different joints"},
        {reading("", "A", Open{}), "two joints"},
        {reading("B", "A", Ohms{nan}), "finite"},
        {reading("B", latin1.c_str(), Open{}), "UTF-8"},
        {FindingEntry{"singed", {}, ""}, "burnt"},
        {WorkEntry{"hit", {}, ""}, "resoldered"},
        {NoteEntry{""}, "empty"},
        {NoteEntry{latin1}, "UTF-8"},
        {TrialEntry{"", -1, 0, ""}, "minutes"},
        {TrialEntry{"", nan, 0, ""}, "minutes"},
        {TrialEntry{"", 1, -1, ""}, "recurrences"},
        {PhotographEntry{PhotographName("P1")}, "photograph"},
    };
    const std::int64_t before = must(store_->job(job)).last_edit;
    for (const auto& [body, says] : bad) {
        // A good entry beside a bad one is not stored either.
        const auto result = store_->add_entries(job, {NoteEntry{"good"}, body}, kWho);
        ASSERT_FALSE(result.ok()) << says;
        EXPECT_EQ(result.error().code, ErrorCode::bad_input);
        EXPECT_THAT(result.error().message, HasSubstr(says));
        EXPECT_EQ(result.error().message.find('\n'), std::string::npos);
    }
    EXPECT_FALSE(store_->add_entries(job, {}, kWho).ok());
    EXPECT_FALSE(store_->add_entries(job, {NoteEntry{"x"}}, Who{"Ada", ""}).ok());
    EXPECT_THAT(must(store_->journal(job)), IsEmpty());
    EXPECT_EQ(must(store_->job(job)).last_edit, before);
}

TEST_P(StoreTest, NamesThatAreNotThereAreNotFound) {
    const JobName job = new_job();
    for (const char* name : {"J2", "J0", "J01", "j1", "1", "", "J1x", "J-1", "J99999999999999999999", "E1"}) {
        const auto result = store_->job(JobName(name));
        ASSERT_FALSE(result.ok()) << name;
        EXPECT_EQ(result.error().code, ErrorCode::not_found) << name;
    }
    EXPECT_EQ(store_->journal(JobName("J7")).error().code, ErrorCode::not_found);
    EXPECT_EQ(store_->withdraw(job, {EntryName("E1")}, "", kWho).error().code, ErrorCode::not_found);
    EXPECT_EQ(store_->set_tie_points(PhotographName("P1"), {}, kWho).error().code, ErrorCode::not_found);
    EXPECT_EQ(
        store_->settle_tone(job, {BoardName("other"), Side::solder, CopperTone::darker}, kWho).error().code,
        ErrorCode::bad_input);
    // An entry of another job is not this job's.
    const JobName second = new_job();
    const auto entry = must(store_->add_entries(second, {NoteEntry{"hers"}}, kWho));
    EXPECT_EQ(store_->withdraw(job, entry, "", kWho).error().code, ErrorCode::not_found);
}

TEST_P(StoreTest, WithdrawsButNeverDeletes) {
    const JobName job = new_job();
    const auto names = must(store_->add_entries(job, {NoteEntry{"a"}, NoteEntry{"b"}}, kWho));
    ok(store_->withdraw(job, {names[0]}, "wrong unit", kOther));
    auto journal = must(store_->journal(job));
    ASSERT_THAT(journal, SizeIs(2));
    EXPECT_TRUE(journal[0].withdrawn);
    EXPECT_EQ(journal[0].withdrawn_by, kOther);
    EXPECT_EQ(journal[0].withdrawn_why, "wrong unit");
    EXPECT_FALSE(journal[0].withdrawn_at.empty());
    EXPECT_FALSE(journal[1].withdrawn);
    // Twice is refused, and takes nothing else along.
    const Status twice = store_->withdraw(job, {names[1], names[0]}, "again", kWho);
    ASSERT_FALSE(twice.ok());
    EXPECT_EQ(twice.error().code, ErrorCode::refused);
    EXPECT_FALSE(must(store_->journal(job))[1].withdrawn);

    must(store_->undo(job, kWho));
    journal = must(store_->journal(job));
    EXPECT_FALSE(journal[0].withdrawn);
    EXPECT_EQ(journal[0].withdrawn_why, "");
}

TEST_P(StoreTest, UndoesAndRedoesEveryKindOfEditInOrder) {
    NewJob wanted = small_job();
    wanted.photographs = {small_photograph(Side::component, 100)};
    wanted.photographs[0].tie_points = {{JointName("C1.1"), {1, 2}}};
    wanted.complaint = "dead";
    const JobName job = must(store_->add_job(wanted, kWho)).name;
    const PhotographName photograph = must(store_->photographs(job)).front().name;
    const std::vector<StoredTiePoint> ties{{JointName("C1.1"), {3, 4}}, {JointName("C1.2"), {5, 6}}};

    // Everything that a person can see of the job, as one text.
    const auto seen = [&] {
        std::string text =
            must(store_->job(job)).complaint + "|" + std::to_string(must(store_->map(job)).version);
        for (const Photograph& p : must(store_->photographs(job))) {
            if (p.withdrawn) continue;
            text += "|" + p.name.text();
            for (const StoredTiePoint& tie : p.tie_points)
                text += tie.joint.text() + std::to_string(tie.pixel.x);
        }
        for (const ToneSettled& tone : must(store_->tones_settled(job)))
            text += std::string("|") + name_of(tone.tone);
        for (const Entry& entry : must(store_->journal(job)))
            if (!entry.withdrawn) text += "|" + entry.name.text();
        return text;
    };
    std::vector<std::string> states{seen()};
    const auto step = [&](auto&& change) {
        change();
        states.push_back(seen());
    };
    step([&] { must(store_->add_entries(job, {NoteEntry{"a"}, NoteEntry{"b"}}, kWho)); });
    step([&] { ok(store_->set_tie_points(photograph, ties, kWho)); });
    step([&] { ok(store_->set_tie_points(photograph, {}, kWho)); });
    step([&] { ok(store_->settle_tone(job, {BoardName("main"), Side::solder, CopperTone::lighter}, kWho)); });
    step([&] { ok(store_->settle_tone(job, {BoardName("main"), Side::solder, CopperTone::darker}, kWho)); });
    step([&] { ok(store_->describe_job(job, "dead when warm", "warm", kWho)); });
    step([&] { ok(store_->withdraw(job, {must(store_->journal(job)).back().name}, "no", kWho)); });
    step([&] { must(store_->add_photograph(job, small_photograph(Side::solder, 50), kWho)); });
    step([&] {
        Assembly map = must(store_->map(job)).map;
        map.parts[0].value = "new";
        must(store_->edit_map(job, map, "C1 read", kWho));
    });
    for (std::size_t i = 1; i < states.size(); ++i) ASSERT_NE(states[i], states[i - 1]) << i;

    for (std::size_t i = states.size() - 1; i > 0; --i) {
        must(store_->undo(job, kOther));
        EXPECT_EQ(seen(), states[i - 1]) << i;
    }
    for (std::size_t i = 1; i < states.size(); ++i) {
        must(store_->redo(job, kOther));
        EXPECT_EQ(seen(), states[i]) << i;
    }
    EXPECT_EQ(store_->redo(job, kWho).error().code, ErrorCode::refused);
}

TEST_P(StoreTest, UndoGoesBackToTheImportAndSaysWhenThereIsNoMore) {
    const JobName job = new_job();
    must(store_->add_entries(job, {NoteEntry{"a"}}, kWho));
    EXPECT_EQ(must(store_->undo(job, kOther)).what, "note");
    const auto none = store_->undo(job, kWho);
    ASSERT_FALSE(none.ok());
    EXPECT_EQ(none.error().code, ErrorCode::refused);
    EXPECT_THAT(none.error().message, HasSubstr("nothing to undo"));
}

TEST_P(StoreTest, ANewEditEndsWhatCouldBeRedone) {
    const JobName job = new_job();
    must(store_->add_entries(job, {NoteEntry{"a"}}, kWho));
    must(store_->undo(job, kWho));
    must(store_->add_entries(job, {NoteEntry{"b"}}, kWho));
    EXPECT_EQ(store_->redo(job, kWho).error().code, ErrorCode::refused);
    // What was undone before stays undone, and is not undone a second time.
    must(store_->undo(job, kWho));
    EXPECT_EQ(store_->undo(job, kWho).error().code, ErrorCode::refused);
    const auto edits = must(store_->edits(job));
    ASSERT_THAT(edits, SizeIs(2));
    EXPECT_TRUE(edits[0].undone && edits[1].undone);
}

TEST_P(StoreTest, UndoOfReadingsLeavesANoteThatCameAfter) {
    const JobName job = new_job();
    ReadingEntry reading;
    reading.from = JointName("X1.1");
    reading.to = JointName("C1.1");
    reading.said = Open{};
    must(store_->add_entries(job, {reading}, kWho));
    must(store_->add_entries(job, {reading, reading}, kWho));  // one sweep
    must(store_->add_entries(job, {NoteEntry{"tea"}}, kOther));
    EXPECT_THAT(must(store_->undo(job, kWho, UndoScope::readings)).entries, SizeIs(2));
    EXPECT_THAT(said_in(job), SizeIs(1));
    EXPECT_THAT(must(store_->undo(job, kWho, UndoScope::readings)).entries, SizeIs(1));
    EXPECT_THAT(said_in(job), IsEmpty());
    EXPECT_FALSE(store_->undo(job, kWho, UndoScope::readings).ok());
    EXPECT_FALSE(must(store_->journal(job, EntryKind::note)).front().withdrawn);
    must(store_->redo(job, kWho));
    EXPECT_THAT(said_in(job), SizeIs(1));
}

TEST_P(StoreTest, EveryEditMovesTheJobOn) {
    const JobName job = new_job();
    const JobName other = new_job();
    const auto at_other = must(store_->job(other)).last_edit;
    std::int64_t last = must(store_->job(job)).last_edit;
    const auto moved = [&] {
        const std::int64_t now = must(store_->job(job)).last_edit;
        return std::exchange(last, now) < now;
    };
    must(store_->add_entries(job, {NoteEntry{"a"}}, kWho));
    EXPECT_TRUE(moved());
    must(store_->undo(job, kWho));
    EXPECT_TRUE(moved());
    must(store_->redo(job, kWho));
    EXPECT_TRUE(moved());
    EXPECT_EQ(must(store_->job(other)).last_edit, at_other);
}

TEST_P(StoreTest, KeepsAlignmentsUntilTheirTiePointsChange) {
    NewJob wanted = small_job();
    wanted.photographs = {small_photograph(Side::component, 100)};
    const JobName job = must(store_->add_job(wanted, kWho)).name;
    StoredAlignment alignment;
    alignment.photograph = must(store_->photographs(job)).front().name;
    alignment.camera.photo_from_board = {26.7182328, 0.469856456, 225.325467, -0.2, 26.4,
                                         274.4,      1.8e-4,      -1.2e-5,    1};
    alignment.camera.k1 = 0.00713;
    alignment.camera.centre_px = {1537, 1545.5};
    alignment.camera.radius_px = 2179.6649;
    alignment.tie_points = {{JointName("C1.1"), 0.031, false}, {JointName("C1.2"), 3.1, true}};
    alignment.rms_mm = 0.04;
    alignment.limit_mm = 0.3;
    alignment.refined = true;
    alignment.joints_sought = 120;
    alignment.joints_located = 117;
    alignment.located_rms_mm = 0.02;
    alignment.remarks = {"tie point C1.2 is plainly wrong"};
    ok(store_->keep_alignments(job, {alignment}));
    auto kept = must(store_->alignments(job));
    ASSERT_THAT(kept, SizeIs(1));
    EXPECT_EQ(kept[0].camera.photo_from_board, alignment.camera.photo_from_board);
    EXPECT_EQ(kept[0].camera.k1, alignment.camera.k1);
    EXPECT_EQ(kept[0].camera.centre_px, alignment.camera.centre_px);
    EXPECT_EQ(kept[0].camera.radius_px, alignment.camera.radius_px);
    EXPECT_EQ(kept[0].joints_located, alignment.joints_located);
    EXPECT_EQ(kept[0].located_rms_mm, alignment.located_rms_mm);
    EXPECT_EQ(kept[0].located_worst_mm, std::nullopt);
    EXPECT_EQ(kept[0].tie_points, alignment.tie_points);
    EXPECT_EQ(kept[0].rms_mm, alignment.rms_mm);
    EXPECT_EQ(kept[0].worst_mm, std::nullopt);
    EXPECT_EQ(kept[0].remarks, alignment.remarks);
    EXPECT_FALSE(kept[0].out_of_date);
    ok(store_->set_tie_points(alignment.photograph, {{JointName("C1.1"), {1, 1}}}, kWho));
    EXPECT_TRUE(must(store_->alignments(job))[0].out_of_date);
    must(store_->undo(job, kWho));
    EXPECT_FALSE(must(store_->alignments(job))[0].out_of_date);
}

TEST_P(StoreTest, KeepsProposalsUntilWhatTheyRestOnChanges) {
    const JobName job = new_job();
    EXPECT_EQ(must(store_->proposals(job)), std::nullopt);
    StoredProposals stored;
    Link link;
    link.from = JointIndex(0);
    link.to = JointIndex(2);
    link.side = Side::solder;
    link.probability = 0.93;
    link.path = {{1, 2}, {3.5, 4}};
    link.width_mm = 0.3;
    link.hidden = 0.1;
    link.why = "a track runs under C1";
    Link cable;
    cable.from = JointIndex(1);
    cable.to = JointIndex(3);
    stored.proposals.links = {link, cable};
    stored.proposals.leads = {{JointIndex(4), Side::component, 0.2, Point{7, 8}},
                              {JointIndex(0), Side::solder, 1, {}}};
    stored.proposals.unseen = {
        {BoardIndex(0), Side::component, Unseen::Cause::glare, {{0, 0}, {1, 0}, {1, 1}}}};
    stored.tones = {{BoardName("main"), Side::solder, CopperTone::darker, 0.6}};
    stored.remarks = {"solder side: not sure which tone is copper"};
    ok(store_->keep_proposals(job, stored));
    const auto kept = must(store_->proposals(job));
    ASSERT_TRUE(kept.has_value());
    ASSERT_THAT(kept->proposals.links, SizeIs(2));
    EXPECT_EQ(kept->proposals.links[0].from, link.from);
    EXPECT_EQ(kept->proposals.links[0].side, link.side);
    EXPECT_EQ(kept->proposals.links[0].probability, link.probability);
    EXPECT_EQ(kept->proposals.links[0].path, link.path);
    EXPECT_EQ(kept->proposals.links[0].why, link.why);
    EXPECT_EQ(kept->proposals.links[1].side, std::nullopt);
    EXPECT_EQ(kept->proposals.leads[0].last_seen, stored.proposals.leads[0].last_seen);
    EXPECT_EQ(kept->proposals.leads[1].last_seen, std::nullopt);
    EXPECT_EQ(kept->proposals.unseen[0].cause, Unseen::Cause::glare);
    EXPECT_EQ(kept->proposals.unseen[0].outline, stored.proposals.unseen[0].outline);
    EXPECT_EQ(kept->tones, stored.tones);
    EXPECT_EQ(kept->remarks, stored.remarks);
    EXPECT_FALSE(kept->out_of_date);
    ok(store_->settle_tone(job, {BoardName("main"), Side::solder, CopperTone::lighter}, kWho));
    EXPECT_TRUE(must(store_->proposals(job))->out_of_date);
}

TEST_P(StoreTest, SeveralThreadsMayUseOneStore) {
    const JobName job = new_job();
    std::vector<std::thread> threads;
    for (int t = 0; t < 4; ++t)
        threads.emplace_back([&, t] {
            for (int i = 0; i < 10; ++i)
                must(
                    store_->add_entries(job, {NoteEntry{std::to_string(t) + "." + std::to_string(i)}}, kWho));
        });
    for (auto& thread : threads) thread.join();
    EXPECT_THAT(must(store_->journal(job)), SizeIs(40));
}

// Two processes open a bench that is not there yet and write to it at once; then this one finds everything.
TEST_P(StoreTest, SeveralProcessesMayWriteAtOnce) {
    const TemporaryFolder shared;
    constexpr int kProcesses = 3;
    constexpr int kEach = 12;
    std::vector<pid_t> children;
    for (int p = 0; p < kProcesses; ++p) {
        const pid_t child = ::fork();
        ASSERT_GE(child, 0);
        if (child == 0) {
            // Nothing of the test framework runs in the child: it leaves by _exit.
            auto opened = GetParam().open(shared.path());
            if (!opened.ok()) ::_exit(2);
            auto mine = std::move(opened).value();
            auto job = mine->add_job(small_job(), {"", "process"});
            if (!job.ok()) ::_exit(3);
            for (int i = 0; i < kEach; ++i)
                if (!mine->add_entries(job.value().name, {NoteEntry{std::to_string(i)}}, {"", "process"})
                         .ok())
                    ::_exit(4);
            ::_exit(0);
        }
        children.push_back(child);
    }
    for (pid_t child : children) {
        int status = 0;
        ASSERT_EQ(::waitpid(child, &status, 0), child);
        EXPECT_TRUE(WIFEXITED(status) && WEXITSTATUS(status) == 0)
            << "child ended with " << WEXITSTATUS(status);
    }
    const auto store = must(GetParam().open(shared.path()));
    const auto jobs = must(store->jobs());
    ASSERT_THAT(jobs, SizeIs(kProcesses));
    for (const Job& job : jobs) EXPECT_THAT(must(store->journal(job.name)), SizeIs(kEach));
    EXPECT_EQ(jobs.back().map_version, 1);
}

TEST_P(StoreTest, LivesInAFolderWithAnyName) {
    const TemporaryFolder parent;
    const fs::path folder = parent.path() / "Prüfplatz — 工作台" / "it's 100% \"mine\"?x=1#y";
    NewJob wanted = small_job();
    wanted.photographs = {small_photograph(Side::component, 100)};
    {
        auto store = must(GetParam().open(folder));
        must(store->add_job(wanted, kWho));
    }
    auto store = must(GetParam().open(folder));
    const auto job = must(store->jobs()).front().name;
    EXPECT_EQ(must(store->photograph_bytes(must(store->photographs(job)).front().name)),
              wanted.photographs[0].bytes);
}

TEST_P(StoreTest, AFileIsNoBench) {
    const TemporaryFolder parent;
    std::ofstream(parent.path() / "bench") << "hello";
    const auto opened = GetParam().open(parent.path() / "bench");
    ASSERT_FALSE(opened.ok());
    EXPECT_THAT(opened.error().message, HasSubstr("must be a folder"));
    // Nor can one be made below a file.
    EXPECT_FALSE(GetParam().open(parent.path() / "bench" / "inner").ok());
}

INSTANTIATE_TEST_SUITE_P(Implementations, StoreTest,
                         testing::Values(Implementation{
                             "Sqlite",
                             [](const fs::path& folder) { return open_bench(folder, OpenMode::create); }}),
                         [](const auto& one) { return one.param.name; });

// Sets an environment variable for one test.
class Environment {
  public:
    Environment(const char* name, const char* value) : name_(name) {
        if (const char* before = std::getenv(name)) before_ = before;
        value != nullptr ? ::setenv(name, value, 1) : ::unsetenv(name);
    }
    Environment(const Environment&) = delete;
    Environment& operator=(const Environment&) = delete;
    ~Environment() { before_ ? ::setenv(name_, before_->c_str(), 1) : ::unsetenv(name_); }

  private:
    const char* name_;
    std::optional<std::string> before_;
};

TEST(BenchFolder, IsTheOptionThenTheVariableThenThePlatformsFolder) {
    const Environment bench("EYELET_BENCH", "/b");
    const Environment data("XDG_DATA_HOME", "/d");
    const Environment home("HOME", "/h");
    EXPECT_EQ(must(bench_folder(fs::path("/o"))), "/o");
    EXPECT_EQ(must(bench_folder(std::nullopt)), "/b");
    const Environment no_bench("EYELET_BENCH", "");
    EXPECT_EQ(must(bench_folder(std::nullopt)), "/d/eyelet");
    const Environment relative("XDG_DATA_HOME", "d");
    EXPECT_EQ(must(bench_folder(std::nullopt)), "/h/.local/share/eyelet");
    const Environment no_home("HOME", nullptr);
    EXPECT_EQ(bench_folder(std::nullopt).error().code, ErrorCode::not_found);
    EXPECT_EQ(bench_folder(fs::path()).error().code, ErrorCode::bad_input);
}

TEST(Words, AreThoseOfTheVocabulary) {
    for (auto kind : {EntryKind::reading, EntryKind::finding, EntryKind::work, EntryKind::note,
                      EntryKind::photograph, EntryKind::trial})
        EXPECT_EQ(entry_kind_from_name(name_of(kind)), kind);
    EXPECT_EQ(entry_kind_from_name("rumour"), std::nullopt);
    EXPECT_EQ(kind_of(EntryBody(TrialEntry{})), EntryKind::trial);
    EXPECT_EQ(copper_tone_from_name("darker"), CopperTone::darker);
    EXPECT_EQ(copper_tone_from_name("dark"), std::nullopt);
}

}  // namespace
}  // namespace eyelet
