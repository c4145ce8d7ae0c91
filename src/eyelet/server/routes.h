// Everything that the server answers under /api/, as one table. openapi.json describes the same table, and a test
// holds one against the other. Handlers are thin: they read what was asked, call the function of jobs/ that the
// command calls too, and shape the answer.
#pragma once

#include <functional>
#include <map>
#include <memory>
#include <mutex>
#include <set>
#include <span>
#include <string>
#include <vector>

#include <nlohmann/json.hpp>

#include "eyelet/bench/store.h"
#include "eyelet/core/result.h"
#include "eyelet/server/event_hub.h"
#include "eyelet/server/ring_desks.h"
#include "eyelet/server/upload.h"

namespace eyelet {

// What handlers share. One for each server.
struct Bench {
    explicit Bench(Store& the_store) : store(the_store), desks(the_store) {}

    Store& store;
    EventHub hub;
    RingDesks desks;

    void tell_change(const JobName& job);
    void tell_progress(const JobName& job, const std::string& task, double share, const std::string& text);

    // Long work on one job is done by one at a time; the second is refused at once.
    class Turn;
    [[nodiscard]] Result<Turn> take_turn(const JobName& job);

  private:
    std::mutex mutex_;
    std::set<JobName> busy_;
};

class Bench::Turn {
  public:
    Turn(Bench& bench, JobName job) : bench_(&bench), job_(std::move(job)) {}
    Turn(Turn&& other) noexcept : bench_(other.bench_), job_(std::move(other.job_)) { other.bench_ = nullptr; }
    Turn& operator=(Turn&&) = delete;
    ~Turn();

  private:
    Bench* bench_;
    JobName job_;
};

// A request as a handler sees it.
struct Asked {
    std::map<std::string, std::string> path;   // "{job}" -> "J1"
    std::map<std::string, std::string> query;
    std::string body;                          // of a JSON request
    Upload* upload = nullptr;                  // of a multipart one
    std::string device;                        // for the journal

    [[nodiscard]] JobName job() const { return JobName(path.at("job")); }
    [[nodiscard]] Who who() const { return {"", device}; }
};

struct Reply {
    int status = 200;
    std::string content_type = "application/json";
    std::string body;
    std::string file_name;       // offered to be saved under
    bool keep_for_good = false;  // the address changes when the content does
};
[[nodiscard]] Reply reply_json(const nlohmann::json& shape, int status = 200);

enum class BodyKind { none, json, optional_json, multipart, event_stream };

struct Route {
    const char* method;  // "GET"
    const char* path;    // "/api/jobs/{job}"
    BodyKind body;
    Result<Reply> (*handle)(Bench&, const Asked&);  // none for the event stream
};

[[nodiscard]] std::span<const Route> routes();

// RFC 9110 status for an error.
[[nodiscard]] int status_of(const Error& error);

}  // namespace eyelet
