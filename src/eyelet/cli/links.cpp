#include <string>

#include "eyelet/cli/command.h"
#include "eyelet/exchange/nets_out.h"
#include "eyelet/jobs/nets.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string job;
    bool json = false;
};

}  // namespace

Run declare_links(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const LinksOfJob found, links_of(*store, JobName(chosen->job)));
        return write_out(chosen->json ? links_json(found.map, found.links)
                                      : links_table(found.map, found.links));
    };
}

}  // namespace eyelet::cli
