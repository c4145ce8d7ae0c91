#include "eyelet/jobs/corpus.h"

#include <fmt/format.h>

#include <filesystem>
#include <string>
#include <vector>

#include "eyelet/cli/command.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::vector<std::string> folders;
    CorpusOptions corpus;
    bool only_with_photographs = false;
    bool json = false;
};

}  // namespace

Run declare_corpus(CLI::App& app) {
    auto chosen = options<Options>();
    app.add_option("DIR", chosen->folders,
                   "Folders of boards with known nets (board.json), or folders that hold such folders.")
        ->required();
    app.add_option("--level", chosen->corpus.only_levels,
                   "Only these photographs: bare, populated, poor, damaged, real.")
        ->expected(1)
        ->type_name("LEVEL");
    app.add_option("--board", chosen->corpus.only_boards, "Only these boards.")
        ->expected(1)
        ->type_name("NAME");
    app.add_option("--miss", chosen->corpus.miss_rates,
                   "Shares of readings on joined pairs that the meter misses; a ring-out for each.")
        ->expected(1)
        ->capture_default_str();
    app.add_option("--seed", chosen->corpus.seed, "Seed of the simulated meter.")->capture_default_str();
    app.add_flag("--only-with-photographs", chosen->only_with_photographs,
                 "Leave out the ring-out that uses no photographs.");
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        CorpusOptions how = chosen->corpus;
        if (chosen->only_with_photographs) how.without_photographs = false;
        std::vector<std::filesystem::path> folders(chosen->folders.begin(), chosen->folders.end());
        std::size_t done = 0;
        const auto each = [&](const CorpusRow& row) {
            ++done;
            const std::string said = fmt::format("{}. {} {}{}", done, row.board, row.level,
                                                 row.failed.empty() ? "" : ": " + row.failed);
            if (!chosen->json) write_error(said);
        };
        EYELET_ASSIGN(const std::vector<CorpusRow> rows, run_corpus(folders, how, each));
        EYELET_TRY(write_out(chosen->json ? corpus_json(rows) : corpus_table(rows)));
        for (const CorpusRow& row : rows)
            if (!row.failed.empty())
                return refused(fmt::format("{} {}: {}", row.board, row.level, row.failed));
        static_cast<void>(context);
        return {};
    };
}

}  // namespace eyelet::cli
