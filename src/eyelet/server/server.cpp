#include "eyelet/server/server.h"

#include <fmt/format.h>
#include <httplib.h>
#include <sys/socket.h>

#include <atomic>
#include <chrono>
#include <condition_variable>
#include <regex>
#include <set>
#include <thread>
#include <unordered_map>

#include "eyelet/exchange/json_text.h"
#include "eyelet/jobs/journal.h"
#include "eyelet/server/guard.h"
#include "eyelet/server/json_shapes.h"
#include "eyelet/server/routes.h"
#include "eyelet/server/web_files.h"

namespace eyelet {
namespace {

using namespace std::chrono_literals;

// The page loads nothing from anywhere else, and stands in no other page's frame.
constexpr const char* kContentPolicy =
    "default-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' blob: data:; object-src 'none'; "
    "base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'";

constexpr const char* kPageMissing =
    "<!doctype html><html lang=\"en-GB\"><meta charset=\"utf-8\"><title>Eyelet</title>"
    "<body style=\"font:17px/1.5 sans-serif;max-width:36em;margin:4em auto;padding:0 1em\">"
    "<h1>The page was not built</h1><p>This program was built before its page. Run <code>./eyelet.sh build</code> "
    "(or <code>npm ci &amp;&amp; npm run build</code> in <code>web/</code>, then build the program again).</p>"
    "<p>The interface under <a href=\"/api/openapi.json\">/api/</a> and every command work without it.</p></body></html>";

std::string title_of(int status) {
    switch (status) {
        case 400: return "Bad input";
        case 403: return "Not allowed";
        case 404: return "Not found";
        case 409: return "Refused";
        case 411: return "Length required";
        case 413: return "Too large";
        case 415: return "Wrong kind of content";
        case 503: return "Unavailable";
        case 507: return "Storage failed";
        default: return "Error";
    }
}

void set_problem(httplib::Response& response, int status, const std::string& detail) {
    response.status = status;
    response.set_content(shapes::problem(status, title_of(status), detail)
                             .dump(-1, ' ', false, nlohmann::json::error_handler_t::replace),
                         "application/problem+json");
}

void set_problem(httplib::Response& response, const Error& error) { set_problem(response, status_of(error), error.message); }

// A path of openapi.json as a regular expression, with the names of its parameters in order.
struct Pattern {
    std::string regex;
    std::vector<std::string> names;
};

Pattern pattern_of(const std::string& path) {
    Pattern pattern;
    for (std::size_t i = 0; i < path.size(); ++i) {
        if (path[i] == '{') {
            const std::size_t end = path.find('}', i);
            pattern.names.push_back(path.substr(i + 1, end - i - 1));
            pattern.regex += "([^/]+)";
            i = end;
        } else if (path[i] == '.') {
            pattern.regex += "\\.";
        } else {
            pattern.regex += path[i];
        }
    }
    return pattern;
}

// The library listens with a queue of five, which ten pages that fetch tiles can overrun.
class Listener final : public httplib::Server {
  public:
    [[nodiscard]] bool widen_queue() { return ::listen(svr_sock_, 256) == 0; }
};

class LoopbackServer final : public Server {
  public:
    LoopbackServer(Store& store, const ServerOptions& options) : options_(options), bench_(store) {}

    ~LoopbackServer() override {
        stop();
        if (watcher_.joinable()) watcher_.join();
    }

    [[nodiscard]] int port() const override { return port_; }

    [[nodiscard]] Status bind() {
        if (!server_.is_valid()) return unavailable("the server could not be set up");
        server_.new_task_queue = [] { return new httplib::ThreadPool(kThreads); };
        // Without this, a second server on the same port would share it silently.
        server_.set_socket_options([](socket_t socket) {
            const int yes = 1;
            setsockopt(socket, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
        });
        server_.set_tcp_nodelay(true);
        // One request a connection. A body that was refused unread can then never be taken for a next request, as which
        // it would carry no Origin; and an idle page holds no thread. On loopback a connection costs microseconds.
        server_.set_keep_alive_max_count(1);
        server_.set_read_timeout(30s);
        server_.set_write_timeout(30s);
        server_.set_payload_max_length(options_.max_upload_bytes + (std::uint64_t{1} << 20));
        const char* host = "127.0.0.1";
        if (options_.port == 0) {
            port_ = server_.bind_to_any_port(host);
            if (port_ <= 0) return unavailable("no free port on 127.0.0.1");
        } else {
            if (options_.port < 1 || options_.port > 65535) {
                return bad_input(fmt::format("port {} does not exist; 1 to 65535 would be right", options_.port));
            }
            if (!server_.bind_to_port(host, options_.port)) {
                return unavailable(fmt::format("port {} on 127.0.0.1 is taken by another program; --port N chooses another", options_.port));
            }
            port_ = options_.port;
        }
        if (!server_.widen_queue()) return unavailable("the server could not be set up");
        set_up();
        return {};
    }

    [[nodiscard]] Status run() override {
        entered_ = true;
        bool ended_well = true;
        if (!stopping_) {
            watcher_ = std::thread([this] { watch_bench(); });
            ended_well = server_.listen_after_bind();
        }
        ended_ = true;
        bench_.hub.close();
        if (!ended_well && !stopping_) return unavailable("the server stopped by itself");
        return {};
    }

    void stop() override {
        stopping_ = true;
        bench_.hub.close();
        watch_woken_.notify_all();
        // The library forgets a stop that comes before it listens.
        while (entered_ && !ended_ && !server_.is_running()) std::this_thread::sleep_for(1ms);
        server_.stop();
    }

  private:
    void set_up() {
        server_.set_pre_routing_handler([this](const httplib::Request& request, httplib::Response& response) {
            response.set_header("X-Content-Type-Options", "nosniff");
            response.set_header("Referrer-Policy", "no-referrer");
            response.set_header("Cross-Origin-Resource-Policy", "same-origin");
            const Status allowed = check_request({request.get_header_value("Host"), request.get_header_value("Origin"),
                                                  request.get_header_value("Sec-Fetch-Site"), effect_of(request.method)},
                                                 port_);
            if (allowed.ok()) return httplib::Server::HandlerResponse::Unhandled;
            set_problem(response, 403, allowed.error().message);
            return httplib::Server::HandlerResponse::Handled;
        });
        for (const Route& route : routes()) add(route);
        // Anything else with a body is refused without reading it; the library would hold all of it in memory.
        const auto nothing_there = [](const httplib::Request&, httplib::Response& response, const httplib::ContentReader&) {
            response.status = 404;
        };
        server_.Post("/.*", nothing_there).Put("/.*", nothing_there).Patch("/.*", nothing_there).Delete("/.*", nothing_there);
        server_.Get("/(.*)", [](const httplib::Request& request, httplib::Response& response) { serve_page(request, response); });
        server_.set_error_handler([](const httplib::Request& request, httplib::Response& response) {
            if (!response.body.empty()) return;
            const std::string what = for_message(request.method + " " + request.path);
            if (response.status == 404) set_problem(response, 404, fmt::format("there is nothing at {}; /api/openapi.json lists what there is", what));
            else set_problem(response, response.status, fmt::format("{} could not be read as a request", what));
        });
        server_.set_exception_handler([](const httplib::Request&, httplib::Response& response, std::exception_ptr thrown) {
            std::string what = "something went wrong in the program";
            try {
                std::rethrow_exception(thrown);
            } catch (const std::bad_alloc&) {
                what = "there is not enough memory for this";
            } catch (const std::exception& exception) {
                what += fmt::format(": {}", for_message(exception.what(), 200));
            } catch (...) {
            }
            set_problem(response, 500, what);
        });
    }

    void add(const Route& route) {
        const Pattern pattern = pattern_of(route.path);
        if (route.body == BodyKind::event_stream) {
            server_.Get(pattern.regex, [this](const httplib::Request& request, httplib::Response& response) { stream(request, response); });
            return;
        }
        const std::string method = route.method;
        if (method == "GET") {
            server_.Get(pattern.regex, [this, route, names = pattern.names](const httplib::Request& request, httplib::Response& response) {
                answer(route, asked_of(request, names), response);
            });
            return;
        }
        const auto handler = [this, route, names = pattern.names](const httplib::Request& request, httplib::Response& response,
                                                                  const httplib::ContentReader& reader) {
            Asked asked = asked_of(request, names);
            // A request without a length has no body (RFC 9112, section 6.3); reading on would wait for the connection's end.
            const bool has_body = request.has_header("Transfer-Encoding") ||
                                  (request.has_header("Content-Length") && request.get_header_value("Content-Length") != "0");
            if (route.body == BodyKind::multipart) return receive_files(route, std::move(asked), request, response, reader);
            if (has_body && !receive_json(route, request, response, reader, asked.body)) return;
            answer(route, asked, response);
        };
        if (method == "POST") server_.Post(pattern.regex, handler);
        else server_.Put(pattern.regex, handler);
    }

    static Asked asked_of(const httplib::Request& request, const std::vector<std::string>& names) {
        Asked asked;
        for (std::size_t i = 0; i < names.size(); ++i) asked.path[names[i]] = request.matches[static_cast<int>(i) + 1].str();
        for (const auto& [key, value] : request.params) asked.query[key] = value;
        asked.device = "page at 127.0.0.1";
        return asked;
    }

    void answer(const Route& route, const Asked& asked, httplib::Response& response) {
        const Result<Reply> result = route.handle(bench_, asked);
        if (!result.ok()) return set_problem(response, result.error());
        const Reply& reply = result.value();
        response.status = reply.status;
        response.set_header("Cache-Control", reply.keep_for_good ? "private, max-age=31536000, immutable" : "no-store");
        if (!reply.file_name.empty()) {
            std::string plain;
            for (const char c : reply.file_name) plain += std::isalnum(static_cast<unsigned char>(c)) != 0 || c == '-' || c == '.' ? c : '_';
            response.set_header("Content-Disposition", fmt::format("attachment; filename=\"{}\"", plain));
        }
        response.set_content(reply.body, reply.content_type);
    }

    // Reads a small JSON body; sets the problem and returns false where that fails.
    bool receive_json(const Route& route, const httplib::Request& request, httplib::Response& response,
                      const httplib::ContentReader& reader, std::string& body) const {
        const std::string type = request.get_header_value("Content-Type");
        // A form of another site cannot send this type without being asked first (Fetch standard, CORS preflight).
        if (route.body == BodyKind::json && !type.starts_with("application/json")) {
            set_problem(response, 415, fmt::format("the content is \"{}\"; application/json would be right", for_message(type)));
            return false;
        }
        bool too_large = false;
        const auto take = [&](const char* data, std::size_t size) {
            too_large = too_large || body.size() + size > options_.max_json_bytes;
            if (!too_large) body.append(data, size);
            return true;  // read to its end, so that the refusal reaches whoever is still sending
        };
        const bool complete = request.is_multipart_form_data()
                                  ? reader([](const httplib::MultipartFormData&) { return true; }, take)
                                  : reader(take);
        if (complete && !too_large) return true;
        set_problem(response, too_large ? 413 : 400,
                    too_large ? fmt::format("the content is larger than {} kB", options_.max_json_bytes >> 10U)
                              : "the content ended before its length said so");
        return false;
    }

    void receive_files(const Route& route, Asked asked, const httplib::Request& request, httplib::Response& response,
                       const httplib::ContentReader& reader) {
        if (!request.is_multipart_form_data()) {
            return set_problem(response, 415, "send the survey and its photographs as files of one multipart form");
        }
        UploadLimits limits;
        limits.max_bytes = options_.max_upload_bytes;
        Result<std::unique_ptr<Upload>> opened = Upload::create(bench_.store.tiles_folder() / "passing", limits);
        if (!opened.ok()) {
            return set_problem(response, opened.error());
        }
        Upload& upload = *opened.value();
        Status status;
        bool wanted = false;
        const bool complete = reader(
            [&](const httplib::MultipartFormData& file) {
                wanted = !file.filename.empty();  // a plain field: nothing here needs one
                if (wanted && status.ok()) status = upload.begin_file(file.filename);
                return true;
            },
            [&](const char* data, std::size_t size) {
                // After a refusal the rest is read and dropped, so that the refusal reaches whoever is still sending.
                if (wanted && status.ok()) status = upload.add(data, size);
                return true;
            });
        if (complete && status.ok()) status = upload.finish();
        if (status.ok() && !complete) status = bad_input("the files ended before their length said so; send them again");
        if (!status.ok()) {
            return set_problem(response, status.error());
        }
        asked.upload = &upload;
        answer(route, asked, response);
    }

    void stream(const httplib::Request& request, httplib::Response& response) {
        auto seat = bench_.hub.take_seat(kMostListeners);
        if (!seat) return set_problem(response, 503, fmt::format("{} pages listen already; close some that are not used", kMostListeners));
        struct Place {
            EventHub::Seat seat;
            std::uint64_t number;
            bool begun = false;
        };
        std::uint64_t number = bench_.hub.now();
        if (const std::string last = request.get_header_value("Last-Event-ID"); !last.empty() && last.size() < 20) {
            number = std::strtoull(last.c_str(), nullptr, 10);  // 0 where it is no number: then all that is kept
        }
        const auto place = std::make_shared<Place>(Place{std::move(*seat), number});
        response.set_header("Cache-Control", "no-store");
        response.set_chunked_content_provider("text/event-stream", [this, place](std::size_t, httplib::DataSink& sink) {
            // The first bytes go at once, so that the page knows that it is heard.
            std::string text = place->begun ? "" : "retry: 1500\n\n";
            place->begun = true;
            bool missed = false;
            if (text.empty()) {
                const std::vector<Event> events = bench_.hub.wait_after(place->number, 10'000ms, missed);
                for (const Event& event : events) {
                    text += stream_text(event);
                    place->number = event.number;
                }
                if (missed) {
                    place->number = bench_.hub.now();
                    text += "event: missed\ndata: {}\n\n";
                }
                if (text.empty()) text = ": still here\n\n";
            }
            if (bench_.hub.closed() || !sink.write(text.data(), text.size())) return false;
            return true;
        });
    }

    static void serve_page(const httplib::Request& request, httplib::Response& response) {
        std::string path = request.path.substr(1);
        if (path.starts_with("api/") || path == "api" || path == "openapi.json") {
            response.status = 404;
            return;
        }
        if (path.empty()) path = "index.html";
        if (!page_is_built() && path == "index.html") {
            response.status = 503;
            return response.set_content(kPageMissing, "text/html; charset=utf-8");
        }
        const std::optional<WebFile> file = find_web_file(path);
        if (!file) {
            response.status = 404;
            return;
        }
        response.set_header("Content-Security-Policy", kContentPolicy);
        // Names under assets/ carry a hash of the content.
        response.set_header("Cache-Control", path.starts_with("assets/") ? "public, max-age=31536000, immutable" : "no-cache");
        response.set_content(file->content.data(), file->content.size(), std::string(media_type_of_path(path)));
    }

    // Other processes may edit the same bench: looks at the jobs' edit numbers while somebody listens.
    void watch_bench() {
        std::unordered_map<std::string, std::int64_t> seen;
        bool first = true;
        while (!stopping_) {
            std::unique_lock lock(watch_mutex_);
            watch_woken_.wait_for(lock, 800ms);
            if (stopping_ || bench_.hub.listeners() == 0) continue;
            const Result<std::vector<Job>> jobs = jobs_list(bench_.store);
            if (!jobs.ok()) continue;
            for (const Job& job : jobs.value()) {
                const auto [place, is_new] = seen.try_emplace(job.name.text(), job.last_edit);
                if ((is_new && !first) || place->second != job.last_edit) bench_.tell_change(job.name);
                place->second = job.last_edit;
            }
            first = false;
        }
    }

    ServerOptions options_;
    Bench bench_;
    Listener server_;
    int port_ = 0;
    std::atomic<bool> entered_ = false;  // run() was called
    std::atomic<bool> ended_ = false;    // and came to its end
    std::atomic<bool> stopping_ = false;
    std::thread watcher_;
    std::mutex watch_mutex_;
    std::condition_variable watch_woken_;
};

}  // namespace

std::string Server::address() const { return fmt::format("http://127.0.0.1:{}/", port()); }

Result<std::unique_ptr<Server>> Server::create(Store& store, const ServerOptions& options) {
    auto server = std::make_unique<LoopbackServer>(store, options);
    EYELET_TRY(server->bind());
    return std::unique_ptr<Server>(std::move(server));
}

}  // namespace eyelet
