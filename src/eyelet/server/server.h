// The bench page and its JSON interface on the loopback address. What it answers is in openapi.json.
//
// Threads: a connection carries one request and holds one thread for as long; a page keeps an event stream open and
// fetches up to five tiles beside it. kThreads serves ten devices at once with room to spare; at most kMostListeners
// event streams are let in, so that streams alone can never take every thread.
#pragma once

#include <cstdint>
#include <memory>
#include <string>

#include "eyelet/bench/store.h"
#include "eyelet/core/result.h"

namespace eyelet {

struct ServerOptions {
    int port = 8470;  // 0: any free one
    std::uint64_t max_upload_bytes = std::uint64_t{8} << 30;
    std::uint64_t max_json_bytes = std::uint64_t{1} << 20;
};

class Server {
  public:
    static constexpr int kThreads = 96;
    static constexpr int kMostListeners = 64;

    // Takes the port; refused where another program holds it. REQUIRES: the store outlives the server.
    [[nodiscard]] static Result<std::unique_ptr<Server>> create(Store& store, const ServerOptions& options = {});
    virtual ~Server() = default;

    [[nodiscard]] virtual int port() const = 0;
    [[nodiscard]] std::string address() const;  // "http://127.0.0.1:8470/"

    // Serves until stop() is called from another thread.
    [[nodiscard]] virtual Status run() = 0;
    virtual void stop() = 0;
};

}  // namespace eyelet
