// Ring-out: from proposed links and a meter to a proven map, by the gestures that settle most per second.
//
// The engine holds a belief over which joints share a net. It asks for one gesture at a time:
//   touch: one probe is held on a joint, the other is put on one joint;
//   sweep: one probe is held, the other is drawn along joints in one straight row on one side of a board.
// It does no I/O. Whoever stands above stores what `answer()` returned; an engine built again from the same
// assembly, proposals, options, readings and skips is in the same state and asks the same next gesture.
//
// Properties:
//   1. Joined is proven only by readings: two joints share a net in the result when a chain of readings below
//      `copper_below_ohm` ties them (one reading per step, not outvoted by opens on the same two joints), or,
//      for joints that could not be reached, when a proposal makes it likelier than not (standing: proposed).
//   2. Apart is proven by an open reading between the two nets, and otherwise only presumed.
//   3. A withdrawn reading has no effect: the state equals that of an engine which never saw it.
//   4. The order of readings does not change nets, standings, or (to rounding) the expected mistakes.
//   5. Vias are never asked for and never counted; they carry copper from side to side.
//
// Belief. A pair of nets is joined with the probability of the best chain of proposed links between them, each link
// weakened by the opens read across it, or by a link that nobody saw: such links run from joint to joint with an intensity
// that comes from the joints' leads and a heavy-tailed kernel of distance (belief.h has the formulas). A lead that found
// its partner is used up, one whose likely partners all read open points harder at the others, and what readings show of
// this board's links and leads corrects the rest of them. An open multiplies the odds of "joined" by `contact_miss`, so
// plain copper that reads open is asked again by itself. Score of a gesture: expected new joins over (1 + 0.1 x seconds);
// the best stretch of a row is a maximum-ratio subarray. The end: expected mistakes that remain are at most `risk`.
//
// Cost: 20 to 60 us for each net that could be held; on a large board with plain copper left to confirm only the most
// promising nets are looked at. Memory is linear in joints, links and readings.
#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "eyelet/board/evidence.h"
#include "eyelet/board/map.h"
#include "eyelet/core/result.h"

namespace eyelet {

// Seconds of the operator's time. Common practice for a person with two needle probes at a bench.
struct ProbeCosts {
    double place_held_s = 2.0;      // find the joint for the held probe and settle on it
    double place_moving_s = 1.5;    // find the first joint for the moving probe, read the meter
    double sweep_joint_s = 0.4;     // each joint drawn over
    double travel_s_per_mm = 0.01;  // either probe, from where it was
    double flip_s = 6.0;            // turn the board over, or go to another board
};

enum class BeepMeans {
    copper,   // the meter's tone is taken as copper; the state says that this was assumed
    nothing,  // a beep is not proof: it is kept, but settles nothing
};

// How far photographs may be trusted to have shown everything. A guess that is too trusting leaves mistakes that
// nobody asks about; one that is too careful costs gestures.
struct UnseenPrior {
    double lead_omitted = 0.01;     // share of the ends of unseen links that carry no lead
    double missed_at_least = 5e-5;  // a pad with an unseen link and no lead, where there are hardly any leads
    double alone_factor = 5;        // the same, times this, for a pad that no proposal joins to anything,
    double joined_factor = 0.5;     // and times this for the others
    double second_link = 0.15;      // a lead that found its partner has another
    double dark = 0.9;              // a pad has unseen links where there was no photograph at all,
    double dark_second = 0.6;       // and this many more
    double scale_mm = 20.0;         // of the kernel K: its density falls as the square of the distance beyond this
};

struct RingOptions {
    double copper_below_ohm = 1.0;    // after lead resistance is taken off; 0.5 to 1 is common practice
    double open_above_ohm = 1e6;      // at or above this a value counts as open; between the two is not proof
    BeepMeans beep = BeepMeans::copper;  // makers' tones stop anywhere from 20 to 70 ohm: see the meter's manual
    double risk = 0.0015;             // expected mistakes (joins not found) in the whole map at which to stop; the belief
                                      // in hidden links runs low on populated boards, so this is set with room
    double contact_miss = 0.015;      // share of readings on joined pairs that read open, 0.0001 to 0.2
    std::optional<double> apart_mm;   // prove apart every two nets that come nearer than this
    double cable_probability = 0.95;  // that a cable's conductor joins its two joints, where no link says it
    double sweep_gap_mm = 5.08;       // neighbours in a sweep are no farther apart than this
    ProbeCosts costs;
    UnseenPrior unseen;

    [[nodiscard]] Status validate() const;  // names the option that is out of range
};

struct Gesture {
    enum class Kind { touch, sweep } kind = Kind::touch;
    // Why the engine asks, for those who count; `why` is for the person.
    enum class Purpose { proposal, again, hidden, search, contradiction, apart } purpose = Purpose::proposal;
    JointIndex hold;
    std::vector<JointIndex> along;   // the one joint of a touch, or the joints of a sweep in the order drawn
    Side hold_side = Side::component;   // where each probe goes (on its joint's board)
    Side along_side = Side::component;
    std::string why;
    double seconds = 0;         // by the cost model, from where the probes are now
    double expected_joins = 0;  // of joints that were not tied together before

    [[nodiscard]] JointIndex to() const { return along.front(); }
    friend bool operator==(const Gesture&, const Gesture&) = default;
};

struct TouchAnswer {
    Said said;
};
struct SweepAnswer {
    std::vector<Said> said;  // one for each joint of the sweep, in its order
};
struct SkipAnswer {
    std::string reason;
    JointIndex joint;  // the one that cannot be reached; invalid: it was not said which
};
using Answer = std::variant<TouchAnswer, SweepAnswer, SkipAnswer>;

// A gesture that could not be made. Stored beside the readings, so that it is not asked again.
struct Skip {
    EntryName entry;
    JointIndex hold;
    std::vector<JointIndex> along;
    JointIndex joint;
    std::string reason;
    bool withdrawn = false;
};

// What one answer yielded, to be stored: readings, or a skip.
struct Answered {
    std::vector<Reading> readings;
    std::optional<Skip> skip;
};

enum class JointStanding {
    proposed,     // its place rests on photographs
    tied,         // tied by readings to the joints of its net, more may be missing
    proven,       // tied by readings (or read open against others, where it stands alone), and settled
    presumed,     // alone: copper plainly ends in the photographs, no reading was needed or made
    unreachable,  // a probe could not reach it
};
[[nodiscard]] const char* name_of(JointStanding standing);

struct JointState {
    JointStanding standing = JointStanding::proposed;
    std::size_t net = 0;     // in RingState::nets; not meaningful for a via
    bool by_beep = false;    // some step of its chain is a beep that was taken as copper
    bool answered = false;   // it has once read as copper: its contact is known to be good
    double doubt = 0;        // probability that its net lacks a join here
    std::string why;         // one short sentence
};

enum class ApartStanding { proven, presumed };

// Readings that cannot all be true, the fewest of them, and the touch that would settle it.
struct Contradiction {
    std::vector<std::size_t> readings;  // places in readings()
    JointIndex hold;
    JointIndex to;
    std::string why;
};

// Two joints asked in vain: every reading between them was neither copper nor open.
struct Unsettled {
    JointIndex from;
    JointIndex to;
    std::string why;
};

struct RingCounts {
    std::size_t joints = 0;      // pads
    std::size_t nets = 0;        // that hold a pad
    std::size_t gestures = 0;    // answered, a sweep being one, skips not counted
    std::size_t touches = 0;
    std::size_t sweeps = 0;
    std::size_t readings = 0;    // not withdrawn
    std::size_t links_proposed = 0;
    std::size_t links_proven = 0;
    std::size_t links_refuted = 0;
    std::size_t joints_proven = 0;
    std::size_t joints_unproven = 0;   // unreachable, or still resting on photographs
    std::size_t apart_proven = 0;      // pairs of neighbouring nets
    std::size_t apart_presumed = 0;
    double seconds = 0;                // by the cost model
};

struct RingState {
    std::vector<Net> nets;             // every pad in exactly one; largest first, then by name
    std::vector<JointState> joints;    // beside Assembly::joints
    std::vector<Standing> links;       // beside Proposals::links
    std::vector<double> link_beliefs;  // probability of each link now
    std::vector<Contradiction> contradictions;
    std::vector<Unsettled> unsettled;
    RingCounts counts;
    double expected_mistakes = 0;      // joins that may still be missing, summed over all pairs of nets
    bool proposals_confirmed = false;  // first milestone: every likely proposal was confirmed or refuted
    bool settled = false;              // second milestone: proven to the stated risk
    bool beep_assumed = false;         // some proof rests on a beep
};

class RingOut {
  public:
    // REQUIRES: check(assembly) holds; links, leads, readings and skips name joints of the assembly.
    // The assembly is read during create() only. Consecutive readings with the same (not empty) entry and the same
    // held joint count as one gesture; otherwise each counts as a touch.
    [[nodiscard]] static Result<RingOut> create(const Assembly& assembly, const Proposals& proposals,
                                                const RingOptions& options, std::vector<Reading> readings = {},
                                                std::vector<Skip> skips = {});
    RingOut(RingOut&&) noexcept;
    RingOut& operator=(RingOut&&) noexcept;
    ~RingOut();

    // The gesture that settles most for its cost; none when everything is settled to the stated risk (or what is
    // left cannot be asked). The same until something is answered.
    [[nodiscard]] std::optional<Gesture> next();

    // Answers the gesture that next() gave. What comes back must be stored; `entry` is put on each of it.
    [[nodiscard]] Result<Answered> answer(const Answer& answer, const EntryName& entry = {});
    // A reading that nobody asked for.
    [[nodiscard]] Status add(const Reading& reading);

    // Takes back the last answered gesture (or lone reading): what is to be withdrawn in the store.
    [[nodiscard]] Result<Answered> undo();
    // Withdraws everything that carries this journal entry, and with it all that rested on it.
    [[nodiscard]] Status withdraw(const EntryName& entry);

    [[nodiscard]] RingState state();
    [[nodiscard]] double expected_mistakes();
    [[nodiscard]] ApartStanding apart(JointIndex a, JointIndex b) const;  // REQUIRES: in different nets
    [[nodiscard]] const std::vector<Reading>& readings() const;           // in order, withdrawn ones included
    [[nodiscard]] const std::vector<Skip>& skips() const;

  private:
    class Engine;
    explicit RingOut(std::unique_ptr<Engine> engine);
    std::unique_ptr<Engine> engine_;
};

// Joints that a needle can be drawn along: straight rows on one side of one board, in order, neighbours no more
// than `gap_mm` apart, two joints or more. A joint is in as many rows as lines go through it (along the board's
// two axes, and along the row of its part where that is slanted).
struct Row {
    BoardIndex board;
    Side side = Side::component;
    std::vector<JointIndex> joints;
};
[[nodiscard]] std::vector<Row> find_rows(const Assembly& assembly, double gap_mm);

// Seconds for a gesture from where the probes are; the formula of the cost model, in one place.
struct Probes {
    JointIndex held;    // invalid: not yet placed
    JointIndex moving;
    std::optional<Side> held_side;
    std::optional<Side> moving_side;
};
[[nodiscard]] double seconds_for(const Assembly& assembly, const ProbeCosts& costs, const Probes& now,
                                 const Gesture& gesture);

// The partition that links alone make likeliest: joints joined by links of at least `at_least`.
[[nodiscard]] std::vector<Net> nets_from_links(const Assembly& assembly, const std::vector<Link>& links,
                                               double at_least = 0.5);

}  // namespace eyelet
