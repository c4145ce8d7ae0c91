#include "eyelet/jobs/nets.h"

#include <fmt/format.h>

#include <string>

#include "eyelet/cli/command.h"
#include "eyelet/cli/out_file.h"
#include "eyelet/exchange/ipc356.h"
#include "eyelet/exchange/json_text.h"
#include "eyelet/exchange/nets_out.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string job;
    bool proposed = false;
    bool json = false;
    bool csv = false;
    bool ipc356 = false;
    std::string board;
    std::string out;
};

Result<std::string> as_ipc356(const NetsOfJob& found, const std::string& wanted) {
    if (wanted.empty() && found.map.boards.size() > 1) {
        std::string names;
        for (const Board& board : found.map.boards) names += (names.empty() ? "" : ", ") + board.name.text();
        return bad_input(
            fmt::format("--ipc356: describes one board; say which with --board, one of {}", names));
    }
    const BoardIndex board = wanted.empty() ? BoardIndex(0) : found.map.find_board(BoardName(wanted));
    if (!board.valid())
        return not_found(fmt::format("--board {}: the assembly has no such board", for_message(wanted)));
    return ipc356(found.map, board, found.nets);
}

}  // namespace

Run declare_nets(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    app.add_flag("--proposed", chosen->proposed,
                 "What the photographs alone make likeliest, without readings.");
    auto* json = app.add_flag("--json", chosen->json, "Print JSON for other programs.");
    auto* csv = app.add_flag("--csv", chosen->csv, "Print one record a joint, separated by commas.");
    auto* ipc = app.add_flag("--ipc356", chosen->ipc356, "Print IPC-D-356A, for bare-board electrical test.");
    json->excludes(csv, ipc);
    csv->excludes(ipc);
    app.add_option("--board", chosen->board, "Which board, with --ipc356.");
    app.add_option("--out", chosen->out, "Write into this file instead of printing.")->type_name("FILE");
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const NetsOfJob found,
                      nets_of(*store, JobName(chosen->job),
                              chosen->proposed ? NetsFrom::photographs : NetsFrom::readings));
        std::string text;
        if (chosen->ipc356) {
            EYELET_ASSIGN(text, as_ipc356(found, chosen->board));
        } else {
            text = chosen->json  ? nets_json(found.map, found.nets)
                   : chosen->csv ? nets_csv(found.map, found.nets)
                                 : nets_table(found.map, found.nets);
        }
        return chosen->out.empty() ? write_out(text) : write_file(chosen->out, text);
    };
}

}  // namespace eyelet::cli
