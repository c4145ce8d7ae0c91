#include "eyelet/bench/sqlite_store.h"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <mutex>
#include <nlohmann/json.hpp>
#include <thread>
#include <unordered_map>
#include <utility>

#include "eyelet/bench/documents.h"
#include "eyelet/bench/photograph_files.h"
#include "eyelet/bench/schema.h"
#include "eyelet/bench/sqlite.h"

namespace eyelet {

namespace {

namespace fs = std::filesystem;
using sqlite::Statement;
using sqlite::Transaction;
using Id = std::int64_t;

std::string now_utc() {
    const auto now =
        std::chrono::time_point_cast<std::chrono::milliseconds>(std::chrono::system_clock::now());
    const auto milliseconds = now.time_since_epoch().count() % 1000;
    return fmt::format("{:%Y-%m-%dT%H:%M:%S}.{:03}Z", fmt::gmtime(std::chrono::system_clock::to_time_t(now)),
                       milliseconds);
}

// Names are a letter and the row's number: "J1", "E12", "P3".
std::string named(char letter, Id id) {
    return fmt::format("{}{}", letter, id);
}

std::optional<Id> id_of(char letter, const std::string& name) {
    if (name.size() < 2 || name[0] != letter || name[1] == '0') return std::nullopt;
    Id id = 0;
    const auto [end, error] = std::from_chars(name.data() + 1, name.data() + name.size(), id);
    if (error != std::errc() || end != name.data() + name.size() || id <= 0) return std::nullopt;
    return id;
}

// For a message, the name that somebody gave, cut to a length that fits on a line and safe to print.
std::string shown(const std::string& name) {
    if (!is_utf8(name)) return "(not valid UTF-8)";
    std::string text = name.substr(0, 60);
    while (!is_utf8(text)) text.pop_back();
    for (char& c : text)
        if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) c = '?';
    return text.size() < name.size() ? text + "…" : text;
}

Status require_text(const std::string& text, const char* what) {
    if (!is_utf8(text)) return bad_input(fmt::format("{}: it is not valid UTF-8", what));
    return {};
}

Status require_who(const Who& who) {
    EYELET_TRY(require_text(who.person, "the person's name"));
    EYELET_TRY(require_text(who.device, "the device's name"));
    if (who.device.empty()) return bad_input("who: the device must be named");
    return {};
}

Status require_finite(const std::optional<double>& value, const char* what) {
    if (value && !std::isfinite(*value))
        return bad_input(fmt::format("{}: it must be a finite number", what));
    return {};
}

// --- What an entry looks like in the table --------------------------------------------------------------

constexpr const char* key_of(GestureKind gesture) {
    return gesture == GestureKind::touch ? "touch" : "sweep";
}

struct SaidColumns {
    const char* said = "";
    std::optional<double> ohm;
    std::optional<std::string> why;
    std::optional<std::string> unreached;
};

SaidColumns columns_of(const StoredSaid& said) {
    if (const auto* ohms = std::get_if<Ohms>(&said)) return {"ohms", ohms->value, {}, {}};
    if (std::holds_alternative<Open>(said)) return {"open", {}, {}, {}};
    if (std::holds_alternative<Beep>(said)) return {"beep", {}, {}, {}};
    const auto& none = std::get<NotMeasured>(said);
    return {"not measured", {}, none.why, none.joint.text()};
}

StoredSaid said_from(const std::string& said, double ohm, std::string why, std::string unreached) {
    if (said == "ohms") return Ohms{ohm};
    if (said == "open") return Open{};
    if (said == "beep") return Beep{};
    return NotMeasured{std::move(why), JointName(std::move(unreached))};
}

Status check_place(const Place& place) {
    EYELET_TRY(require_text(place.board.text(), "the board's name"));
    if (place.point_mm) {
        EYELET_TRY(require_finite(place.point_mm->x, "the place"));
        EYELET_TRY(require_finite(place.point_mm->y, "the place"));
    }
    for (const JointName& joint : place.joints) {
        EYELET_TRY(require_text(joint.text(), "a joint's name"));
        if (joint.empty()) return bad_input("a joint's name is empty");
    }
    for (const PartName& part : place.parts) {
        EYELET_TRY(require_text(part.text(), "a part's name"));
        if (part.empty()) return bad_input("a part's name is empty");
    }
    return {};
}

Status check_word(const std::string& word, const std::vector<std::string>& words, const char* what) {
    for (const std::string& known : words)
        if (word == known) return {};
    return bad_input(
        fmt::format("{} '{}' is not known; use one of: {}", what, shown(word), fmt::join(words, ", ")));
}

Status check_entry(const EntryBody& body) {
    if (const auto* r = std::get_if<ReadingEntry>(&body)) {
        if (r->from.empty() || r->to.empty()) return bad_input("a reading needs two joints");
        if (r->from == r->to)
            return bad_input(
                fmt::format("a reading needs two different joints, not {} twice", shown(r->from.text())));
        for (const std::string* text : {&r->from.text(), &r->to.text(), &r->instrument, &r->board_state})
            EYELET_TRY(require_text(*text, "a reading"));
        if (const auto* ohms = std::get_if<Ohms>(&r->said))
            EYELET_TRY(require_finite(ohms->value, "a reading's ohms"));
        if (const auto* none = std::get_if<NotMeasured>(&r->said)) {
            EYELET_TRY(require_text(none->why, "a reading"));
            EYELET_TRY(require_text(none->joint.text(), "a reading"));
        }
        EYELET_TRY(require_finite(r->lead_ohm, "the lead resistance"));
        EYELET_TRY(require_finite(r->copper_below_ohm, "the copper threshold"));
        return require_finite(r->open_above_ohm, "the open threshold");
    }
    if (const auto* f = std::get_if<FindingEntry>(&body)) {
        EYELET_TRY(check_word(f->what, finding_kinds(), "finding"));
        EYELET_TRY(require_text(f->text, "the finding's text"));
        return check_place(f->place);
    }
    if (const auto* w = std::get_if<WorkEntry>(&body)) {
        EYELET_TRY(check_word(w->what, work_kinds(), "work"));
        EYELET_TRY(require_text(w->text, "the work's text"));
        return check_place(w->place);
    }
    if (const auto* n = std::get_if<NoteEntry>(&body)) {
        if (n->text.empty()) return bad_input("the note is empty");
        return require_text(n->text, "the note");
    }
    if (const auto* t = std::get_if<TrialEntry>(&body)) {
        EYELET_TRY(require_text(t->condition, "the trial's condition"));
        EYELET_TRY(require_text(t->text, "the trial's text"));
        if (!std::isfinite(t->minutes) || t->minutes < 0)
            return bad_input("the trial's minutes must be zero or more");
        if (t->recurrences < 0) return bad_input("the trial's recurrences must be zero or more");
        return {};
    }
    return bad_input("a photograph's entry comes with the photograph");
}

std::string summary_of(const std::vector<EntryBody>& bodies) {
    if (bodies.size() == 1) {
        const EntryBody& body = bodies.front();
        if (const auto* r = std::get_if<ReadingEntry>(&body))
            return fmt::format("reading from {} to {}", r->from.text(), r->to.text());
        if (const auto* f = std::get_if<FindingEntry>(&body)) return fmt::format("finding: {}", f->what);
        if (const auto* w = std::get_if<WorkEntry>(&body)) return fmt::format("work: {}", w->what);
        return name_of(kind_of(body));
    }
    const auto* first = std::get_if<ReadingEntry>(&bodies.front());
    for (const EntryBody& body : bodies) {
        const auto* reading = std::get_if<ReadingEntry>(&body);
        if (first == nullptr || reading == nullptr || reading->from != first->from)
            return fmt::format("{} entries", bodies.size());
    }
    return fmt::format("{} readings from {}", bodies.size(), first->from.text());
}

Status check_photograph(const NewPhotograph& photograph) {
    const std::string name = shown(photograph.file_name);
    EYELET_TRY(require_text(photograph.file_name, "a photograph's file name"));
    EYELET_TRY(require_text(photograph.media_type, "a photograph's media type"));
    if (photograph.bytes.empty()) return bad_input(fmt::format("photograph {}: it is empty", name));
    if (photograph.width_px <= 0 || photograph.height_px <= 0)
        return bad_input(fmt::format("photograph {}: its width and height must be positive", name));
    return {};
}

Status check_tie_points(const std::vector<StoredTiePoint>& tie_points, const Assembly& map,
                        const BoardName& board) {
    const auto joints = joints_by_name(map);
    for (const StoredTiePoint& tie : tie_points) {
        const auto found = joints.find(tie.joint);
        if (found == joints.end())
            return bad_input(
                fmt::format("tie point {}: there is no such joint in the map", shown(tie.joint.text())));
        if (map.board(map.joint(found->second).board).name != board)
            return bad_input(fmt::format("tie point {}: the joint is on another board than the photograph",
                                         shown(tie.joint.text())));
        if (!std::isfinite(tie.pixel.x) || !std::isfinite(tie.pixel.y))
            return bad_input(
                fmt::format("tie point {}: its pixel must be two finite numbers", shown(tie.joint.text())));
    }
    return {};
}

constexpr const char* kEditKeys[] = {"entries added",  "entries withdrawn", "map edited",
                                     "tie points set", "tone settled",      "job described"};

Edit::Kind edit_kind_from(const std::string& key) {
    for (std::size_t i = 0; i < std::size(kEditKeys); ++i)
        if (key == kEditKeys[i]) return static_cast<Edit::Kind>(i);
    return Edit::Kind::entries_added;
}

class SqliteStore final : public Store {
  public:
    SqliteStore(fs::path folder, std::unique_ptr<sqlite::Database> database)
        : folder_(std::move(folder)), files_(folder_ / "photographs"), database_(std::move(database)) {}

    // --- Jobs ---

    Result<Job> add_job(const NewJob& wanted, const Who& who) override {
        EYELET_TRY(require_who(who));
        EYELET_TRY(check(wanted.map));
        EYELET_TRY(require_text(wanted.map.name, "the assembly's name"));
        if (wanted.map.name.empty()) return bad_input("the assembly's name is empty");
        EYELET_TRY(require_text(wanted.unit.text(), "the unit's serial number"));
        EYELET_TRY(require_text(wanted.complaint, "the complaint"));
        EYELET_TRY(require_text(wanted.condition, "the condition"));
        EYELET_ASSIGN(const std::string document, document_of(wanted.map));
        for (const NewPhotograph& photograph : wanted.photographs) {
            EYELET_TRY(check_photograph(photograph));
            EYELET_TRY(check_board(wanted.map, photograph.board));
            EYELET_TRY(check_tie_points(photograph.tie_points, wanted.map, photograph.board));
        }
        std::vector<PhotographFiles::Incoming> incoming;
        for (const NewPhotograph& photograph : wanted.photographs) {
            EYELET_ASSIGN(auto one, files_.bring_in(photograph.bytes));
            incoming.push_back(std::move(one));
        }

        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        const std::string at = now_utc();
        EYELET_TRY(
            db().run("INSERT INTO assemblies (name) VALUES (?1) ON CONFLICT DO NOTHING", wanted.map.name));
        EYELET_ASSIGN(const Id assembly,
                      db().number("SELECT id FROM assemblies WHERE name = ?1", wanted.map.name));
        EYELET_ASSIGN(Id map_version,
                      db().number("SELECT id FROM map_versions WHERE assembly = ?1 AND map = ?2 "
                                  "ORDER BY version DESC LIMIT 1",
                                  assembly, document));
        if (map_version == 0) {
            EYELET_ASSIGN(const Id made, insert_map(assembly, document, "imported", at, who));
            map_version = made;
        }
        std::string serial = wanted.unit.text();
        if (serial.empty()) {
            EYELET_ASSIGN(const Id units,
                          db().number("SELECT count(*) FROM units WHERE assembly = ?1", assembly));
            for (Id n = units + 1;; ++n) {
                serial = fmt::format("unit {}", n);
                EYELET_ASSIGN(const Id taken,
                              db().number("SELECT count(*) FROM units WHERE assembly = ?1 AND serial = ?2",
                                          assembly, serial));
                if (taken == 0) break;
            }
        }
        EYELET_TRY(db().run("INSERT INTO units (assembly, serial) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
                            assembly, serial));
        EYELET_ASSIGN(const Id unit, db().number("SELECT id FROM units WHERE assembly = ?1 AND serial = ?2",
                                                 assembly, serial));
        EYELET_TRY(
            db().run("INSERT INTO jobs (unit, map_version, complaint, condition, opened_at, person, device) "
                     "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
                     unit, map_version, wanted.complaint, wanted.condition, at, who.person, who.device));
        const Id job = db().last_row();
        for (std::size_t i = 0; i < wanted.photographs.size(); ++i) {
            EYELET_TRY(incoming[i].place());
            EYELET_ASSIGN(const Id ignored,
                          insert_photograph(job, wanted.photographs[i], incoming[i].sha256(), at, who));
            (void)ignored;
        }
        EYELET_TRY(commit_with_files(*transaction, incoming));
        return job_row(job);
    }

    Result<std::vector<Job>> jobs() override {
        const std::lock_guard lock(mutex_);
        return db().rows(std::string(kJobSelect) + " ORDER BY j.id", read_job);
    }

    Result<Job> job(const JobName& name) override {
        const std::lock_guard lock(mutex_);
        EYELET_ASSIGN(const Id id, job_id(name));
        return job_row(id);
    }

    Status describe_job(const JobName& name, const std::string& complaint, const std::string& condition,
                        const Who& who) override {
        EYELET_TRY(require_who(who));
        EYELET_TRY(require_text(complaint, "the complaint"));
        EYELET_TRY(require_text(condition, "the condition"));
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id id, job_id(name));
        EYELET_ASSIGN(const Job before, job_row(id));
        EYELET_TRY(insert_edit(id, Edit::Kind::job_described, "complaint and condition",
                               Json{{"complaint", before.complaint}, {"condition", before.condition}},
                               Json{{"complaint", complaint}, {"condition", condition}}, who));
        EYELET_TRY(db().run("UPDATE jobs SET complaint = ?2, condition = ?3 WHERE id = ?1", id, complaint,
                            condition));
        return transaction->commit();
    }

    // --- The map ---

    Result<MapVersion> map(const JobName& name) override {
        const std::lock_guard lock(mutex_);
        EYELET_ASSIGN(const Id id, job_id(name));
        return map_of_job(id);
    }

    Result<std::vector<MapVersion>> map_versions(const JobName& name) override {
        const std::lock_guard lock(mutex_);
        EYELET_ASSIGN(const Id id, job_id(name));
        EYELET_ASSIGN(
            const auto rows,
            db().rows("SELECT m.version, m.map, m.at, m.person, m.device, m.what FROM map_versions m "
                      "WHERE m.assembly = (SELECT v.assembly FROM map_versions v JOIN jobs j "
                      "ON j.map_version = v.id WHERE j.id = ?1) ORDER BY m.version",
                      read_map_row, id));
        std::vector<MapVersion> versions;
        for (const MapRow& row : rows) {
            EYELET_ASSIGN(auto version, map_version_from(row));
            versions.push_back(std::move(version));
        }
        return versions;
    }

    Result<int> edit_map(const JobName& name, const Assembly& changed, const std::string& what,
                         const Who& who) override {
        EYELET_TRY(require_who(who));
        EYELET_TRY(require_text(what, "what was changed"));
        EYELET_TRY(check(changed));
        EYELET_ASSIGN(const std::string document, document_of(changed));
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id job, job_id(name));
        EYELET_ASSIGN(const Job described, job_row(job));
        if (changed.name != described.assembly)
            return bad_input(fmt::format("the map belongs to assembly {}, the job to {}", shown(changed.name),
                                         shown(described.assembly)));
        EYELET_ASSIGN(const Id before, db().number("SELECT map_version FROM jobs WHERE id = ?1", job));
        EYELET_ASSIGN(const Id assembly,
                      db().number("SELECT assembly FROM map_versions WHERE id = ?1", before));
        EYELET_ASSIGN(const Id after, insert_map(assembly, document, what, now_utc(), who));
        EYELET_TRY(insert_edit(job, Edit::Kind::map_edited, what, Json(before), Json(after), who));
        EYELET_TRY(db().run("UPDATE jobs SET map_version = ?2 WHERE id = ?1", job, after));
        EYELET_ASSIGN(const Id version, db().number("SELECT version FROM map_versions WHERE id = ?1", after));
        EYELET_TRY(transaction->commit());
        return static_cast<int>(version);
    }

    // --- Photographs ---

    Result<std::vector<Photograph>> photographs(const JobName& name) override {
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::read));
        EYELET_ASSIGN(const Id job, job_id(name));
        EYELET_ASSIGN(auto found,
                      db().rows(std::string(kPhotographSelect) + " WHERE p.job = ?1 ORDER BY p.id",
                                read_photograph, job));
        for (Photograph& photograph : found) EYELET_TRY(read_tie_points(photograph));
        return found;
    }

    Result<Photograph> add_photograph(const JobName& name, const NewPhotograph& photograph,
                                      const Who& who) override {
        EYELET_TRY(require_who(who));
        EYELET_TRY(check_photograph(photograph));
        std::vector<PhotographFiles::Incoming> incoming;
        EYELET_ASSIGN(auto one, files_.bring_in(photograph.bytes));
        incoming.push_back(std::move(one));
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id job, job_id(name));
        EYELET_ASSIGN(const MapVersion map_version, map_of_job(job));
        EYELET_TRY(check_board(map_version.map, photograph.board));
        EYELET_TRY(check_tie_points(photograph.tie_points, map_version.map, photograph.board));
        EYELET_TRY(incoming.front().place());
        EYELET_ASSIGN(const Id id,
                      insert_photograph(job, photograph, incoming.front().sha256(), now_utc(), who));
        EYELET_TRY(commit_with_files(*transaction, incoming));
        return photograph_row(id);
    }

    Status set_tie_points(const PhotographName& name, const std::vector<StoredTiePoint>& tie_points,
                          const Who& who) override {
        EYELET_TRY(require_who(who));
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id id, photograph_id(name));
        EYELET_ASSIGN(const Id job, db().number("SELECT job FROM photographs WHERE id = ?1", id));
        EYELET_ASSIGN(const Photograph photograph, photograph_row(id));
        EYELET_ASSIGN(const MapVersion map_version, map_of_job(job));
        EYELET_TRY(check_tie_points(tie_points, map_version.map, photograph.board));
        EYELET_ASSIGN(const Id before, db().number("SELECT tie_revision FROM photographs WHERE id = ?1", id));
        // Revisions that were undone stay, so the next number is beyond all of them; a photograph that never
        // had tie points has revision 1 without rows, hence the edits count too.
        EYELET_ASSIGN(
            const Id last,
            db().number(
                "SELECT max(coalesce((SELECT max(revision) FROM tie_points WHERE photograph = ?1), 0), "
                "coalesce((SELECT max(json_extract(after, '$.revision')) FROM edits WHERE job = ?2 AND "
                "kind = 'tie points set' AND json_extract(after, '$.photograph') = ?1), 0), ?3)",
                id, job, before));
        const Id after = last + 1;
        EYELET_TRY(insert_tie_points(id, after, tie_points));
        EYELET_TRY(insert_edit(job, Edit::Kind::tie_points_set,
                               fmt::format("tie points of {}", photograph.file_name),
                               Json{{"photograph", id}, {"revision", before}},
                               Json{{"photograph", id}, {"revision", after}}, who));
        EYELET_TRY(db().run("UPDATE photographs SET tie_revision = ?2 WHERE id = ?1", id, after));
        return transaction->commit();
    }

    Result<std::vector<std::byte>> photograph_bytes(const PhotographName& name) override {
        std::string sha256;
        {
            const std::lock_guard lock(mutex_);
            EYELET_ASSIGN(const Id id, photograph_id(name));
            EYELET_ASSIGN(const Photograph photograph, photograph_row(id));
            sha256 = photograph.sha256;
        }
        return files_.read(sha256);
    }

    Status settle_tone(const JobName& name, const ToneSettled& settled, const Who& who) override {
        EYELET_TRY(require_who(who));
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id job, job_id(name));
        EYELET_ASSIGN(const MapVersion map_version, map_of_job(job));
        EYELET_TRY(check_board(map_version.map, settled.board));
        EYELET_ASSIGN(const auto before,
                      db().row(
                          "SELECT tone FROM tones WHERE job = ?1 AND board = ?2 AND side = ?3",
                          [](const Statement& s) { return s.text(0); }, job, settled.board.text(),
                          key_of(settled.side)));
        const auto state = [&](const Json& tone) {
            return Json{{"board", settled.board.text()}, {"side", key_of(settled.side)}, {"tone", tone}};
        };
        EYELET_TRY(
            insert_edit(job, Edit::Kind::tone_settled,
                        fmt::format("copper is {} on the {}", name_of(settled.tone), name_of(settled.side)),
                        state(before ? Json(*before) : Json(nullptr)), state(name_of(settled.tone)), who));
        EYELET_TRY(apply_tone(job, state(name_of(settled.tone))));
        return transaction->commit();
    }

    Result<std::vector<ToneSettled>> tones_settled(const JobName& name) override {
        const std::lock_guard lock(mutex_);
        EYELET_ASSIGN(const Id job, job_id(name));
        return db().rows(
            "SELECT board, side, tone FROM tones WHERE job = ?1 ORDER BY board, side DESC",
            [](const Statement& s) {
                return ToneSettled{BoardName(s.text(0)), side_from_key(s.text(1)).value_or(Side::component),
                                   copper_tone_from_name(s.text(2)).value_or(CopperTone::lighter)};
            },
            job);
    }

    // --- Derived ---

    Status keep_alignments(const JobName& name, const std::vector<StoredAlignment>& alignments) override {
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id job, job_id(name));
        EYELET_TRY(db().run(
            "DELETE FROM alignments WHERE photograph IN (SELECT id FROM photographs WHERE job = ?1)", job));
        const std::string at = now_utc();
        for (const StoredAlignment& alignment : alignments) {
            EYELET_ASSIGN(const Id id, photograph_id(alignment.photograph));
            EYELET_ASSIGN(const Id of, db().number("SELECT job FROM photographs WHERE id = ?1", id));
            if (of != job)
                return not_found(fmt::format("photograph {}: it is not one of job {}",
                                             alignment.photograph.text(), name.text()));
            EYELET_ASSIGN(const std::string document, document_of(alignment));
            EYELET_ASSIGN(const std::string basis, alignment_basis(id));
            EYELET_TRY(db().run(
                "INSERT INTO alignments (photograph, document, made_at, basis) VALUES (?1, ?2, ?3, ?4)", id,
                document, at, basis));
        }
        return transaction->commit();
    }

    Result<std::vector<StoredAlignment>> alignments(const JobName& name) override {
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::read));
        EYELET_ASSIGN(const Id job, job_id(name));
        struct Row {
            Id photograph;
            std::string document, made_at, basis;
        };
        EYELET_ASSIGN(
            const auto rows,
            db().rows(
                "SELECT a.photograph, a.document, a.made_at, a.basis FROM alignments a JOIN photographs p "
                "ON p.id = a.photograph WHERE p.job = ?1 ORDER BY p.id",
                [](const Statement& s) {
                    return Row{s.integer(0), s.text(1), s.text(2), s.text(3)};
                },
                job));
        std::vector<StoredAlignment> found;
        for (const Row& row : rows) {
            EYELET_ASSIGN(StoredAlignment alignment, alignment_from_document(row.document));
            alignment.photograph = PhotographName(named('P', row.photograph));
            alignment.made_at = row.made_at;
            EYELET_ASSIGN(const std::string basis, alignment_basis(row.photograph));
            alignment.out_of_date = basis != row.basis;
            found.push_back(std::move(alignment));
        }
        return found;
    }

    Status keep_proposals(const JobName& name, const StoredProposals& proposals) override {
        EYELET_ASSIGN(const std::string document, document_of(proposals));
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id job, job_id(name));
        EYELET_ASSIGN(const std::string basis, proposals_basis(job));
        EYELET_TRY(db().run(
            "INSERT OR REPLACE INTO proposals (job, document, made_at, basis) VALUES (?1, ?2, ?3, ?4)", job,
            document, now_utc(), basis));
        return transaction->commit();
    }

    Result<std::optional<StoredProposals>> proposals(const JobName& name) override {
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::read));
        EYELET_ASSIGN(const Id job, job_id(name));
        struct Row {
            std::string document, made_at, basis;
        };
        EYELET_ASSIGN(const auto row, db().row(
                                          "SELECT document, made_at, basis FROM proposals WHERE job = ?1",
                                          [](const Statement& s) {
                                              return Row{s.text(0), s.text(1), s.text(2)};
                                          },
                                          job));
        if (!row) return std::optional<StoredProposals>();
        EYELET_ASSIGN(StoredProposals stored, proposals_from_document(row->document));
        stored.made_at = row->made_at;
        EYELET_ASSIGN(const std::string basis, proposals_basis(job));
        stored.out_of_date = basis != row->basis;
        return std::optional<StoredProposals>(std::move(stored));
    }

    Result<std::string> proposals_made_at(const JobName& name) override {
        const std::lock_guard lock(mutex_);
        EYELET_ASSIGN(const Id job, job_id(name));
        EYELET_ASSIGN(const auto made_at, db().row(
                                              "SELECT made_at FROM proposals WHERE job = ?1",
                                              [](const Statement& s) { return s.text(0); }, job));
        return made_at.value_or("");
    }

    // --- The journal ---

    Result<std::vector<EntryName>> add_entries(const JobName& name, const std::vector<EntryBody>& bodies,
                                               const Who& who) override {
        EYELET_TRY(require_who(who));
        if (bodies.empty()) return bad_input("there is no entry to add");
        bool all_readings = true;
        for (const EntryBody& body : bodies) {
            EYELET_TRY(check_entry(body));
            all_readings = all_readings && kind_of(body) == EntryKind::reading;
        }
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id job, job_id(name));
        EYELET_ASSIGN(const EditRow edit, insert_edit_row(job, Edit::Kind::entries_added, summary_of(bodies),
                                                          all_readings, nullptr, nullptr, now_utc(), who));
        std::vector<EntryName> names;
        for (const EntryBody& body : bodies) {
            EYELET_ASSIGN(const Id entry, insert_entry(job, edit.edit, body));
            names.emplace_back(named('E', entry));
        }
        EYELET_TRY(transaction->commit());
        return names;
    }

    Result<std::vector<Entry>> journal(const JobName& name) override {
        return read_journal(name, std::nullopt);
    }
    Result<std::vector<Entry>> journal(const JobName& name, EntryKind kind) override {
        return read_journal(name, kind);
    }

    Status withdraw(const JobName& name, const std::vector<EntryName>& entries, const std::string& why,
                    const Who& who) override {
        EYELET_TRY(require_who(who));
        EYELET_TRY(require_text(why, "the reason"));
        if (entries.empty()) return bad_input("there is no entry to withdraw");
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id job, job_id(name));
        std::vector<Id> ids;
        bool all_readings = true;
        for (const EntryName& entry : entries) {
            const auto id = id_of('E', entry.text());
            struct Row {
                bool withdrawn;
                std::string kind;
            };
            std::optional<Row> row;
            if (id) {
                EYELET_ASSIGN(row, db().row(
                                       "SELECT withdrawn, kind FROM entries WHERE id = ?1 AND job = ?2",
                                       [](const Statement& s) {
                                           return Row{s.integer(0) != 0, s.text(1)};
                                       },
                                       *id, job));
            }
            if (!row)
                return not_found(fmt::format("entry {}: there is no such entry in the journal of job {}",
                                             shown(entry.text()), name.text()));
            if (row->withdrawn)
                return refused(fmt::format("entry {}: it is withdrawn already", entry.text()));
            if (std::find(ids.begin(), ids.end(), *id) != ids.end())
                return bad_input(fmt::format("entry {}: it is named twice", entry.text()));
            all_readings = all_readings && row->kind == "reading";
            ids.push_back(*id);
        }
        const std::string what = ids.size() == 1 ? fmt::format("entry {} withdrawn", entries.front().text())
                                                 : fmt::format("{} entries withdrawn", ids.size());
        EYELET_ASSIGN(const EditRow edit, insert_edit_row(job, Edit::Kind::entries_withdrawn, what,
                                                          all_readings, nullptr, nullptr, now_utc(), who));
        for (Id id : ids) {
            EYELET_TRY(db().run("INSERT INTO edit_entries (edit, entry) VALUES (?1, ?2)", edit.edit, id));
            EYELET_TRY(set_withdrawn(id, true, why, edit.log));
        }
        return transaction->commit();
    }

    // --- Undo and redo ---

    Result<Edit> undo(const JobName& name, const Who& who, UndoScope scope) override {
        return reverse(name, who, Direction::undo, scope);
    }
    Result<Edit> redo(const JobName& name, const Who& who) override {
        return reverse(name, who, Direction::redo, UndoScope::all);
    }

    Result<std::vector<Edit>> edits(const JobName& name) override {
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::read));
        EYELET_ASSIGN(const Id job, job_id(name));
        EYELET_ASSIGN(auto found, db().rows(std::string(kEditSelect) + " WHERE e.job = ?1 ORDER BY e.id",
                                            read_edit, job));
        for (Edit& edit : found) EYELET_TRY(read_edit_entries(edit));
        return found;
    }

    fs::path tiles_folder() const override { return folder_ / "tiles"; }

  private:
    using Json = nlohmann::json;

    // Rows that are read by name of column stand together with their SELECT.
    static constexpr const char* kJobSelect =
        "SELECT j.id, a.name, m.version, u.serial, j.complaint, j.condition, j.opened_at, j.person, "
        "j.device, "
        "(SELECT count(*) FROM edit_log l WHERE l.job = j.id) FROM jobs j "
        "JOIN units u ON u.id = j.unit JOIN map_versions m ON m.id = j.map_version JOIN assemblies a ON a.id "
        "= m.assembly";
    static Job read_job(const Statement& s) {
        Job job;
        job.name = JobName(named('J', s.integer(0)));
        job.assembly = s.text(1);
        job.map_version = static_cast<int>(s.integer(2));
        job.unit = UnitName(s.text(3));
        job.complaint = s.text(4);
        job.condition = s.text(5);
        job.opened_at = s.text(6);
        job.opened_by = {s.text(7), s.text(8)};
        job.last_edit = s.integer(9);
        return job;
    }

    static constexpr const char* kPhotographSelect =
        "SELECT p.id, p.sha256, p.byte_count, p.file_name, p.media_type, p.board, p.side, p.width_px, "
        "p.height_px, "
        "p.entry, e.withdrawn FROM photographs p JOIN entries e ON e.id = p.entry";
    static Photograph read_photograph(const Statement& s) {
        Photograph p;
        p.name = PhotographName(named('P', s.integer(0)));
        p.sha256 = s.text(1);
        p.byte_count = static_cast<std::uint64_t>(s.integer(2));
        p.file_name = s.text(3);
        p.media_type = s.text(4);
        p.board = BoardName(s.text(5));
        p.side = side_from_key(s.text(6)).value_or(Side::component);
        p.width_px = static_cast<int>(s.integer(7));
        p.height_px = static_cast<int>(s.integer(8));
        p.entry = EntryName(named('E', s.integer(9)));
        p.withdrawn = s.integer(10) != 0;
        return p;
    }

    static constexpr const char* kEditSelect =
        "SELECT e.id, e.kind, e.what, l.at, l.person, l.device, e.state FROM edits e JOIN edit_log l "
        "ON l.edit = e.id AND l.action = 'do'";
    static Edit read_edit(const Statement& s) {
        Edit edit;
        edit.number = s.integer(0);
        edit.kind = edit_kind_from(s.text(1));
        edit.what = s.text(2);
        edit.at = s.text(3);
        edit.who = {s.text(4), s.text(5)};
        edit.undone = s.text(6) != "done";
        return edit;
    }

    struct MapRow {
        int version = 0;
        std::string map, at, person, device, what;
    };
    static MapRow read_map_row(const Statement& s) {
        return {static_cast<int>(s.integer(0)), s.text(1), s.text(2), s.text(3), s.text(4), s.text(5)};
    }
    static Result<MapVersion> map_version_from(const MapRow& row) {
        EYELET_ASSIGN(Assembly map, map_from_document(row.map));
        return MapVersion{row.version, std::move(map), row.at, {row.person, row.device}, row.what};
    }

    struct EditRow {
        Id edit = 0;
        Id log = 0;
    };

    [[nodiscard]] sqlite::Database& db() { return *database_; }

    Status begin(std::optional<Transaction>& transaction, Transaction::Kind kind) {
        EYELET_ASSIGN(auto begun, Transaction::begin(db(), kind));
        transaction.emplace(std::move(begun));
        return {};
    }

    Result<Id> job_id(const JobName& name) {
        const auto id = id_of('J', name.text());
        Id found = 0;
        if (id) {
            EYELET_ASSIGN(found, db().number("SELECT id FROM jobs WHERE id = ?1", *id));
        }
        if (found == 0)
            return not_found(fmt::format("job {}: there is no such job in the bench {}", shown(name.text()),
                                         folder_.string()));
        return found;
    }
    Result<Job> job_row(Id id) {
        EYELET_ASSIGN(auto job, db().row(std::string(kJobSelect) + " WHERE j.id = ?1", read_job, id));
        if (!job) return not_found(fmt::format("job {}: there is no such job", named('J', id)));
        return std::move(*job);
    }
    Result<Id> photograph_id(const PhotographName& name) {
        const auto id = id_of('P', name.text());
        Id found = 0;
        if (id) {
            EYELET_ASSIGN(found, db().number("SELECT id FROM photographs WHERE id = ?1", *id));
        }
        if (found == 0)
            return not_found(
                fmt::format("photograph {}: there is no such photograph in the bench", shown(name.text())));
        return found;
    }
    Result<Photograph> photograph_row(Id id) {
        EYELET_ASSIGN(auto photograph,
                      db().row(std::string(kPhotographSelect) + " WHERE p.id = ?1", read_photograph, id));
        if (!photograph)
            return not_found(fmt::format("photograph {}: there is no such photograph", named('P', id)));
        EYELET_TRY(read_tie_points(*photograph));
        return std::move(*photograph);
    }
    Status read_tie_points(Photograph& photograph) {
        EYELET_ASSIGN(
            photograph.tie_points,
            db().rows(
                "SELECT t.joint, t.u_px, t.v_px FROM tie_points t JOIN photographs p ON p.id = t.photograph "
                "AND p.tie_revision = t.revision WHERE p.id = ?1 ORDER BY t.place",
                [](const Statement& s) {
                    return StoredTiePoint{JointName(s.text(0)), {s.real(1), s.real(2)}};
                },
                id_of('P', photograph.name.text()).value_or(0)));
        return {};
    }
    Result<MapVersion> map_of_job(Id job) {
        EYELET_ASSIGN(
            const auto row,
            db().row("SELECT m.version, m.map, m.at, m.person, m.device, m.what FROM map_versions m "
                     "JOIN jobs j ON j.map_version = m.id WHERE j.id = ?1",
                     read_map_row, job));
        if (!row) return not_found(fmt::format("job {}: there is no such job", named('J', job)));
        return map_version_from(*row);
    }

    static Status check_board(const Assembly& map, const BoardName& board) {
        if (map.find_board(board).valid()) return {};
        return bad_input(fmt::format("board '{}': the assembly {} has no such board", shown(board.text()),
                                     shown(map.name)));
    }

    Result<Id> insert_map(Id assembly, const std::string& document, const std::string& what,
                          const std::string& at, const Who& who) {
        EYELET_TRY(db().run(
            "INSERT INTO map_versions (assembly, version, map, what, at, person, device) SELECT ?1, "
            "coalesce(max(version), 0) + 1, ?2, ?3, ?4, ?5, ?6 FROM map_versions WHERE assembly = ?1",
            assembly, document, what, at, who.person, who.device));
        return db().last_row();
    }

    Result<EditRow> insert_edit_row(Id job, Edit::Kind kind, const std::string& what, bool of_readings,
                                    const Json& before, const Json& after, const std::string& at,
                                    const Who& who) {
        const auto text = [](const Json& json) {
            return json.is_null() ? std::optional<std::string>() : std::optional<std::string>(json.dump());
        };
        // What was undone before can no longer be redone.
        EYELET_TRY(db().run("UPDATE edits SET state = 'lapsed' WHERE job = ?1 AND state = 'undone'", job));
        EYELET_TRY(db().run(
            "INSERT INTO edits (job, kind, what, of_readings, before, after, state) "
            "VALUES (?1, ?2, ?3, ?4, ?5, ?6, 'done')",
            job, kEditKeys[static_cast<std::size_t>(kind)], what, of_readings, text(before), text(after)));
        EditRow row;
        row.edit = db().last_row();
        EYELET_TRY(insert_log(row.edit, job, "do", at, who));
        row.log = db().last_row();
        return row;
    }
    Status insert_edit(Id job, Edit::Kind kind, const std::string& what, const Json& before,
                       const Json& after, const Who& who) {
        EYELET_ASSIGN(const EditRow row,
                      insert_edit_row(job, kind, what, false, before, after, now_utc(), who));
        (void)row;
        return {};
    }
    Status insert_log(Id edit, Id job, const char* action, const std::string& at, const Who& who) {
        return db().run(
            "INSERT INTO edit_log (edit, job, action, at, person, device) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            edit, job, action, at, who.person, who.device);
    }

    Result<Id> insert_photograph(Id job, const NewPhotograph& photograph, const std::string& sha256,
                                 const std::string& at, const Who& who) {
        EYELET_ASSIGN(const EditRow edit, insert_edit_row(job, Edit::Kind::entries_added,
                                                          fmt::format("photograph {}", photograph.file_name),
                                                          false, nullptr, nullptr, at, who));
        EYELET_TRY(
            db().run("INSERT INTO entries (job, edit, kind) VALUES (?1, ?2, 'photograph')", job, edit.edit));
        const Id entry = db().last_row();
        EYELET_TRY(db().run("INSERT INTO edit_entries (edit, entry) VALUES (?1, ?2)", edit.edit, entry));
        EYELET_TRY(db().run(
            "INSERT INTO photographs (job, entry, sha256, byte_count, file_name, media_type, board, side, "
            "width_px, height_px, tie_revision) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, 1)",
            job, entry, sha256, photograph.bytes.size(), photograph.file_name, photograph.media_type,
            photograph.board.text(), key_of(photograph.side), photograph.width_px, photograph.height_px));
        const Id id = db().last_row();
        EYELET_TRY(insert_tie_points(id, 1, photograph.tie_points));
        return id;
    }
    Status insert_tie_points(Id photograph, Id revision, const std::vector<StoredTiePoint>& tie_points) {
        for (std::size_t i = 0; i < tie_points.size(); ++i)
            EYELET_TRY(
                db().run("INSERT INTO tie_points (photograph, revision, place, joint, u_px, v_px) "
                         "VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                         photograph, revision, i, tie_points[i].joint.text(), tie_points[i].pixel.x,
                         tie_points[i].pixel.y));
        return {};
    }

    // A commit that fails leaves it open whether it reached the disk (a lost sync). A photograph's file goes
    // only where the database, asked again, does not name it.
    Status commit_with_files(Transaction& transaction, std::vector<PhotographFiles::Incoming>& incoming) {
        const Status committed = transaction.commit();
        if (committed.ok()) {
            for (auto& one : incoming) one.settle();
            return {};
        }
        for (auto& one : incoming) {
            const auto named_in =
                db().number("SELECT count(*) FROM photographs WHERE sha256 = ?1", one.sha256());
            if (!named_in.ok() || named_in.value() > 0) one.settle();
        }
        return committed;
    }

    Result<Id> insert_entry(Id job, Id edit, const EntryBody& body) {
        std::optional<std::string> what;
        std::optional<std::string> text;
        const Place* place = nullptr;
        if (const auto* f = std::get_if<FindingEntry>(&body)) {
            what = f->what;
            text = f->text;
            place = &f->place;
        } else if (const auto* w = std::get_if<WorkEntry>(&body)) {
            what = w->what;
            text = w->text;
            place = &w->place;
        } else if (const auto* n = std::get_if<NoteEntry>(&body)) {
            text = n->text;
        } else if (const auto* t = std::get_if<TrialEntry>(&body)) {
            text = t->text;
        }
        EYELET_TRY(db().run("INSERT INTO entries (job, edit, kind, what, text) VALUES (?1, ?2, ?3, ?4, ?5)",
                            job, edit, name_of(kind_of(body)), what, text));
        const Id entry = db().last_row();
        EYELET_TRY(db().run("INSERT INTO edit_entries (edit, entry) VALUES (?1, ?2)", edit, entry));
        if (const auto* r = std::get_if<ReadingEntry>(&body)) {
            const SaidColumns said = columns_of(r->said);
            EYELET_TRY(db().run(
                "INSERT INTO readings (entry, from_joint, to_joint, said, ohm, why, gesture, instrument, "
                "lead_ohm, copper_below_ohm, open_above_ohm, board_state, unreached) "
                "VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)",
                entry, r->from.text(), r->to.text(), said.said, said.ohm, said.why, key_of(r->gesture),
                r->instrument, r->lead_ohm, r->copper_below_ohm, r->open_above_ohm, r->board_state,
                said.unreached));
        }
        if (const auto* t = std::get_if<TrialEntry>(&body))
            EYELET_TRY(db().run(
                "INSERT INTO trials (entry, condition, minutes, recurrences) VALUES (?1, ?2, ?3, ?4)", entry,
                t->condition, t->minutes, t->recurrences));
        if (place != nullptr) {
            std::optional<std::string> side;
            if (place->side) side = key_of(*place->side);
            std::optional<double> x;
            std::optional<double> y;
            if (place->point_mm) {
                x = place->point_mm->x;
                y = place->point_mm->y;
            }
            EYELET_TRY(db().run(
                "INSERT INTO entry_places (entry, board, side, x_mm, y_mm) VALUES (?1, ?2, ?3, ?4, ?5)",
                entry, place->board.text(), side, x, y));
            for (std::size_t i = 0; i < place->joints.size(); ++i)
                EYELET_TRY(db().run("INSERT INTO entry_joints (entry, place, joint) VALUES (?1, ?2, ?3)",
                                    entry, i, place->joints[i].text()));
            for (std::size_t i = 0; i < place->parts.size(); ++i)
                EYELET_TRY(db().run("INSERT INTO entry_parts (entry, place, part) VALUES (?1, ?2, ?3)", entry,
                                    i, place->parts[i].text()));
        }
        return entry;
    }

    // One query for all rows, then one for each table that holds the rest of some kinds.
    Result<std::vector<Entry>> read_journal(const JobName& name, std::optional<EntryKind> kind) {
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::read));
        EYELET_ASSIGN(const Id job, job_id(name));
        struct Row {
            Id id;
            EntryKind kind;
            std::string what, text;
            Entry entry;
        };
        std::optional<std::string> only;
        if (kind) only = name_of(*kind);
        EYELET_ASSIGN(
            auto rows,
            db().rows(
                "SELECT e.id, e.kind, coalesce(e.what, ''), coalesce(e.text, ''), e.edit, e.withdrawn, l.at, "
                "l.person, "
                "l.device, c.at, c.person, c.device, c.why FROM entries e "
                "JOIN edit_log l ON l.edit = e.edit AND l.action = 'do' "
                "LEFT JOIN (SELECT ec.entry, el.at, el.person, el.device, ec.why FROM entry_changes ec "
                "JOIN edit_log el ON el.id = ec.log WHERE ec.id IN (SELECT max(id) FROM entry_changes GROUP "
                "BY entry)) c "
                "ON c.entry = e.id AND e.withdrawn = 1 WHERE e.job = ?1 AND (?2 IS NULL OR e.kind = ?2) "
                "ORDER BY e.id",
                [](const Statement& s) {
                    Row row{s.integer(0),
                            entry_kind_from_name(s.text(1)).value_or(EntryKind::note),
                            s.text(2),
                            s.text(3),
                            {}};
                    row.entry.name = EntryName(named('E', row.id));
                    row.entry.edit = s.integer(4);
                    row.entry.withdrawn = s.integer(5) != 0;
                    row.entry.at = s.text(6);
                    row.entry.who = {s.text(7), s.text(8)};
                    row.entry.withdrawn_at = s.text(9);
                    row.entry.withdrawn_by = {s.text(10), s.text(11)};
                    row.entry.withdrawn_why = s.text(12);
                    return row;
                },
                job, only));

        std::unordered_map<Id, ReadingEntry> readings;
        std::unordered_map<Id, Place> places;
        std::unordered_map<Id, TrialEntry> trials;
        std::unordered_map<Id, Id> photographs;
        const auto wanted = [&](EntryKind one) { return !kind || *kind == one; };
        if (wanted(EntryKind::reading)) {
            EYELET_TRY(
                each("SELECT r.entry, r.from_joint, r.to_joint, r.said, r.ohm, r.why, r.gesture, "
                     "r.instrument, r.lead_ohm, "
                     "r.copper_below_ohm, r.open_above_ohm, r.board_state, r.unreached FROM readings r JOIN "
                     "entries e "
                     "ON e.id = r.entry WHERE e.job = ?1",
                     job, [&](const Statement& s) {
                         ReadingEntry r;
                         r.from = JointName(s.text(1));
                         r.to = JointName(s.text(2));
                         r.said = said_from(s.text(3), s.real(4), s.text(5), s.text(12));
                         r.gesture = s.text(6) == "sweep" ? GestureKind::sweep : GestureKind::touch;
                         r.instrument = s.text(7);
                         r.lead_ohm = s.optional_real(8);
                         r.copper_below_ohm = s.optional_real(9);
                         r.open_above_ohm = s.optional_real(10);
                         r.board_state = s.text(11);
                         readings.emplace(s.integer(0), std::move(r));
                     }));
        }
        if (wanted(EntryKind::finding) || wanted(EntryKind::work)) {
            EYELET_TRY(
                each("SELECT p.entry, p.board, p.side, p.x_mm, p.y_mm FROM entry_places p JOIN entries e ON "
                     "e.id = p.entry "
                     "WHERE e.job = ?1",
                     job, [&](const Statement& s) {
                         Place place;
                         place.board = BoardName(s.text(1));
                         if (!s.is_null(2)) place.side = side_from_key(s.text(2));
                         if (!s.is_null(3)) place.point_mm = Point{s.real(3), s.real(4)};
                         places.emplace(s.integer(0), std::move(place));
                     }));
            EYELET_TRY(
                each("SELECT j.entry, j.joint FROM entry_joints j JOIN entries e ON e.id = j.entry WHERE "
                     "e.job = ?1 "
                     "ORDER BY j.entry, j.place",
                     job, [&](const Statement& s) { places[s.integer(0)].joints.emplace_back(s.text(1)); }));
            EYELET_TRY(each(
                "SELECT p.entry, p.part FROM entry_parts p JOIN entries e ON e.id = p.entry WHERE e.job = ?1 "
                "ORDER BY p.entry, p.place",
                job, [&](const Statement& s) { places[s.integer(0)].parts.emplace_back(s.text(1)); }));
        }
        if (wanted(EntryKind::trial)) {
            EYELET_TRY(
                each("SELECT t.entry, t.condition, t.minutes, t.recurrences FROM trials t JOIN entries e ON "
                     "e.id = t.entry "
                     "WHERE e.job = ?1",
                     job, [&](const Statement& s) {
                         trials.emplace(s.integer(0),
                                        TrialEntry{s.text(1), s.real(2), static_cast<int>(s.integer(3)), {}});
                     }));
        }
        if (wanted(EntryKind::photograph)) {
            EYELET_TRY(each("SELECT entry, id FROM photographs WHERE job = ?1", job,
                            [&](const Statement& s) { photographs.emplace(s.integer(0), s.integer(1)); }));
        }

        std::vector<Entry> entries;
        entries.reserve(rows.size());
        for (Row& row : rows) {
            switch (row.kind) {
                case EntryKind::reading:
                    row.entry.body = std::move(readings[row.id]);
                    break;
                case EntryKind::finding:
                    row.entry.body = FindingEntry{row.what, std::move(places[row.id]), row.text};
                    break;
                case EntryKind::work:
                    row.entry.body = WorkEntry{row.what, std::move(places[row.id]), row.text};
                    break;
                case EntryKind::note:
                    row.entry.body = NoteEntry{row.text};
                    break;
                case EntryKind::photograph:
                    row.entry.body = PhotographEntry{PhotographName(named('P', photographs[row.id]))};
                    break;
                case EntryKind::trial: {
                    TrialEntry trial = std::move(trials[row.id]);
                    trial.text = row.text;
                    row.entry.body = std::move(trial);
                    break;
                }
            }
            entries.push_back(std::move(row.entry));
        }
        return entries;
    }
    template <class Visit>
    Status each(std::string_view sql, Id job, Visit visit) {
        const auto done = db().rows(
            sql, [&](const Statement& s) { return visit(s), 0; }, job);
        return done.ok() ? Status() : Status(done.error());
    }

    Status set_withdrawn(Id entry, bool withdrawn, const std::string& why, Id log) {
        EYELET_TRY(db().run("UPDATE entries SET withdrawn = ?2 WHERE id = ?1", entry, withdrawn));
        return db().run("INSERT INTO entry_changes (entry, log, withdrawn, why) VALUES (?1, ?2, ?3, ?4)",
                        entry, log, withdrawn, why);
    }

    Status read_edit_entries(Edit& edit) {
        EYELET_ASSIGN(
            edit.entries,
            db().rows(
                "SELECT entry FROM edit_entries WHERE edit = ?1 ORDER BY entry",
                [](const Statement& s) { return EntryName(named('E', s.integer(0))); }, edit.number));
        return {};
    }

    enum class Direction { undo, redo };

    Result<Edit> reverse(const JobName& name, const Who& who, Direction direction, UndoScope scope) {
        EYELET_TRY(require_who(who));
        const std::lock_guard lock(mutex_);
        std::optional<Transaction> transaction;
        EYELET_TRY(begin(transaction, Transaction::Kind::write));
        EYELET_ASSIGN(const Id job, job_id(name));
        const bool undoing = direction == Direction::undo;
        const char* pick = undoing ? "SELECT id FROM edits WHERE job = ?1 AND state = 'done' AND of_readings "
                                     ">= ?2 ORDER BY id DESC LIMIT 1"
                                   : "SELECT id FROM edits WHERE job = ?1 AND state = 'undone' AND ?2 = 0 "
                                     "ORDER BY undone_order DESC LIMIT 1";
        EYELET_ASSIGN(const Id id, db().number(pick, job, scope == UndoScope::readings ? 1 : 0));
        if (id == 0)
            return refused(
                fmt::format("job {}: there is nothing to {}", name.text(), undoing ? "undo" : "redo"));
        struct Row {
            Edit edit;
            std::string before, after;
        };
        EYELET_ASSIGN(auto row, db().row(
                                    "SELECT e.id, e.kind, e.what, l.at, l.person, l.device, e.state, "
                                    "coalesce(e.before, 'null'), coalesce(e.after, 'null') FROM edits e "
                                    "JOIN edit_log l ON l.edit = e.id AND l.action = 'do' WHERE e.id = ?1",
                                    [](const Statement& s) {
                                        return Row{read_edit(s), s.text(7), s.text(8)};
                                    },
                                    id));
        if (!row)
            return storage_error(fmt::format("edit {} has no log; restore the bench folder from a copy", id));
        EYELET_TRY(insert_log(id, job, undoing ? "undo" : "redo", now_utc(), who));
        const Id log = db().last_row();
        const Json state = Json::parse(undoing ? row->before : row->after, nullptr, false);
        switch (row->edit.kind) {
            case Edit::Kind::entries_added:
            case Edit::Kind::entries_withdrawn: {
                const bool withdrawn = undoing == (row->edit.kind == Edit::Kind::entries_added);
                // An entry may have been withdrawn by itself in between; then it is as it should be.
                EYELET_ASSIGN(const auto entries,
                              db().rows(
                                  "SELECT x.entry FROM edit_entries x JOIN entries e ON e.id = x.entry WHERE "
                                  "x.edit = ?1 "
                                  "AND e.withdrawn <> ?2 ORDER BY x.entry",
                                  [](const Statement& s) { return s.integer(0); }, id, withdrawn));
                for (Id entry : entries)
                    EYELET_TRY(set_withdrawn(entry, withdrawn, undoing ? "undone" : "redone", log));
                break;
            }
            case Edit::Kind::map_edited:
                EYELET_TRY(db().run("UPDATE jobs SET map_version = ?2 WHERE id = ?1", job, state.get<Id>()));
                break;
            case Edit::Kind::tie_points_set:
                EYELET_TRY(db().run("UPDATE photographs SET tie_revision = ?2 WHERE id = ?1",
                                    state.at("photograph").get<Id>(), state.at("revision").get<Id>()));
                break;
            case Edit::Kind::tone_settled:
                EYELET_TRY(apply_tone(job, state));
                break;
            case Edit::Kind::job_described:
                EYELET_TRY(db().run("UPDATE jobs SET complaint = ?2, condition = ?3 WHERE id = ?1", job,
                                    state.at("complaint").get<std::string>(),
                                    state.at("condition").get<std::string>()));
                break;
        }
        if (undoing)
            EYELET_TRY(
                db().run("UPDATE edits SET state = 'undone', undone_order = (SELECT "
                         "coalesce(max(undone_order), 0) + 1 "
                         "FROM edits WHERE job = ?2) WHERE id = ?1",
                         id, job));
        else
            EYELET_TRY(db().run("UPDATE edits SET state = 'done', undone_order = NULL WHERE id = ?1", id));
        EYELET_TRY(read_edit_entries(row->edit));
        EYELET_TRY(transaction->commit());
        row->edit.undone = undoing;
        return std::move(row->edit);
    }

    Status apply_tone(Id job, const Json& state) {
        const auto board = state.at("board").get<std::string>();
        const auto side = state.at("side").get<std::string>();
        if (state.at("tone").is_null())
            return db().run("DELETE FROM tones WHERE job = ?1 AND board = ?2 AND side = ?3", job, board,
                            side);
        return db().run("INSERT OR REPLACE INTO tones (job, board, side, tone) VALUES (?1, ?2, ?3, ?4)", job,
                        board, side, state.at("tone").get<std::string>());
    }

    // What an alignment was made from: the tie points, and the map that gives their joints places.
    Result<std::string> alignment_basis(Id photograph) {
        EYELET_ASSIGN(
            const auto basis,
            db().row(
                "SELECT 'map ' || j.map_version || ' tie points ' || p.tie_revision FROM photographs p "
                "JOIN jobs j ON j.id = p.job WHERE p.id = ?1",
                [](const Statement& s) { return s.text(0); }, photograph));
        return basis.value_or("");
    }
    // What proposals were made from: the map, each alignment of a photograph that is not withdrawn, settled
    // tones.
    Result<std::string> proposals_basis(Id job) {
        EYELET_ASSIGN(const auto map_version, db().number("SELECT map_version FROM jobs WHERE id = ?1", job));
        EYELET_ASSIGN(const auto alignments,
                      db().rows(
                          "SELECT a.photograph || ' ' || p.tie_revision || ' ' || a.basis || ' ' || "
                          "a.document FROM alignments a "
                          "JOIN photographs p ON p.id = a.photograph JOIN entries e ON e.id = p.entry "
                          "WHERE p.job = ?1 AND e.withdrawn = 0 ORDER BY p.id",
                          [](const Statement& s) { return s.text(0); }, job));
        EYELET_ASSIGN(const auto tones,
                      db().rows(
                          "SELECT board || ' ' || side || ' ' || tone FROM tones WHERE job = ?1 "
                          "ORDER BY board, side",
                          [](const Statement& s) { return s.text(0); }, job));
        const std::string all =
            fmt::format("map {}\n{}\n{}", map_version, fmt::join(alignments, "\n"), fmt::join(tones, "\n"));
        return content_name(all);
    }

    fs::path folder_;
    PhotographFiles files_;
    std::unique_ptr<sqlite::Database> database_;
    std::mutex mutex_;
};

// Turning the write-ahead log on needs the database for a moment alone, and SQLite does not wait for that by
// itself.
Status turn_on_log(sqlite::Database& database, int busy_timeout_ms) {
    const auto until = std::chrono::steady_clock::now() + std::chrono::milliseconds(busy_timeout_ms);
    while (true) {
        const auto mode =
            database.row("PRAGMA journal_mode = WAL", [](const Statement& s) { return s.text(0); });
        if (mode.ok() && mode.value() == "wal") return {};
        if (mode.ok())
            return storage_error(
                "the bench's folder cannot hold a database that several programs share; use a local disk");
        if (mode.error().code != ErrorCode::unavailable || std::chrono::steady_clock::now() > until)
            return mode.error();
        std::this_thread::sleep_for(std::chrono::milliseconds(5));
    }
}

}  // namespace

Result<std::unique_ptr<Store>> open_sqlite_bench(const fs::path& folder, OpenMode mode,
                                                 const SqliteOptions& options) {
    std::error_code error;
    const auto status = fs::status(folder, error);
    if (fs::exists(status) && !fs::is_directory(status))
        return bad_input(fmt::format("{}: it is a file; the bench must be a folder", folder.string()));
    const fs::path file = folder / "bench.db";
    if (mode == OpenMode::existing && !fs::exists(file, error))
        return not_found(fmt::format("{}: there is no bench here; import a survey first, or give --bench DIR",
                                     folder.string()));
    if (mode == OpenMode::create) EYELET_TRY(make_folder(folder));

    const PhotographFiles files(folder / "photographs");
    EYELET_ASSIGN(auto database,
                  sqlite::Database::open(file, mode == OpenMode::create, options.busy_timeout_ms));
    // An empty database beside photographs is a bench that lost its database, not a new one.
    EYELET_ASSIGN(const std::int64_t pages, database->number("PRAGMA page_count"));
    if (pages == 0 && files.holds_any())
        return storage_error(fmt::format(
            "{}: the database is empty although there are photographs; restore the bench folder from a copy",
            file.string()));
    EYELET_TRY(turn_on_log(*database, options.busy_timeout_ms));
    EYELET_TRY(database->run_script(
        "PRAGMA foreign_keys = ON; PRAGMA synchronous = FULL; PRAGMA trusted_schema = OFF"));
    if (options.max_pages > 0) {
        EYELET_ASSIGN(const auto limit,
                      database->number(fmt::format("PRAGMA max_page_count = {}", options.max_pages)));
        (void)limit;
    }
    EYELET_TRY(migrate(*database, file.string()));
    files.sweep();
    return std::unique_ptr<Store>(std::make_unique<SqliteStore>(folder, std::move(database)));
}

}  // namespace eyelet
