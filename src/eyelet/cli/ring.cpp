// eyelet ring JOB: the loop of asking, answering and storing, for a program (--stdio) or for a person.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "eyelet/board/cautions.h"
#include "eyelet/cli/command.h"
#include "eyelet/cli/ring_words.h"
#include "eyelet/exchange/json_text.h"
#include "eyelet/exchange/ring_lines.h"
#include "eyelet/jobs/ring_session.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string job;
    bool stdio = false;
    bool without_photographs = false;
    std::string beep = "copper";
    double apart_mm = 0;
    double lead_ohm = 0;
    CLI::Option* apart_given = nullptr;
    CLI::Option* lead_given = nullptr;
    RingSessionOptions session;
};

enum class Ended { settled, stopped };

// Where one exchange of lines differs: what is asked, how an answer is read, what is said to an error.
class Talk {
  public:
    virtual ~Talk() = default;
    [[nodiscard]] virtual Status ask(RingSession& session, const Gesture& gesture) = 0;
    [[nodiscard]] virtual Result<RingLine> read(RingSession& session, const Gesture& gesture,
                                                const std::string& line) = 0;
    [[nodiscard]] virtual Status complain(const Error& error) = 0;
    [[nodiscard]] virtual Status finish(RingSession& session, RingEnd end) = 0;
};

class ProgramTalk : public Talk {
  public:
    Status ask(RingSession& session, const Gesture& gesture) override {
        return write_out(gesture_line(session.map(), gesture) + "\n");
    }
    Result<RingLine> read(RingSession& session, const Gesture& gesture, const std::string& line) override {
        return read_ring_line(session.map(), gesture, line);
    }
    Status complain(const Error& error) override { return write_out(error_line(error) + "\n"); }
    Status finish(RingSession& session, RingEnd end) override {
        return write_out(done_line(session.map(), session.state(), end) + "\n");
    }
};

class PersonTalk : public Talk {
  public:
    Status ask(RingSession& session, const Gesture& gesture) override {
        std::string text = gesture_in_words(session.map(), gesture, shown_flip_ ? &last_ : nullptr);
        last_ = gesture;
        shown_flip_ = true;
        return write_out(text + "> ");
    }
    Result<RingLine> read(RingSession& session, const Gesture& gesture, const std::string& line) override {
        return read_short_answer(session.map(), gesture, line);
    }
    Status complain(const Error& error) override { return write_out(error.message + "\n"); }
    Status finish(RingSession& session, RingEnd end) override {
        return write_out(end_in_words(session.map(), session.state(), end));
    }

  private:
    Gesture last_;
    bool shown_flip_ = false;
};

RingEnd end_of(RingSession& session) {
    return session.state().settled ? RingEnd::settled : RingEnd::nothing_left_to_ask;
}

Status ring(RingSession& session, Talk& talk, Context& context) {
    LineReader lines(context.interrupt());
    for (;;) {
        EYELET_ASSIGN(const std::optional<Gesture> gesture, session.next());
        if (!gesture) return talk.finish(session, end_of(session));
        EYELET_TRY(talk.ask(session, *gesture));
        const std::optional<LineReader::Line> line = lines.next();
        if (!line) return talk.finish(session, RingEnd::stopped);
        if (line->too_long) {
            EYELET_TRY(talk.complain(bad_input(fmt::format(
                "the line is longer than {} bytes; an answer is one short line", LineReader::kLongestLine))));
            continue;
        }
        const Result<RingLine> answer = talk.read(session, *gesture, line->text);
        if (!answer.ok()) {
            EYELET_TRY(talk.complain(answer.error()));
            continue;
        }
        Status done;
        if (std::holds_alternative<StopLine>(answer.value())) {
            return talk.finish(session, RingEnd::stopped);
        } else if (std::holds_alternative<UndoLine>(answer.value())) {
            if (const Result<Edit> undone = session.undo(); !undone.ok()) done = undone.error();
        } else {
            done = session.answer(std::get<Answer>(answer.value()));
        }
        if (done.ok()) continue;
        // What was not stored is not acknowledged: the same question comes again, unless the disk itself
        // fails.
        if (done.error().code == ErrorCode::storage || done.error().code == ErrorCode::unavailable)
            return done;
        EYELET_TRY(talk.complain(done.error()));
    }
}

}  // namespace

Run declare_ring(CLI::App& app) {
    auto chosen = options<Options>();
    RingOptions& ring_options = chosen->session.ring;
    add_job(app, chosen->job);
    app.add_flag("--stdio", chosen->stdio, "One JSON object a line, out and in, for a meter or a script.");
    app.add_flag("--without-photographs", chosen->without_photographs,
                 "Do not use what the photographs propose.");
    app.add_option("--risk", ring_options.risk,
                   "Joins that may still be missing in the whole map when it stops.")
        ->capture_default_str();
    chosen->apart_given =
        app.add_option("--apart", chosen->apart_mm, "Prove apart every two nets that come nearer than this.")
            ->type_name("MM");
    app.add_option("--copper-below", ring_options.copper_below_ohm, "At or below this a reading is copper.")
        ->type_name("OHM")
        ->capture_default_str();
    app.add_option("--open-above", ring_options.open_above_ohm,
                   "At or above this a reading is open; between the two it proves nothing.")
        ->type_name("OHM")
        ->capture_default_str();
    app.add_option("--beep", chosen->beep, "What the meter's tone means: copper, or nothing.")
        ->check(CLI::IsMember({"copper", "nothing"}))
        ->capture_default_str();
    app.add_option("--miss", ring_options.contact_miss,
                   "Share of readings on joined pairs that read open because a needle missed.")
        ->capture_default_str();
    app.add_option("--instrument", chosen->session.instrument, "The meter, for the journal.");
    chosen->lead_given = app.add_option("--lead", chosen->lead_ohm,
                                        "Lead resistance that the meter took off already, for the journal.")
                             ->type_name("OHM");
    app.add_option("--state", chosen->session.board_state,
                   "The board's state, for the journal: out of the case, discharged.");
    app.add_option("--cost-held", ring_options.costs.place_held_s, "Seconds to place the held probe.")
        ->capture_default_str();
    app.add_option("--cost-moving", ring_options.costs.place_moving_s, "Seconds to place the moving probe.")
        ->capture_default_str();
    app.add_option("--cost-sweep", ring_options.costs.sweep_joint_s, "Seconds for each joint of a sweep.")
        ->capture_default_str();
    app.add_option("--cost-travel", ring_options.costs.travel_s_per_mm,
                   "Seconds for each millimetre that a probe moves.")
        ->capture_default_str();
    app.add_option("--cost-flip", ring_options.costs.flip_s, "Seconds to turn the board over.")
        ->capture_default_str();
    return [chosen](Context& context) -> Status {
        RingSessionOptions session_options = chosen->session;
        if (chosen->apart_given->count() > 0) session_options.ring.apart_mm = chosen->apart_mm;
        if (chosen->lead_given->count() > 0) session_options.lead_ohm = chosen->lead_ohm;
        session_options.ring.beep = chosen->beep == "copper" ? BeepMeans::copper : BeepMeans::nothing;
        session_options.who = context.who();
        EYELET_TRY(session_options.ring.validate());
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const auto session,
                      RingSession::open(*store, JobName(chosen->job), session_options,
                                        chosen->without_photographs ? UseProposals::no : UseProposals::yes));
        for (const std::string& remark : session->remarks())
            write_error("eyelet: " + for_message(remark, 500));
        if (chosen->stdio) {
            ProgramTalk talk;
            return ring(*session, talk, context);
        }
        PersonTalk talk;
        EYELET_TRY(write_out(ring_introduction()));
        return ring(*session, talk, context);
    };
}

}  // namespace eyelet::cli
