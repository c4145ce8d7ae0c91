// The store: everything a bench keeps about its jobs. An abstract interface, so that another database can
// stand beside the one in sqlite_store.cpp without an engine noticing.
//
// Properties that every implementation holds (store_test.cpp runs them over each):
//   1. Acknowledged means on disk: when a function that writes returns ok, what it wrote survives a power
//   cut.
//   2. Each call that writes is one transaction: it happens whole or not at all, whatever fails.
//   3. A journal entry is never deleted and never changed, only withdrawn and, by undo, taken back in.
//   4. Every edit (Edit::Kind) can be undone and redone; who did it, when and on which device stays on
//   record.
//   5. The map of an assembly is never changed in place: an edit makes a new version, and a job refers to
//   one.
//   6. What is derived (alignments, proposals) can be made again from the rest and is replaced without an
//   edit.
//   7. Several processes may hold one bench open at once, and several threads one store.
// Lengths are millimetres in the board's frame, pixels those of the photograph as stored, times UTC
// "2026-03-01T12:00:00.000Z". Errors: not_found for a name that is not there, bad_input for content that is
// wrong, refused for what a rule forbids, storage for the disk and the database. Nothing was changed then.
#pragma once

#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "eyelet/board/camera.h"
#include "eyelet/board/evidence.h"
#include "eyelet/board/map.h"
#include "eyelet/core/ids.h"
#include "eyelet/core/result.h"

namespace eyelet {

struct PhotographTag;
using PhotographName = Name<PhotographTag>;  // "P3", unique in the bench

// Who does something, and on which device.
struct Who {
    std::string person;  // may be empty
    std::string device;  // "command line", "page at 127.0.0.1"; never empty in the store
    friend bool operator==(const Who&, const Who&) = default;
};

// --- Photographs ------------------------------------------------------------------------------------

// A joint and the pixel at which a person saw it.
struct StoredTiePoint {
    JointName joint;
    Point pixel;
    friend bool operator==(const StoredTiePoint&, const StoredTiePoint&) = default;
};

// A photograph that comes in. Its bytes are stored as they are, whatever they hold: whoever brings it
// has decoded it first.
struct NewPhotograph {
    std::vector<std::byte> bytes;
    std::string file_name;   // as it came, for people
    std::string media_type;  // "image/jpeg"
    BoardName board;
    Side side = Side::component;
    int width_px = 0;
    int height_px = 0;
    std::vector<StoredTiePoint> tie_points;
};

struct Photograph {
    PhotographName name;
    std::string sha256;  // of the original bytes, 64 lower-case hexadecimal digits
    std::uint64_t byte_count = 0;
    std::string file_name;
    std::string media_type;
    BoardName board;
    Side side = Side::component;
    int width_px = 0;
    int height_px = 0;
    std::vector<StoredTiePoint> tie_points;
    EntryName entry;         // the journal entry that brought it
    bool withdrawn = false;  // with that entry
};

// How one photograph lies on its board, and how well.
struct StoredAlignment {
    PhotographName photograph;
    Camera camera;

    struct Misfit {
        JointName joint;
        double misfit_mm = 0;
        bool left_out = false;  // plainly wrong, and not used
        friend bool operator==(const Misfit&, const Misfit&) = default;
    };
    std::vector<Misfit> tie_points;
    std::optional<double> rms_mm;  // of the tie points used; none with four: they always fit
    std::optional<double> worst_mm;
    bool refined = false;  // rests on joints seen in the photograph, not on the clicks
    std::size_t joints_sought = 0;
    std::size_t joints_located = 0;
    std::optional<double> located_rms_mm;  // of the joints located, where refined
    std::optional<double> located_worst_mm;
    double limit_mm = 0;  // of the misfit: what the finest joint pitch can bear
    std::vector<std::string> remarks;
    std::string made_at;
    bool out_of_date = false;  // the tie points or the map changed since
};

// --- Jobs -------------------------------------------------------------------------------------------

// The form that import makes: an assembly's map, one unit of it, and the photographs.
struct NewJob {
    Assembly map;   // an assembly of this name and equal map is used again, an unequal one gets a new version
    UnitName unit;  // serial number; empty: one is made up ("unit 1")
    std::string complaint;
    std::string condition;  // under which the fault shows ("only when warm")
    std::vector<NewPhotograph> photographs;
};

struct Job {
    JobName name;  // "J1"
    std::string assembly;
    int map_version = 0;
    UnitName unit;
    std::string complaint;
    std::string condition;
    std::string opened_at;
    Who opened_by;
    std::int64_t last_edit = 0;  // counts edits, undos and redos: tells whether anything changed
};

struct MapVersion {
    int version = 0;
    Assembly map;
    std::string made_at;
    Who made_by;
    std::string what;  // one sentence: what was changed
};

enum class CopperTone { lighter, darker };  // than the bare laminate beside it, under the mask
[[nodiscard]] const char* name_of(CopperTone tone);
[[nodiscard]] std::optional<CopperTone> copper_tone_from_name(const std::string& name);

// A person's word on which tone is copper on one side of one board.
struct ToneSettled {
    BoardName board;
    Side side = Side::component;
    CopperTone tone = CopperTone::lighter;
    friend bool operator==(const ToneSettled&, const ToneSettled&) = default;
};

// What photographs proposed for a job, with remarks for the person ("solder side: not sure which tone is
// copper").
struct StoredProposals {
    Proposals proposals;
    std::vector<std::string> remarks;
    struct Tone {
        BoardName board;
        Side side = Side::component;
        CopperTone tone = CopperTone::lighter;
        double sure = 0;  // probability that it is the right one; 1 where a person settled it
        friend bool operator==(const Tone&, const Tone&) = default;
    };
    std::vector<Tone> tones;
    std::string made_at;
    bool out_of_date = false;  // an alignment, the map or a tone changed since
};

// --- The journal ------------------------------------------------------------------------------------

// Not measured is neither open nor zero: the gesture was asked for and could not be made.
struct NotMeasured {
    std::string why;  // "cannot reach"
    JointName joint;  // the one that could not be reached; empty: it was not said which
    friend bool operator==(const NotMeasured&, const NotMeasured&) = default;
};
using StoredSaid = std::variant<NotMeasured, Ohms, Open, Beep>;

enum class GestureKind { touch, sweep };

// One pair of joints, as the meter and the person left it.
struct ReadingEntry {
    JointName from;  // the held probe
    JointName to;    // the moving probe
    StoredSaid said;
    GestureKind gesture = GestureKind::touch;  // readings of one sweep come in one edit
    std::string instrument;                    // may be empty: not told
    std::optional<double> lead_ohm;            // taken off; none: not told, nothing taken off
    std::optional<double> copper_below_ohm;    // at or below it is copper
    std::optional<double> open_above_ohm;      // above it is open; between the two is not proof
    std::string board_state;                   // "out of the case, capacitors discharged"; may be empty
    friend bool operator==(const ReadingEntry&, const ReadingEntry&) = default;
};

// Where on the assembly something is. Give what is known.
struct Place {
    BoardName board;
    std::optional<Side> side;
    std::optional<Point> point_mm;
    std::vector<JointName> joints;
    std::vector<PartName> parts;
    friend bool operator==(const Place&, const Place&) = default;
};

// Damage or ageing seen. `what` is one of finding_kinds().
struct FindingEntry {
    std::string what;
    Place place;
    std::string text;
    friend bool operator==(const FindingEntry&, const FindingEntry&) = default;
};

// What was done. `what` is one of work_kinds().
struct WorkEntry {
    std::string what;
    Place place;
    std::string text;
    friend bool operator==(const WorkEntry&, const WorkEntry&) = default;
};

struct NoteEntry {
    std::string text;
    friend bool operator==(const NoteEntry&, const NoteEntry&) = default;
};

struct PhotographEntry {
    PhotographName photograph;
    friend bool operator==(const PhotographEntry&, const PhotographEntry&) = default;
};

// Running the unit under the condition that brought the fault on.
struct TrialEntry {
    std::string condition;
    double minutes = 0;
    int recurrences = 0;
    std::string text;
    friend bool operator==(const TrialEntry&, const TrialEntry&) = default;
};

using EntryBody = std::variant<ReadingEntry, FindingEntry, WorkEntry, NoteEntry, PhotographEntry, TrialEntry>;
enum class EntryKind { reading, finding, work, note, photograph, trial };  // in the order of EntryBody
[[nodiscard]] EntryKind kind_of(const EntryBody& body);
[[nodiscard]] const char* name_of(EntryKind kind);
[[nodiscard]] std::optional<EntryKind> entry_kind_from_name(const std::string& name);

[[nodiscard]] const std::vector<std::string>& finding_kinds();  // leaked, bulged, corroded, lifted pad, ...
[[nodiscard]] const std::vector<std::string>& work_kinds();     // removed, cleaned, resoldered, ...

struct Entry {
    EntryName name;  // "E12", unique in the bench, in the order of time
    EntryBody body;
    std::string at;
    Who who;
    std::int64_t edit = 0;  // entries of one gesture share it
    bool withdrawn = false;
    std::string withdrawn_at;
    Who withdrawn_by;
    std::string withdrawn_why;
};

// --- Edits ------------------------------------------------------------------------------------------

struct Edit {
    enum class Kind {
        entries_added,
        entries_withdrawn,
        map_edited,
        tie_points_set,
        tone_settled,
        job_described
    };
    std::int64_t number = 0;
    Kind kind = Kind::entries_added;
    std::string what;  // one short sentence for the person: "3 readings from U1.3"
    std::string at;
    Who who;
    bool undone = false;
    std::vector<EntryName> entries;  // that were added or withdrawn by it
};
[[nodiscard]] const char* name_of(Edit::Kind kind);

// Which edits an undo looks at: the ring-out's own undo takes back the last readings even where a note came
// after.
enum class UndoScope { all, readings };

// --- The interface ----------------------------------------------------------------------------------

class Store {
  public:
    virtual ~Store() = default;

    // Jobs. `add_job` stores map, unit, job and photographs in one transaction.
    [[nodiscard]] virtual Result<Job> add_job(const NewJob& job, const Who& who) = 0;
    [[nodiscard]] virtual Result<std::vector<Job>> jobs() = 0;
    [[nodiscard]] virtual Result<Job> job(const JobName& job) = 0;
    [[nodiscard]] virtual Status describe_job(const JobName& job, const std::string& complaint,
                                              const std::string& condition, const Who& who) = 0;

    // The map that a job refers to; an edit makes a new version, which this job refers to from then on.
    [[nodiscard]] virtual Result<MapVersion> map(const JobName& job) = 0;
    [[nodiscard]] virtual Result<std::vector<MapVersion>> map_versions(const JobName& job) = 0;
    [[nodiscard]] virtual Result<int> edit_map(const JobName& job, const Assembly& changed,
                                               const std::string& what, const Who& who) = 0;

    // Photographs of a job, withdrawn ones among them.
    [[nodiscard]] virtual Result<std::vector<Photograph>> photographs(const JobName& job) = 0;
    [[nodiscard]] virtual Result<Photograph> add_photograph(const JobName& job,
                                                            const NewPhotograph& photograph,
                                                            const Who& who) = 0;
    [[nodiscard]] virtual Status set_tie_points(const PhotographName& photograph,
                                                const std::vector<StoredTiePoint>& tie_points,
                                                const Who& who) = 0;
    // The original bytes; an error where the file is gone or no longer what its hash says.
    [[nodiscard]] virtual Result<std::vector<std::byte>> photograph_bytes(
        const PhotographName& photograph) = 0;
    [[nodiscard]] virtual Status settle_tone(const JobName& job, const ToneSettled& settled,
                                             const Who& who) = 0;
    [[nodiscard]] virtual Result<std::vector<ToneSettled>> tones_settled(const JobName& job) = 0;

    // Derived from photographs; kept so that they need not be made again. Keeping replaces what was there.
    [[nodiscard]] virtual Status keep_alignments(const JobName& job,
                                                 const std::vector<StoredAlignment>& alignments) = 0;
    [[nodiscard]] virtual Result<std::vector<StoredAlignment>> alignments(const JobName& job) = 0;
    [[nodiscard]] virtual Status keep_proposals(const JobName& job, const StoredProposals& proposals) = 0;
    [[nodiscard]] virtual Result<std::optional<StoredProposals>> proposals(const JobName& job) = 0;
    // When they were made; empty: there are none. Cheap, to ask whether anything changed.
    [[nodiscard]] virtual Result<std::string> proposals_made_at(const JobName& job) = 0;

    // The journal. The entries of one call are one edit. A photograph's entry comes by add_photograph only.
    [[nodiscard]] virtual Result<std::vector<EntryName>> add_entries(const JobName& job,
                                                                     const std::vector<EntryBody>& bodies,
                                                                     const Who& who) = 0;
    [[nodiscard]] virtual Result<std::vector<Entry>> journal(const JobName& job) = 0;
    // Only the entries of one kind, in the order of time.
    [[nodiscard]] virtual Result<std::vector<Entry>> journal(const JobName& job, EntryKind kind) = 0;
    [[nodiscard]] virtual Status withdraw(const JobName& job, const std::vector<EntryName>& entries,
                                          const std::string& why, const Who& who) = 0;

    // Undo takes back the last edit that is not undone; redo the undo before it, unless a new edit came
    // since.
    [[nodiscard]] virtual Result<Edit> undo(const JobName& job, const Who& who,
                                            UndoScope scope = UndoScope::all) = 0;
    [[nodiscard]] virtual Result<Edit> redo(const JobName& job, const Who& who) = 0;
    [[nodiscard]] virtual Result<std::vector<Edit>> edits(const JobName& job) = 0;

    // Where derived picture tiles may be written; whoever deletes it loses nothing.
    [[nodiscard]] virtual std::filesystem::path tiles_folder() const = 0;
};

// A short name (32 hexadecimal digits) for a text, the same everywhere; for folders of derived things.
[[nodiscard]] std::string content_name(const std::string& text);

// The bench folder: `asked` (--bench) if it is there, else EYELET_BENCH, else eyelet/ in the platform's data
// folder (XDG_DATA_HOME, or ~/.local/share). An error where none of them is known.
[[nodiscard]] Result<std::filesystem::path> bench_folder(const std::optional<std::filesystem::path>& asked);

// Opens the bench in `folder`, making it where it is not there yet. `create` tells whether the folder itself
// may be made: a command that only reads refuses a folder that is not there.
enum class OpenMode { create, existing };
[[nodiscard]] Result<std::unique_ptr<Store>> open_bench(const std::filesystem::path& folder,
                                                        OpenMode mode = OpenMode::create);

}  // namespace eyelet
