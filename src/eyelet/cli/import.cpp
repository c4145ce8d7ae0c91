#include "eyelet/jobs/import.h"

#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <string>

#include "eyelet/cli/command.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string survey;
    ImportOptions job;
    bool json = false;
};

Status import_and_say(const Options& options, Context& context) {
    // The survey is checked before the bench is even opened, so that a bad one leaves no bench behind.
    EYELET_ASSIGN(const Survey survey, read_survey(options.survey));
    ImportOptions how = options.job;
    how.who = context.who();
    EYELET_ASSIGN(const auto store, context.open(OpenMode::create));
    EYELET_ASSIGN(const Job job, import_survey(*store, survey, how, context.watch()));
    context.bar().clear();
    std::string said = nlohmann::json{{"job", job.name.text()}}.dump() + "\n";
    if (!options.json)
        said = fmt::format("{}: {}, {}. Next: eyelet align {}\n", job.name.text(), job.assembly,
                           job.unit.text(), job.name.text());
    if (const Status status = write_out(said); !status.ok())
        return Error{ErrorCode::storage,
                     fmt::format("{} was made, but: {}", job.name.text(), status.error().message)};
    return {};
}

}  // namespace

Run declare_import(CLI::App& app) {
    auto chosen = options<Options>();
    app.add_option("SURVEY", chosen->survey, "A survey.json, an assembly.json, or the folder that holds one.")
        ->required();
    app.add_option("--complaint", chosen->job.complaint,
                   "What is wrong with the unit, in the customer's words.");
    app.add_option("--condition", chosen->job.condition, "When the fault shows: only when warm.");
    app.add_option("--unit", chosen->job.unit, "The unit's serial number.");
    add_json(app, chosen->json);
    return [chosen](Context& context) { return import_and_say(*chosen, context); };
}

}  // namespace eyelet::cli
