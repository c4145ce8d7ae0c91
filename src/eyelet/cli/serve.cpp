// eyelet serve: the bench page, on this machine only.
#include <fmt/format.h>

#include "eyelet/cli/command.h"
#include "eyelet/server/server.h"
#include "eyelet/server/web_files.h"

namespace eyelet::cli {
namespace {

struct Options {
    int port = ServerOptions{}.port;
};

Status serve(Context& context, const Options& options) {
    EYELET_ASSIGN(const std::unique_ptr<Store> store, context.open(OpenMode::create));
    EYELET_ASSIGN(const std::unique_ptr<Server> server, Server::create(*store, {.port = options.port}));
    if (!page_is_built()) write_error("eyelet: this program was built without the page; only the interface under /api/ answers");
    EYELET_TRY(write_out(fmt::format("The bench page is at {} (Ctrl-C ends it)\n", server->address())));
    const std::stop_callback end(context.interrupt().token(), [&] { server->stop(); });
    return server->run();
}

}  // namespace

Run declare_serve(CLI::App& app) {
    auto set = options<Options>();
    app.add_option("--port", set->port, "The port on 127.0.0.1; 0 takes any free one. 8470 unless told.")->type_name("N");
    return [set](Context& context) { return serve(context, *set); };
}

}  // namespace eyelet::cli
