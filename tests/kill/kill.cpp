// Kills `eyelet import` and `eyelet ring --stdio` at random moments and checks what is left. README.md says
// what.
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <charconv>
#include <chrono>
#include <cmath>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <opencv2/core.hpp>
#include <optional>
#include <random>
#include <set>
#include <string>
#include <thread>
#include <utility>
#include <vector>

#include "eyelet/bench/sqlite.h"
#include "eyelet/bench/store.h"
#include "eyelet/exchange/survey.h"
#include "eyelet/photo/image.h"

namespace {

namespace fs = std::filesystem;
using namespace eyelet;
using Json = nlohmann::json;
using Clock = std::chrono::steady_clock;
using std::chrono::microseconds;

[[noreturn]] void give_up(const std::string& why) {
    fmt::print(stderr, "kill test: {}\n", why);
    std::exit(1);
}

template <class T>
T must(Result<T> result) {
    if (!result.ok()) give_up(result.error().message);
    return std::move(result).value();
}

// --- The board that is imported and rung out --------------------------------------------------------------

// Five rows of eight pads; pads of one column are joined, but not those of the last two columns.
constexpr int kRows = 5;
constexpr int kColumns = 8;

std::string joint_name(int row, int column) {
    return fmt::format("J{}.{}", row + 1, column + 1);
}

bool joined(const std::string& a, const std::string& b) {
    const auto column = [](const std::string& name) { return std::stoi(name.substr(name.find('.') + 1)); };
    return column(a) == column(b) && column(a) <= kColumns - 2;
}

// Noise does not compress, so the files are large enough for a kill to hit their writing.
std::vector<std::byte> noise_picture(std::uint64_t seed) {
    cv::Mat picture(400, 600, CV_8UC3);
    cv::RNG random(seed);
    random.fill(picture, cv::RNG::UNIFORM, 0, 256);
    return must(encode_png(picture));
}

void write_file(const fs::path& file, const std::vector<std::byte>& bytes) {
    std::ofstream out(file, std::ios::binary);
    out.write(reinterpret_cast<const char*>(bytes.data()), static_cast<std::streamsize>(bytes.size()));
    if (!out) give_up(file.string() + " cannot be written");
}

Survey survey_for() {
    Survey survey;
    survey.assembly.name = "kill-test-board";
    survey.assembly.boards.push_back({BoardName("main"), {60, 40}, {{0, 0}, {60, 0}, {60, 40}, {0, 40}}});
    for (int row = 0; row < kRows; ++row) {
        Part part;
        part.name = PartName(fmt::format("J{}", row + 1));
        part.board = BoardIndex(0);
        part.body = {{4.0, 4.0 + 7 * row}, {50, 8.0 + 7 * row}};
        for (int column = 0; column < kColumns; ++column) {
            Joint joint;
            joint.name = JointName(joint_name(row, column));
            joint.board = BoardIndex(0);
            joint.part = PartIndex(static_cast<std::size_t>(row));
            joint.pin = std::to_string(column + 1);
            joint.hole = {6 + 5.08 * column, 6.0 + 7 * row};
            joint.copper_centre = joint.hole;
            joint.pad_mm = {1.8, 1.8};
            joint.drill_mm = Size{0.9, 0.9};
            part.joints.emplace_back(survey.assembly.joints.size());
            survey.assembly.joints.push_back(joint);
        }
        survey.assembly.parts.push_back(part);
    }
    for (const Side side : {Side::component, Side::solder}) {
        SurveyPhoto photo;
        photo.board = BoardIndex(0);
        photo.side = side;
        photo.file = std::string(key_of(side)) + ".png";
        photo.width_px = 600;
        photo.height_px = 400;
        survey.photos.push_back(photo);
    }
    return survey;
}

// --- A child process with its two pipes --------------------------------------------------------------------

class Child {
  public:
    explicit Child(const std::vector<std::string>& words) {
        int in[2];
        int out[2];
        if (::pipe2(in, O_CLOEXEC) != 0 || ::pipe2(out, O_CLOEXEC) != 0) give_up("no pipe can be made");
        std::vector<char*> arguments;
        for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
        arguments.push_back(nullptr);
        pid_ = ::fork();
        if (pid_ < 0) give_up("no process can be made");
        if (pid_ == 0) {
            ::dup2(in[0], 0);
            ::dup2(out[1], 1);
            const int nowhere = ::open("/dev/null", O_WRONLY);
            ::dup2(nowhere, 2);
            ::execv(arguments[0], arguments.data());
            ::_exit(127);
        }
        ::close(in[0]);
        ::close(out[1]);
        to_ = in[1];
        from_ = out[0];
    }
    Child(const Child&) = delete;
    Child& operator=(const Child&) = delete;
    ~Child() {
        ::close(to_);
        ::close(from_);
    }

    // Kills the process after the delay, from a thread of its own.
    void kill_after(microseconds delay) {
        killer_ = std::jthread([this, delay](const std::stop_token& stop) {
            const auto until = Clock::now() + delay;
            while (Clock::now() < until && !stop.stop_requested())
                std::this_thread::sleep_for(microseconds(200));
            if (!stop.stop_requested()) ::kill(pid_, SIGKILL);
        });
    }
    [[nodiscard]] std::optional<std::string> line() {
        for (;;) {
            if (const auto end = buffer_.find('\n'); end != std::string::npos) {
                std::string one = buffer_.substr(0, end);
                buffer_.erase(0, end + 1);
                return one;
            }
            char block[4096];
            const ssize_t count = ::read(from_, block, sizeof block);
            if (count < 0 && errno == EINTR) continue;
            if (count <= 0) return std::nullopt;
            buffer_.append(block, static_cast<std::size_t>(count));
        }
    }
    void say(const std::string& text) {
        const std::string with_end = text + "\n";
        // A broken pipe is told by the next line that does not come.
        [[maybe_unused]] const ssize_t ignored = ::write(to_, with_end.data(), with_end.size());
    }
    // True where the process was killed, false where it had ended by itself.
    [[nodiscard]] bool wait() {
        int status = 0;
        while (::waitpid(pid_, &status, 0) < 0 && errno == EINTR) {
        }
        killer_.request_stop();
        exit_code_ = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
        return WIFSIGNALED(status) && WTERMSIG(status) == SIGKILL;
    }
    [[nodiscard]] int exit_code() const { return exit_code_; }

  private:
    pid_t pid_ = -1;
    int to_ = -1;
    int from_ = -1;
    int exit_code_ = -1;
    std::string buffer_;
    std::jthread killer_;
};

// --- What was acknowledged ---------------------------------------------------------------------------------

struct Taken {
    std::string from;
    std::string to;
    std::optional<double> ohm;  // none: open
};
struct Gesture {
    std::vector<Taken> readings;
    bool withdrawn = false;
};
struct RungJob {
    std::vector<Gesture> gestures;  // stored for sure, withdrawn ones among them
};

class KillTest {
  public:
    KillTest(std::string command, std::uint64_t seed) : command_(std::move(command)), random_(seed) {
        std::string pattern = (fs::temp_directory_path() / "eyelet-kill-XXXXXX").string();
        if (::mkdtemp(pattern.data()) == nullptr) give_up("no temporary folder can be made");
        folder_ = pattern;
        bench_ = folder_ / "bench";
        fs::create_directory(folder_ / "survey");
        const Survey survey = survey_for();
        for (const SurveyPhoto& photo : survey.photos) {
            pictures_.push_back(noise_picture(7 + pictures_.size()));
            write_file(folder_ / "survey" / photo.file, pictures_.back());
        }
        std::ofstream(folder_ / "survey" / "survey.json") << survey_json(survey, BoardIndex(0));
    }
    KillTest(const KillTest&) = delete;
    KillTest& operator=(const KillTest&) = delete;
    ~KillTest() {
        std::error_code ignored;
        if (failed_ == 0)
            fs::remove_all(folder_, ignored);
        else
            fmt::print(stderr, "the bench is left in {}\n", folder_.string());
    }

    int run(int kills) {
        import_lasts_ = time_of([&] { (void)import(std::nullopt); });
        ring_job_ = import(std::nullopt).value_or("");
        if (ring_job_.empty()) give_up("an import that nobody killed printed no job");
        int killed_imports = 0;
        int killed_rings = 0;
        for (int tries = 0; killed_imports + killed_rings < kills; ++tries) {
            if (tries > 20 * kills) give_up("the processes end before they can be killed");
            const bool importing = killed_imports * 2 <= kills && (killed_imports <= killed_rings);
            const bool killed = importing ? kill_import() : kill_ring();
            (importing ? killed_imports : killed_rings) += killed ? 1 : 0;
        }
        check_everything();
        fmt::print("killed {} imports and {} ring-outs; {} jobs and {} readings had been acknowledged\n",
                   killed_imports, killed_rings, acknowledged_jobs_.size(), acknowledged_readings());
        fmt::print("{} passed, {} failed\n", passed_, failed_);
        return failed_ == 0 ? 0 : 1;
    }

  private:
    template <class Work>
    microseconds time_of(Work work) {
        const auto start = Clock::now();
        work();
        return std::chrono::duration_cast<microseconds>(Clock::now() - start);
    }
    microseconds moment_within(microseconds most) {
        return microseconds(std::uniform_int_distribution<std::int64_t>(0, most.count())(random_));
    }

    void check(bool good, const std::string& what) {
        ++(good ? passed_ : failed_);
        if (!good) fmt::print(stderr, "FAILED: {}\n", what);
    }

    // Imports, killed after the delay where one is given. The job where it was printed.
    std::optional<std::string> import(std::optional<microseconds> delay) {
        Child child(
            {command_, "--bench", bench_.string(), "import", (folder_ / "survey").string(), "--json"});
        if (delay) child.kill_after(*delay);
        std::optional<std::string> job;
        while (const auto line = child.line()) {
            const Json said = Json::parse(*line, nullptr, false);
            if (said.is_object() && said.contains("job")) job = said.at("job").get<std::string>();
        }
        was_killed_ = child.wait();
        if (!was_killed_ && child.exit_code() != 0)
            give_up(fmt::format("import ended with {}", child.exit_code()));
        if (job) acknowledged_jobs_.push_back(*job);
        check_new_jobs(job);
        return job;
    }

    bool kill_import() {
        // Now and then new pictures, so that their files are not there yet.
        if (std::uniform_int_distribution(0, 1)(random_) == 0) {
            const std::size_t which = std::uniform_int_distribution<std::size_t>(0, 1)(random_);
            pictures_[which] = noise_picture(random_());
            write_file(folder_ / "survey" / (which == 0 ? "top.png" : "bottom.png"), pictures_[which]);
        }
        (void)import(moment_within(import_lasts_ * 5 / 4));
        return was_killed_;
    }

    // Each job that was not seen before is whole, whether it was acknowledged or not.
    void check_new_jobs(const std::optional<std::string>& printed) {
        const auto store = open_bench(bench_);
        check(store.ok(), store.ok() ? "" : "the bench does not open: " + store.error().message);
        if (!store.ok()) return;
        for (const Job& one : must(store.value()->jobs())) {
            if (whole_jobs_.contains(one.name.text())) continue;
            const auto photographs = must(store.value()->photographs(one.name));
            bool whole = photographs.size() == 2;
            for (std::size_t i = 0; whole && i < 2; ++i) {
                const auto bytes = store.value()->photograph_bytes(photographs[i].name);
                whole = bytes.ok() && bytes.value() == pictures_[i];
            }
            check(whole, fmt::format("job {} is whole", one.name.text()));
            whole_jobs_.insert(one.name.text());
        }
        if (printed)
            check(whole_jobs_.contains(*printed),
                  fmt::format("job {}, which was printed, is there", *printed));
    }

    // Answers until the process is killed or done. Checks the journal against what was acknowledged.
    bool kill_ring() {
        RungJob& rung = rung_[ring_job_];
        std::optional<Gesture> pending;
        bool pending_undo = false;
        bool done = false;
        bool killed = false;
        {
            Child child({command_, "--bench", bench_.string(), "ring", ring_job_, "--stdio"});
            child.kill_after(moment_within(ring_lasts_));
            while (const auto line = child.line()) {
                const Json said = Json::parse(*line, nullptr, false);
                if (!said.is_object()) give_up("ring printed something that is no JSON object: " + *line);
                // Any line after an answer acknowledges it, but for an error.
                if (said.contains("error")) {
                    check(false, "ring refused an answer: " + *line);
                    break;
                }
                if (pending) rung.gestures.push_back(*std::exchange(pending, std::nullopt));
                if (std::exchange(pending_undo, false)) withdraw_last(rung);
                if (said.contains("done")) {
                    done = true;
                    break;
                }
                if (has_standing(rung) && std::uniform_int_distribution(0, 9)(random_) == 0) {
                    pending_undo = true;
                    child.say(R"({"undo":true})");
                    continue;
                }
                pending = answer_to(said);
                child.say(as_line(said, *pending));
            }
            killed = child.wait();
            if (!killed && !done && child.exit_code() != 0)
                give_up(fmt::format("ring ended with {}", child.exit_code()));
        }
        compare(rung, pending, pending_undo);
        if (done) {
            const auto next = import(std::nullopt);
            if (!next) give_up("an import that nobody killed printed no job");
            ring_job_ = *next;
        }
        return killed;
    }

    static bool has_standing(const RungJob& rung) {
        for (const Gesture& gesture : rung.gestures)
            if (!gesture.withdrawn) return true;
        return false;
    }
    static void withdraw_last(RungJob& rung) {
        for (auto gesture = rung.gestures.rbegin(); gesture != rung.gestures.rend(); ++gesture)
            if (!gesture->withdrawn) {
                gesture->withdrawn = true;
                return;
            }
    }

    // Every value is another one, so that a lost reading cannot hide behind a like one.
    Gesture answer_to(const Json& asked) {
        Gesture gesture;
        const auto hold = asked.at("hold").get<std::string>();
        const auto read = [&](const std::string& to) {
            Taken taken{hold, to, std::nullopt};
            if (joined(hold, to)) taken.ohm = 0.05 + 1e-6 * static_cast<double>(++values_);
            gesture.readings.push_back(taken);
        };
        if (asked.at("gesture") == "touch")
            read(asked.at("to").get<std::string>());
        else
            for (const Json& joint : asked.at("along")) read(joint.get<std::string>());
        return gesture;
    }
    static std::string as_line(const Json& asked, const Gesture& gesture) {
        if (asked.at("gesture") == "touch") {
            const auto& ohm = gesture.readings.front().ohm;
            return (ohm ? Json{{"ohms", *ohm}} : Json{{"open", true}}).dump();
        }
        Json answers = Json::object();
        for (const Taken& taken : gesture.readings)
            answers[taken.to] = taken.ohm ? Json(*taken.ohm) : Json("open");
        return Json{{"answers", answers}}.dump();
    }

    void compare(RungJob& rung, const std::optional<Gesture>& pending, bool pending_undo) {
        const auto store = open_bench(bench_);
        check(store.ok(), store.ok() ? "" : "the bench does not open: " + store.error().message);
        if (!store.ok()) return;
        const auto journal = must(store.value()->journal(JobName(ring_job_), EntryKind::reading));
        std::vector<Gesture> stored;
        std::int64_t edit = -1;
        for (const Entry& entry : journal) {
            const auto& reading = std::get<ReadingEntry>(entry.body);
            if (entry.edit != edit)
                stored.emplace_back();
            else if (stored.back().withdrawn != entry.withdrawn)
                check(false, fmt::format("{}: half of a gesture is withdrawn", entry.name.text()));
            edit = entry.edit;
            Taken taken{reading.from.text(), reading.to.text(), std::nullopt};
            if (const auto* ohms = std::get_if<Ohms>(&reading.said)) taken.ohm = ohms->value;
            stored.back().readings.push_back(taken);
            stored.back().withdrawn = entry.withdrawn;
        }
        // What was not acknowledged may be there, whole, or not.
        if (pending && stored.size() == rung.gestures.size() + 1) rung.gestures.push_back(*pending);
        if (pending_undo && stored.size() == rung.gestures.size()) {
            RungJob undone = rung;
            withdraw_last(undone);
            if (same(stored, undone.gestures)) rung = undone;
        }
        check(same(stored, rung.gestures),
              fmt::format("job {}: the journal holds {} gestures that are not the {} acknowledged ones",
                          ring_job_, stored.size(), rung.gestures.size()));
    }
    static bool same(const std::vector<Gesture>& a, const std::vector<Gesture>& b) {
        if (a.size() != b.size()) return false;
        for (std::size_t i = 0; i < a.size(); ++i) {
            if (a[i].withdrawn != b[i].withdrawn || a[i].readings.size() != b[i].readings.size())
                return false;
            for (std::size_t k = 0; k < a[i].readings.size(); ++k) {
                const Taken& x = a[i].readings[k];
                const Taken& y = b[i].readings[k];
                if (x.from != y.from || x.to != y.to || x.ohm.has_value() != y.ohm.has_value()) return false;
                if (x.ohm && std::abs(*x.ohm - *y.ohm) > 1e-9) return false;
            }
        }
        return true;
    }

    void check_everything() {
        auto opened = open_bench(bench_, OpenMode::existing);
        check(opened.ok(), "the bench opens at the end");
        if (!opened.ok()) return;
        auto store = std::move(opened).value();
        for (const std::string& job : acknowledged_jobs_) {
            const auto found = store->job(JobName(job));
            check(found.ok(), fmt::format("job {} is there at the end", job));
            for (const Photograph& photograph : must(store->photographs(JobName(job))))
                check(store->photograph_bytes(photograph.name).ok(),
                      fmt::format("photograph {} is whole", photograph.name.text()));
        }
        for (const auto& [job, rung] : rung_) {
            ring_job_ = job;
            RungJob copy = rung;
            compare(copy, std::nullopt, false);
        }
        auto database = must(sqlite::Database::open(bench_ / "bench.db", false, 5000));
        const auto integrity =
            database->row("PRAGMA integrity_check", [](const sqlite::Statement& s) { return s.text(0); });
        check(integrity.ok() && integrity.value() == "ok", "the database is sound");
        const auto foreign = database->number("SELECT count(*) FROM pragma_foreign_key_check");
        check(foreign.ok() && foreign.value() == 0, "every reference in the database holds");
    }

    std::size_t acknowledged_readings() const {
        std::size_t count = 0;
        for (const auto& [job, rung] : rung_)
            for (const Gesture& gesture : rung.gestures) count += gesture.readings.size();
        return count;
    }

    std::string command_;
    std::mt19937_64 random_;
    fs::path folder_;
    fs::path bench_;
    std::vector<std::vector<std::byte>> pictures_;
    microseconds import_lasts_{0};
    microseconds ring_lasts_{250'000};
    std::string ring_job_;
    bool was_killed_ = false;
    std::uint64_t values_ = 0;
    std::vector<std::string> acknowledged_jobs_;
    std::set<std::string> whole_jobs_;
    std::map<std::string, RungJob> rung_;
    int passed_ = 0;
    int failed_ = 0;
};

}  // namespace

int main(int count, char** words) {
    std::signal(SIGPIPE, SIG_IGN);
    int kills = 200;
    std::uint64_t seed = std::random_device{}();
    std::string command;
    for (int i = 1; i < count; ++i) {
        const std::string word = words[i];
        if ((word == "--kills" || word == "--seed") && i + 1 < count) {
            const std::string value = words[++i];
            std::uint64_t number = 0;
            const auto [end, error] = std::from_chars(value.data(), value.data() + value.size(), number);
            if (error != std::errc() || end != value.data() + value.size())
                give_up(word + " needs a number, not " + value);
            if (word == "--kills")
                kills = static_cast<int>(number);
            else
                seed = number;
        } else {
            command = word;
        }
    }
    if (command.empty()) give_up("usage: eyelet_kill EYELET [--kills N] [--seed N]");
    fmt::print("seed {}\n", seed);
    return KillTest(command, seed).run(kills);
}
