#include <fmt/format.h>

#include <optional>
#include <string>

#include "eyelet/cli/command.h"
#include "eyelet/cli/ring_words.h"
#include "eyelet/exchange/json_text.h"
#include "eyelet/jobs/ring_session.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string job, from, to, said;
    double lead_ohm = 0;
    CLI::Option* lead_given = nullptr;
    RingSessionOptions session;
};

Result<JointIndex> joint_named(const Assembly& map, const std::string& name) {
    const JointIndex joint = map.find_joint(JointName(name));
    if (!joint.valid())
        return not_found(fmt::format("joint {}: is not in the map of this job", for_message(name)));
    if (!map.joint(joint).can_be_touched())
        return refused(
            fmt::format("joint {}: is a via, which a probe does not reach; name a pad", for_message(name)));
    return joint;
}

}  // namespace

Run declare_reading(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    app.add_option("FROM", chosen->from, "The joint of the held probe.")->required();
    app.add_option("TO", chosen->to, "The joint of the other probe.")->required();
    app.add_option("SAID", chosen->said, "What the meter said: ohms (0.2, 4k7), open or beep.")->required();
    app.add_option("--instrument", chosen->session.instrument, "The meter.");
    chosen->lead_given =
        app.add_option("--lead", chosen->lead_ohm, "Lead resistance that was taken off already.")
            ->type_name("OHM");
    app.add_option("--state", chosen->session.board_state, "The board's state: out of the case, discharged.");
    return [chosen](Context& context) -> Status {
        RingSessionOptions how = chosen->session;
        if (chosen->lead_given->count() > 0) how.lead_ohm = chosen->lead_ohm;
        how.who = context.who();
        const std::optional<Said> said = said_from_word(chosen->said);
        if (!said)
            return bad_input(
                fmt::format("\"{}\" is not what a meter says; give ohms such as 0.2 or 4k7, open or beep",
                            for_message(chosen->said)));
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const auto session, RingSession::open(*store, JobName(chosen->job), how));
        EYELET_ASSIGN(const JointIndex from, joint_named(session->map(), chosen->from));
        EYELET_ASSIGN(const JointIndex to, joint_named(session->map(), chosen->to));
        if (from == to)
            return bad_input(fmt::format("joint {}: both probes on one joint say nothing; name two",
                                         for_message(chosen->from)));
        return session->volunteer(from, to, *said);
    };
}

}  // namespace eyelet::cli
