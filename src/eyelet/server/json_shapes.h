// What the server's answers look like: plain values to the JSON that openapi.json describes. Pure functions.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "eyelet/bench/store.h"
#include "eyelet/jobs/align.h"
#include "eyelet/jobs/ring_session.h"
#include "eyelet/jobs/tiles.h"

namespace eyelet::shapes {

using Json = nlohmann::json;

[[nodiscard]] Json point(Point p);

// RFC 9457 problem details.
[[nodiscard]] Json problem(int status, const std::string& title, const std::string& detail);

[[nodiscard]] Json job_summary(const Job& job, const Assembly& map, std::size_t readings);

// All that a job's page needs to know before it asks for more.
struct JobFacts {
    Job job;
    const Assembly& map;
    std::vector<Photograph> photographs;       // withdrawn ones among them: they are left out
    std::vector<StoredAlignment> alignments;
    std::optional<StoredProposals> proposals;
    std::size_t readings = 0;                  // not withdrawn
};
[[nodiscard]] Json job(const JobFacts& facts);

[[nodiscard]] Json map(const Assembly& map);
[[nodiscard]] Json pyramid(const TilePyramid& tiles);

[[nodiscard]] Json alignment(const Assembly& map, const std::vector<Photograph>& photographs,
                             const std::vector<StoredAlignment>& alignments, const std::vector<std::string>& remarks);

// As follow stored it, also when nothing was followed yet.
[[nodiscard]] Json follow_summary(const Assembly& map, const StoredProposals& proposals,
                                  const std::vector<ToneSettled>& settled);

[[nodiscard]] Json links(const Assembly& map, const std::vector<Link>& links);
[[nodiscard]] Json nets(const Assembly& map, const std::vector<Net>& nets);

// `id` is question_id() of the same gesture.
[[nodiscard]] Json question(const Assembly& map, const Gesture& gesture, const std::string& id);
// A short text that names this question at this state of the journal: an answer that carries it can land on no other.
[[nodiscard]] std::string question_id(const Assembly& map, const Gesture& gesture, std::size_t gestures, std::size_t readings);

struct RingFacts {
    const Assembly& map;
    std::optional<Gesture> asked;
    const RingState& state;
    double risk = 0;
    std::vector<std::vector<EntryName>> contradiction_entries;  // beside state.contradictions
    std::vector<std::string> remarks;
};
[[nodiscard]] Json ring_state(const RingFacts& facts);
[[nodiscard]] std::vector<std::string> unproven_in_words(const Assembly& map, const RingState& state);

// `edits` tell what undo would take back and redo bring back.
[[nodiscard]] Json journal(const std::vector<Entry>& entries, const std::vector<Edit>& edits);
[[nodiscard]] Json entry(const Entry& entry);
[[nodiscard]] std::string entry_in_words(const Entry& entry);

}  // namespace eyelet::shapes
