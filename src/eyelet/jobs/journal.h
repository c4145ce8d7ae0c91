// The journal of a job, and what can be entered by hand. Everything here checks that joints, parts and boards
// that are named exist in the job's map, before anything is stored.
#pragma once

#include <string>
#include <vector>

#include "eyelet/bench/store.h"

namespace eyelet {

[[nodiscard]] Result<std::vector<Job>> jobs_list(Store& store);
[[nodiscard]] Result<std::vector<Entry>> journal_of(Store& store, const JobName& job);

[[nodiscard]] Result<EntryName> add_finding(Store& store, const JobName& job, const FindingEntry& finding,
                                            const Who& who);
[[nodiscard]] Result<EntryName> add_work(Store& store, const JobName& job, const WorkEntry& work,
                                         const Who& who);
[[nodiscard]] Result<EntryName> add_note(Store& store, const JobName& job, const NoteEntry& note,
                                         const Who& who);
[[nodiscard]] Result<EntryName> add_trial(Store& store, const JobName& job, const TrialEntry& trial,
                                          const Who& who);

// Withdraws one entry; a reading of a sweep goes alone.
[[nodiscard]] Status withdraw_entry(Store& store, const JobName& job, const EntryName& entry,
                                    const std::string& why, const Who& who);
[[nodiscard]] Result<Edit> undo_edit(Store& store, const JobName& job, const Who& who);
[[nodiscard]] Result<Edit> redo_edit(Store& store, const JobName& job, const Who& who);

}  // namespace eyelet
