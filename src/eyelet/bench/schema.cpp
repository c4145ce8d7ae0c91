#include "eyelet/bench/schema.h"

#include <fmt/format.h>

#include <array>

namespace eyelet {

namespace {

// "eyel": says whose database it is (the file(1) magic of SQLite's application_id).
constexpr std::int64_t kApplicationId = 0x6579656c;

// Migrations are only ever added. From the second on, tests/ keeps a database of each older schema.
//
// Why it looks as it does: names of joints, parts and boards are text, because they belong to a version of
// the map and outlive it in the journal. A map is one document per version, because it is read and written
// whole. Readings have columns, because they are what everything rests on. Triggers hold the journal's
// promise even against a mistake of ours: no entry is ever deleted, and of an entry only `withdrawn` ever
// changes.
constexpr const char* kMigration1 = R"sql(
CREATE TABLE assemblies (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    name TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE map_versions (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    assembly INTEGER NOT NULL REFERENCES assemblies (id),
    version INTEGER NOT NULL CHECK (version >= 1),
    map TEXT NOT NULL,
    what TEXT NOT NULL,
    at TEXT NOT NULL,
    person TEXT NOT NULL,
    device TEXT NOT NULL,
    UNIQUE (assembly, version)
) STRICT;

CREATE TABLE units (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    assembly INTEGER NOT NULL REFERENCES assemblies (id),
    serial TEXT NOT NULL CHECK (serial <> ''),
    UNIQUE (assembly, serial)
) STRICT;

CREATE TABLE jobs (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    unit INTEGER NOT NULL REFERENCES units (id),
    map_version INTEGER NOT NULL REFERENCES map_versions (id),
    complaint TEXT NOT NULL,
    condition TEXT NOT NULL,
    opened_at TEXT NOT NULL,
    person TEXT NOT NULL,
    device TEXT NOT NULL
) STRICT;

-- `before` and `after` say what an edit changed where it added no entries; `undone_order` grows with each undo.
CREATE TABLE edits (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    job INTEGER NOT NULL REFERENCES jobs (id),
    kind TEXT NOT NULL,
    what TEXT NOT NULL,
    of_readings INTEGER NOT NULL CHECK (of_readings IN (0, 1)),
    before TEXT,
    after TEXT,
    state TEXT NOT NULL CHECK (state IN ('done', 'undone', 'lapsed')),
    undone_order INTEGER
) STRICT;
CREATE INDEX edits_of_job ON edits (job, state, id);

-- Every doing, undoing and redoing of an edit, and who did it.
CREATE TABLE edit_log (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    edit INTEGER NOT NULL REFERENCES edits (id),
    job INTEGER NOT NULL REFERENCES jobs (id),
    action TEXT NOT NULL CHECK (action IN ('do', 'undo', 'redo')),
    at TEXT NOT NULL,
    person TEXT NOT NULL,
    device TEXT NOT NULL CHECK (device <> '')
) STRICT;
CREATE INDEX edit_log_of_job ON edit_log (job, id);
CREATE INDEX edit_log_of_edit ON edit_log (edit, id);

CREATE TABLE entries (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    job INTEGER NOT NULL REFERENCES jobs (id),
    edit INTEGER NOT NULL REFERENCES edits (id),
    kind TEXT NOT NULL CHECK (kind IN ('reading', 'finding', 'work', 'note', 'photograph', 'trial')),
    what TEXT,
    text TEXT,
    withdrawn INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1))
) STRICT;
CREATE INDEX entries_of_job ON entries (job, kind, id);

-- The entries that an edit added or withdrew.
CREATE TABLE edit_entries (
    edit INTEGER NOT NULL REFERENCES edits (id),
    entry INTEGER NOT NULL REFERENCES entries (id),
    PRIMARY KEY (edit, entry)
) STRICT, WITHOUT ROWID;

-- Each time that an entry was withdrawn or taken back in. The log row says who and when.
CREATE TABLE entry_changes (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    entry INTEGER NOT NULL REFERENCES entries (id),
    log INTEGER NOT NULL REFERENCES edit_log (id),
    withdrawn INTEGER NOT NULL CHECK (withdrawn IN (0, 1)),
    why TEXT NOT NULL
) STRICT;
CREATE INDEX entry_changes_of_entry ON entry_changes (entry, id);

-- Not measured, open, beep and a value are four different things; only a value has ohms.
CREATE TABLE readings (
    entry INTEGER PRIMARY KEY REFERENCES entries (id),
    from_joint TEXT NOT NULL CHECK (from_joint <> ''),
    to_joint TEXT NOT NULL CHECK (to_joint <> '' AND to_joint <> from_joint),
    said TEXT NOT NULL CHECK (said IN ('ohms', 'open', 'beep', 'not measured')),
    ohm REAL CHECK ((said = 'ohms') = (ohm IS NOT NULL)),
    why TEXT CHECK ((said = 'not measured') = (why IS NOT NULL)),
    unreached TEXT CHECK ((said = 'not measured') = (unreached IS NOT NULL)),
    gesture TEXT NOT NULL CHECK (gesture IN ('touch', 'sweep')),
    instrument TEXT NOT NULL,
    lead_ohm REAL,
    copper_below_ohm REAL,
    open_above_ohm REAL,
    board_state TEXT NOT NULL
) STRICT;

CREATE TABLE entry_places (
    entry INTEGER PRIMARY KEY REFERENCES entries (id),
    board TEXT NOT NULL,
    side TEXT CHECK (side IN ('top', 'bottom')),
    x_mm REAL,
    y_mm REAL CHECK ((x_mm IS NULL) = (y_mm IS NULL))
) STRICT;
CREATE TABLE entry_joints (
    entry INTEGER NOT NULL REFERENCES entries (id),
    place INTEGER NOT NULL,
    joint TEXT NOT NULL CHECK (joint <> ''),
    PRIMARY KEY (entry, place)
) STRICT, WITHOUT ROWID;
CREATE TABLE entry_parts (
    entry INTEGER NOT NULL REFERENCES entries (id),
    place INTEGER NOT NULL,
    part TEXT NOT NULL CHECK (part <> ''),
    PRIMARY KEY (entry, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE trials (
    entry INTEGER PRIMARY KEY REFERENCES entries (id),
    condition TEXT NOT NULL,
    minutes REAL NOT NULL CHECK (minutes >= 0),
    recurrences INTEGER NOT NULL CHECK (recurrences >= 0)
) STRICT;

CREATE TABLE photographs (
    id INTEGER PRIMARY KEY AUTOINCREMENT,
    job INTEGER NOT NULL REFERENCES jobs (id),
    entry INTEGER NOT NULL UNIQUE REFERENCES entries (id),
    sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
    byte_count INTEGER NOT NULL CHECK (byte_count > 0),
    file_name TEXT NOT NULL,
    media_type TEXT NOT NULL,
    board TEXT NOT NULL,
    side TEXT NOT NULL CHECK (side IN ('top', 'bottom')),
    width_px INTEGER NOT NULL CHECK (width_px > 0),
    height_px INTEGER NOT NULL CHECK (height_px > 0),
    tie_revision INTEGER NOT NULL
) STRICT;
CREATE INDEX photographs_of_job ON photographs (job, id);

-- Tie points are kept by revision, so that an undo can return to an older one.
CREATE TABLE tie_points (
    photograph INTEGER NOT NULL REFERENCES photographs (id),
    revision INTEGER NOT NULL,
    place INTEGER NOT NULL,
    joint TEXT NOT NULL CHECK (joint <> ''),
    u_px REAL NOT NULL,
    v_px REAL NOT NULL,
    PRIMARY KEY (photograph, revision, place)
) STRICT, WITHOUT ROWID;

CREATE TABLE tones (
    job INTEGER NOT NULL REFERENCES jobs (id),
    board TEXT NOT NULL,
    side TEXT NOT NULL CHECK (side IN ('top', 'bottom')),
    tone TEXT NOT NULL CHECK (tone IN ('lighter', 'darker')),
    PRIMARY KEY (job, board, side)
) STRICT, WITHOUT ROWID;

-- Derived, and made again when `basis` no longer matches what it was made from.
CREATE TABLE alignments (
    photograph INTEGER PRIMARY KEY REFERENCES photographs (id),
    document TEXT NOT NULL,
    made_at TEXT NOT NULL,
    basis TEXT NOT NULL
) STRICT;
CREATE TABLE proposals (
    job INTEGER PRIMARY KEY REFERENCES jobs (id),
    document TEXT NOT NULL,
    made_at TEXT NOT NULL,
    basis TEXT NOT NULL
) STRICT;

CREATE TRIGGER entries_stay BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'a journal entry is never deleted, only withdrawn'); END;
CREATE TRIGGER entries_keep_their_content BEFORE UPDATE OF id, job, edit, kind, what, text ON entries
BEGIN SELECT RAISE(ABORT, 'a journal entry is never changed, only withdrawn'); END;
CREATE TRIGGER readings_stay BEFORE DELETE ON readings
BEGIN SELECT RAISE(ABORT, 'a reading is never deleted, only withdrawn'); END;
CREATE TRIGGER readings_keep_their_content BEFORE UPDATE ON readings
BEGIN SELECT RAISE(ABORT, 'a reading is never changed, only withdrawn'); END;
CREATE TRIGGER maps_stay BEFORE DELETE ON map_versions
BEGIN SELECT RAISE(ABORT, 'a version of a map is never deleted'); END;
CREATE TRIGGER maps_keep_their_content BEFORE UPDATE ON map_versions
BEGIN SELECT RAISE(ABORT, 'a version of a map is never changed; make a new one'); END;
)sql";

constexpr std::array kMigrations{kMigration1};

}  // namespace

int newest_schema() {
    return static_cast<int>(kMigrations.size());
}

Status migrate(sqlite::Database& database, const std::string& file) {
    const auto schema_of = [&]() -> Result<int> {
        EYELET_ASSIGN(const std::int64_t version, database.number("PRAGMA user_version"));
        EYELET_ASSIGN(const std::int64_t application, database.number("PRAGMA application_id"));
        EYELET_ASSIGN(const std::int64_t tables, database.number("SELECT count(*) FROM sqlite_schema"));
        if (tables > 0 && application != kApplicationId)
            return refused(
                fmt::format("{}: it is the database of another program; choose another bench folder", file));
        if (version > newest_schema())
            return refused(
                fmt::format("{}: a newer version of this program wrote it (schema {}, this program knows up "
                            "to {}); update the program",
                            file, version, newest_schema()));
        return static_cast<int>(version);
    };
    EYELET_ASSIGN(const int seen, schema_of());
    if (seen == newest_schema()) return {};
    EYELET_ASSIGN(auto transaction, sqlite::Transaction::begin(database, sqlite::Transaction::Kind::write));
    // Another process may have migrated it while this one waited for the lock.
    EYELET_ASSIGN(const int schema, schema_of());
    for (std::size_t i = static_cast<std::size_t>(schema); i < kMigrations.size(); ++i)
        EYELET_TRY(database.run_script(kMigrations[i]));
    EYELET_TRY(database.run_script(fmt::format("PRAGMA application_id = {}; PRAGMA user_version = {}",
                                               kApplicationId, newest_schema())));
    return transaction.commit();
}

}  // namespace eyelet
