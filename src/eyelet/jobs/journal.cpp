#include "eyelet/jobs/journal.h"

#include <fmt/format.h>

namespace eyelet {

namespace {

Status check_place(Store& store, const JobName& job, const Place& place) {
    EYELET_ASSIGN(const MapVersion version, store.map(job));
    const Assembly& map = version.map;
    if (!place.board.empty() && !map.find_board(place.board).valid())
        return bad_input(
            fmt::format("board {}: the assembly {} has no such board", place.board.text(), map.name));
    if (place.point_mm) {
        if (place.board.empty() && map.boards.size() != 1)
            return bad_input("a place in millimetres needs its board, because the assembly has several");
        if (!place.side) return bad_input("a place in millimetres needs its side");
    }
    for (const JointName& joint : place.joints)
        if (!map.find_joint(joint).valid())
            return bad_input(
                fmt::format("joint {}: the assembly {} has no such joint", joint.text(), map.name));
    for (const PartName& part : place.parts) {
        bool found = false;
        for (const Part& one : map.parts)
            found = found ||
                    (one.name == part && (place.board.empty() || map.board(one.board).name == place.board));
        if (!found)
            return bad_input(fmt::format("part {}: the assembly {} has no such part", part.text(), map.name));
    }
    return {};
}

Result<EntryName> add_one(Store& store, const JobName& job, const EntryBody& body, const Who& who) {
    EYELET_ASSIGN(const auto names, store.add_entries(job, {body}, who));
    return names.front();
}

}  // namespace

Result<std::vector<Job>> jobs_list(Store& store) {
    return store.jobs();
}
Result<std::vector<Entry>> journal_of(Store& store, const JobName& job) {
    return store.journal(job);
}

Result<EntryName> add_finding(Store& store, const JobName& job, const FindingEntry& finding, const Who& who) {
    EYELET_TRY(check_place(store, job, finding.place));
    return add_one(store, job, finding, who);
}

Result<EntryName> add_work(Store& store, const JobName& job, const WorkEntry& work, const Who& who) {
    EYELET_TRY(check_place(store, job, work.place));
    return add_one(store, job, work, who);
}

Result<EntryName> add_note(Store& store, const JobName& job, const NoteEntry& note, const Who& who) {
    return add_one(store, job, note, who);
}

Result<EntryName> add_trial(Store& store, const JobName& job, const TrialEntry& trial, const Who& who) {
    return add_one(store, job, trial, who);
}

Status withdraw_entry(Store& store, const JobName& job, const EntryName& entry, const std::string& why,
                      const Who& who) {
    return store.withdraw(job, {entry}, why, who);
}

Result<Edit> undo_edit(Store& store, const JobName& job, const Who& who) {
    return store.undo(job, who);
}
Result<Edit> redo_edit(Store& store, const JobName& job, const Who& who) {
    return store.redo(job, who);
}

}  // namespace eyelet
