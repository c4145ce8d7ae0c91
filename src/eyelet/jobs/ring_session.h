// Ringing out one job: asks for the next gesture, stores each answer before it is acknowledged, and can be
// taken up again at any time from the stored readings.
//
// Properties:
//   1. When answer() or volunteer() returns ok, its readings are in the journal and on disk; when it returns
//   an
//      error, nothing was stored and the same gesture stands.
//   2. The readings of one gesture are one edit; undo() withdraws all of them.
//   3. A session opened again on the same job with the same options is in the same state.
// Lines of JSON for gestures and answers: exchange/ring_lines.h. Not safe to use from several threads at
// once.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "eyelet/bench/store.h"
#include "eyelet/ringout/ring_out.h"

namespace eyelet {

struct RingSessionOptions {
    RingOptions ring;                // the engine's own: thresholds, risk, apart_mm, costs
    std::string instrument;          // stored with each reading; may be empty
    std::optional<double> lead_ohm;  // likewise: what was taken off already
    std::string board_state;         // "out of the case, capacitors discharged"
    Who who;
};

// What photographs said need not be used: to see what they saved, or where they mislead.
enum class UseProposals { yes, no };

class RingSession {
  public:
    // REQUIRES: the store outlives the session.
    // Proposals that are out of date are used, and remarks() says so. Without any, every join must be
    // searched for.
    [[nodiscard]] static Result<std::unique_ptr<RingSession>> open(
        Store& store, const JobName& job, const RingSessionOptions& options,
        UseProposals proposals = UseProposals::yes);

    [[nodiscard]] const JobName& job() const { return job_; }
    [[nodiscard]] const Assembly& map() const { return map_; }
    [[nodiscard]] const std::vector<std::string>& remarks() const { return remarks_; }

    // The gesture to make now; none when everything is settled or nothing is left that can be asked. Stays
    // the same until it is answered or the journal changes; what other processes stored since is taken in
    // first.
    [[nodiscard]] Result<std::optional<Gesture>> next();
    // Answers the gesture that next() gave last.
    [[nodiscard]] Status answer(const Answer& answer);
    // A reading that the person took without being asked.
    [[nodiscard]] Status volunteer(JointIndex from, JointIndex to, const Said& said);
    // Takes back the last gesture of this job; refused where there is none.
    [[nodiscard]] Result<Edit> undo();

    // As of the last next(), answer(), volunteer(), undo() or refresh().
    [[nodiscard]] const RingState& state();
    [[nodiscard]] const Proposals& proposals() const { return proposals_; }  // as the photographs gave them
    [[nodiscard]] std::vector<Link>
    links();  // the proposals with their standing and belief after the readings
    // Journal entries of the readings that a contradiction names.
    [[nodiscard]] std::vector<EntryName> entries_of(const Contradiction& contradiction) const;

    // Takes in what others changed in the journal, the map or the proposals. True where anything changed.
    [[nodiscard]] Result<bool> refresh();

  private:
    RingSession(Store& store, JobName job, RingSessionOptions options, UseProposals use)
        : store_(store), job_(std::move(job)), options_(std::move(options)), use_(use) {}
    [[nodiscard]] Status rebuild();
    [[nodiscard]] ReadingEntry entry_for(JointIndex from, JointIndex to, StoredSaid said,
                                         GestureKind kind) const;

    Store& store_;
    JobName job_;
    RingSessionOptions options_;
    UseProposals use_;
    Assembly map_;
    Proposals proposals_;
    std::vector<std::string> remarks_;
    std::string proposals_made_at_;
    std::int64_t last_edit_ = 0;
    std::optional<RingOut> engine_;
    std::vector<EntryName> entries_;  // of each of the engine's readings, in its order
    std::optional<Gesture> asked_;
    std::optional<RingState> state_;
};

}  // namespace eyelet
