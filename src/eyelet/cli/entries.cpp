// What a person enters into the journal: note, finding, work, trial. They share how a place is given.
#include <fmt/format.h>

#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"
#include "eyelet/exchange/json_text.h"
#include "eyelet/jobs/journal.h"

namespace eyelet::cli {
namespace {

struct PlaceOptions {
    std::string board, side, at;
    std::vector<std::string> joints, parts;
};

void add_place(CLI::App& app, PlaceOptions& place) {
    app.add_option("--part", place.parts, "A part, such as C3. May be given several times.")
        ->expected(1)
        ->type_name("PART");
    app.add_option("--joint", place.joints, "A joint, such as C3.1. May be given several times.")
        ->expected(1)
        ->type_name("JOINT");
    app.add_option("--board", place.board, "The board.");
    app.add_option("--side", place.side, "top (component side) or bottom (solder side).");
    app.add_option("--at", place.at, "A point X,Y in millimetres of the board.")->type_name("X,Y");
}

Result<Place> parse_place(const PlaceOptions& options) {
    Place place;
    place.board = BoardName(options.board);
    if (!options.side.empty()) {
        place.side = side_from_key(options.side);
        if (!place.side)
            return bad_input(fmt::format("--side {}: is not a side; it should be top or bottom",
                                         for_message(options.side)));
    }
    if (!options.at.empty()) {
        double x = 0;
        double y = 0;
        char rest = 0;
        if (std::sscanf(options.at.c_str(), "%lf,%lf%c", &x, &y, &rest) != 2 || !std::isfinite(x) ||
            !std::isfinite(y))
            return bad_input(fmt::format(
                "--at {}: is not a point; it should be two numbers of millimetres such as 12.5,40",
                for_message(options.at)));
        place.point_mm = Point{x, y};
    }
    for (const std::string& joint : options.joints) place.joints.emplace_back(joint);
    for (const std::string& part : options.parts) place.parts.emplace_back(part);
    return place;
}

Status say_entry(const EntryName& entry, bool json) {
    return write_out(json ? json_text({{"entry", entry.text()}}) : entry.text() + "\n");
}

std::string list_of(const std::vector<std::string>& kinds) {
    std::string out;
    for (const std::string& kind : kinds) out += (out.empty() ? "" : ", ") + kind;
    return out;
}

struct EntryOptions {
    std::string job, what, text;
    PlaceOptions place;
    TrialEntry trial;
    bool json = false;
};

// A finding and a piece of work are entered alike: what, where, and more about it.
template <class Body>
Run declare_placed(CLI::App& app, const std::string& what,
                   Result<EntryName> (*add)(Store&, const JobName&, const Body&, const Who&)) {
    auto chosen = options<EntryOptions>();
    add_job(app, chosen->job);
    app.add_option("WHAT", chosen->what, what)->required();
    app.add_option("TEXT", chosen->text, "More about it.");
    add_place(app, chosen->place);
    add_json(app, chosen->json);
    return [chosen, add](Context& context) -> Status {
        EYELET_ASSIGN(Place place, parse_place(chosen->place));
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const EntryName entry, add(*store, JobName(chosen->job),
                                                 {chosen->what, std::move(place), chosen->text}, context.who()));
        return say_entry(entry, chosen->json);
    };
}

}  // namespace

Run declare_note(CLI::App& app) {
    auto chosen = options<EntryOptions>();
    add_job(app, chosen->job);
    app.add_option("TEXT", chosen->text, "What to write down.")->required();
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const EntryName entry,
                      add_note(*store, JobName(chosen->job), {chosen->text}, context.who()));
        return say_entry(entry, chosen->json);
    };
}

Run declare_finding(CLI::App& app) {
    return declare_placed<FindingEntry>(app, fmt::format("What was seen: {}.", list_of(finding_kinds())), add_finding);
}

Run declare_work(CLI::App& app) {
    return declare_placed<WorkEntry>(app, fmt::format("What was done: {}.", list_of(work_kinds())), add_work);
}

Run declare_trial(CLI::App& app) {
    auto chosen = options<EntryOptions>();
    add_job(app, chosen->job);
    app.add_option("--minutes", chosen->trial.minutes, "How long it ran.")->required();
    app.add_option("--recurrences", chosen->trial.recurrences, "How often the fault came.")->required();
    app.add_option("--condition", chosen->trial.condition, "Under which condition: in the warm cabinet.")
        ->required();
    app.add_option("TEXT", chosen->trial.text, "More about it.");
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const EntryName entry,
                      add_trial(*store, JobName(chosen->job), chosen->trial, context.who()));
        return say_entry(entry, chosen->json);
    };
}

}  // namespace eyelet::cli
