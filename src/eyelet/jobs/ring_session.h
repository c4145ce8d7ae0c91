// Ringing out one job: asks for the next gesture, stores each answer before it is acknowledged, and can be
// taken up again at any time from the stored readings.
//
// Property: when answer() returns ok, its readings are in the journal and on disk; when it returns an error,
// nothing was stored and the same question stands.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <utility>
#include <variant>
#include <vector>

#include "eyelet/bench/store.h"

namespace eyelet {

struct RingOptions {
    std::optional<double> apart_mm;   // prove apart every two nets that come nearer than this
    double copper_below_ohm = 2.0;    // at or below: copper. Common practice is 1 to 5 ohm after lead resistance
    double open_above_ohm = 20.0;     // above: open. Between the two a reading is no proof
    double risk = 1e-3;               // expected mistakes in the whole map at which to stop
    std::string instrument;           // stored with each reading
    std::optional<double> lead_ohm;   // likewise: what was taken off already
    std::string board_state;
    Who who;
};

struct RingQuestion {
    GestureKind gesture = GestureKind::touch;
    JointIndex hold;
    std::vector<JointIndex> to;  // one joint for a touch; the row, in the needle's order, for a sweep
    Side side = Side::component; // where the moving needle works
    std::string why;             // one short sentence for the person
};

// What the person or the meter answered.
struct RingTouched {
    StoredSaid said;  // of the one pair
};
struct RingSwept {
    std::vector<std::pair<JointIndex, StoredSaid>> said;  // joints of the row that are not named read open
};
struct RingSkipped {
    std::string why;
};
using RingAnswer = std::variant<RingTouched, RingSwept, RingSkipped>;

struct RingState {
    std::size_t joints = 0;       // pads
    std::size_t nets = 0;         // as they stand
    std::size_t gestures = 0;     // answered and not withdrawn
    double seconds = 0;           // by the cost model
    double expected_mistakes = 0; // that remain, by the engine's belief
    bool proposals_confirmed = false;  // first milestone: every proposal is confirmed or refuted
    bool settled = false;              // second milestone: proven to the stated risk
    std::vector<std::string> unproven; // what stays unproven, one sentence each
    // Readings that cannot all be true, smallest set; empty where there is no contradiction.
    struct Contradiction {
        std::vector<EntryName> entries;
        std::string why;
        std::optional<RingQuestion> settle;  // the one touch that would settle it
    };
    std::vector<Contradiction> contradictions;
};

class RingSession {
  public:
    // REQUIRES: the store outlives the session. Refused where the job has no map to ring out.
    [[nodiscard]] static Result<std::unique_ptr<RingSession>> open(Store& store, const JobName& job,
                                                                   const RingOptions& options);
    virtual ~RingSession() = default;

    [[nodiscard]] virtual const Assembly& map() const = 0;
    [[nodiscard]] virtual const JobName& job() const = 0;

    // The gesture to make now; none when done. Stays the same until it is answered or the readings change.
    [[nodiscard]] virtual Result<std::optional<RingQuestion>> next() = 0;
    [[nodiscard]] virtual Status answer(const RingAnswer& answer) = 0;
    // A reading that the person took without being asked.
    [[nodiscard]] virtual Status volunteer(JointIndex from, JointIndex to, const StoredSaid& said) = 0;
    // Takes back the last gesture of this job.
    [[nodiscard]] virtual Result<Edit> undo() = 0;
    // Takes in what others changed in the journal or the map since (another process, another device).
    [[nodiscard]] virtual Status refresh() = 0;

    [[nodiscard]] virtual RingState state() const = 0;
    [[nodiscard]] virtual std::vector<Net> nets() const = 0;
    [[nodiscard]] virtual std::vector<Link> links() const = 0;  // with their standing after the readings
};

}  // namespace eyelet
