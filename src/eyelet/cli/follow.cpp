#include "eyelet/jobs/follow.h"

#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <string>
#include <vector>

#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"
#include "eyelet/exchange/json_text.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string job;
    std::vector<std::string> copper_is;
    bool json = false;
};

// [BOARD/]top=lighter. The board may be left out where the assembly has one.
Result<ToneSettled> parse_tone(const std::string& text, const Assembly& map) {
    const auto wrong = [&](const std::string& what) {
        return bad_input(
            fmt::format("--copper {}: {}; write top=lighter or bottom=darker, with BOARD/ before it where "
                        "there are several boards",
                        for_message(text), what));
    };
    const std::size_t equals = text.rfind('=');
    if (equals == std::string::npos) return wrong("has no =");
    const std::string place = text.substr(0, equals);
    const std::size_t slash = place.rfind('/');
    ToneSettled settled;
    const auto side = side_from_key(slash == std::string::npos ? place : place.substr(slash + 1));
    if (!side) return wrong("names no side");
    settled.side = *side;
    const auto tone = copper_tone_from_name(text.substr(equals + 1));
    if (!tone) return wrong("names no tone");
    settled.tone = *tone;
    if (slash != std::string::npos)
        settled.board = BoardName(place.substr(0, slash));
    else if (map.boards.size() == 1)
        settled.board = map.boards.front().name;
    if (!map.find_board(settled.board).valid()) return wrong("names no board of the assembly");
    return settled;
}

std::string as_text(const FollowSummary& summary) {
    std::string out = fmt::format(
        "{} links proposed: {} likely, {} of them almost sure. {} joints have copper that leaves to "
        "somewhere unseen.\n",
        summary.links, summary.links_likely, summary.links_sure, summary.leads);
    for (const StoredProposals::Tone& tone : summary.tones)
        out += fmt::format("{} of {}: copper is the {} tone ({:.0f} % sure)\n", name_of(tone.side),
                           tone.board.text(), name_of(tone.tone), tone.sure * 100);
    for (const std::string& remark : summary.remarks) out += remark + "\n";
    return out;
}

nlohmann::ordered_json as_json(const FollowSummary& summary) {
    nlohmann::ordered_json out;
    out["links"] = summary.links;
    out["links_likely"] = summary.links_likely;
    out["links_sure"] = summary.links_sure;
    out["leads"] = summary.leads;
    out["tones"] = nlohmann::ordered_json::array();
    for (const StoredProposals::Tone& tone : summary.tones)
        out["tones"].push_back({{"board", tone.board.text()},
                                {"side", key_of(tone.side)},
                                {"copper", name_of(tone.tone)},
                                {"sure", tone.sure}});
    out["remarks"] = summary.remarks;
    return out;
}

}  // namespace

Run declare_follow(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    app.add_option("--copper", chosen->copper_is,
                   "Settle which tone is copper: top=lighter, bottom=darker, or BOARD/top=lighter. May be "
                   "given for each side.")
        ->type_name("SIDE=TONE")
        ->expected(1);
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        FollowOptions how;
        how.who = context.who();
        if (!chosen->copper_is.empty()) {
            EYELET_ASSIGN(const MapVersion map, store->map(JobName(chosen->job)));
            for (const std::string& text : chosen->copper_is) {
                EYELET_ASSIGN(ToneSettled settled, parse_tone(text, map.map));
                how.copper_is.push_back(std::move(settled));
            }
        }
        EYELET_ASSIGN(const FollowSummary summary,
                      follow_job(*store, JobName(chosen->job), how, context.watch()));
        context.bar().clear();
        return write_out(chosen->json ? json_text(as_json(summary)) : as_text(summary));
    };
}

}  // namespace eyelet::cli
