#include "eyelet/jobs/journal.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <string>
#include <vector>

#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string job;
    std::vector<std::string> entries;
    std::string why;
    bool json = false;
};

std::string as_text(const std::vector<Entry>& entries) {
    if (entries.empty()) return "The journal is empty.\n";
    std::string out;
    for (const Entry& entry : entries) {
        out += fmt::format("{:<6} {}  {:<10} {:<10} {}\n", entry.name.text(), entry.at, entry.who.person,
                           name_of(kind_of(entry.body)), in_words(entry.body));
        if (entry.withdrawn)
            out += fmt::format("       withdrawn {} {}: {}\n", entry.withdrawn_at, entry.withdrawn_by.person,
                               entry.withdrawn_why);
    }
    return out;
}

Status say_edit(const Edit& edit, const char* done, bool json) {
    if (!json) return write_out(fmt::format("{}: {}\n", done, edit.what));
    nlohmann::ordered_json out;
    out["edit"] = edit.number;
    out["kind"] = name_of(edit.kind);
    out["what"] = edit.what;
    out["entries"] = nlohmann::ordered_json::array();
    for (const EntryName& entry : edit.entries) out["entries"].push_back(entry.text());
    return write_out(json_text(out));
}

}  // namespace

Run declare_journal(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const std::vector<Entry> entries, journal_of(*store, JobName(chosen->job)));
        if (!chosen->json) return write_out(as_text(entries));
        nlohmann::ordered_json out;
        out["entries"] = nlohmann::ordered_json::array();
        for (const Entry& entry : entries) out["entries"].push_back(entry_json(entry));
        return write_out(json_text(out));
    };
}

Run declare_withdraw(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    app.add_option("ENTRY", chosen->entries, "Entries as the journal names them, such as E12.")->required();
    app.add_option("--why", chosen->why, "The reason, for the journal.");
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        std::vector<EntryName> names;
        for (const std::string& entry : chosen->entries) names.emplace_back(entry);
        EYELET_TRY(store->withdraw(JobName(chosen->job), names, chosen->why, context.who()));
        if (chosen->json) return write_out(json_text({{"withdrawn", chosen->entries}}));
        return write_out(fmt::format("withdrawn: {}\n", fmt::join(chosen->entries, ", ")));
    };
}

Run declare_undo(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const Edit edit, undo_edit(*store, JobName(chosen->job), context.who()));
        return say_edit(edit, "taken back", chosen->json);
    };
}

Run declare_redo(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const Edit edit, redo_edit(*store, JobName(chosen->job), context.who()));
        return say_edit(edit, "done again", chosen->json);
    };
}

}  // namespace eyelet::cli
