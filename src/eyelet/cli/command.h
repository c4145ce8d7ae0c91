// One command of `eyelet`: a name, a sentence, and a function that declares its options and gives back what
// to do.
#pragma once

#include <CLI/CLI.hpp>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>

#include "eyelet/bench/store.h"
#include "eyelet/cli/terminal.h"
#include "eyelet/core/result.h"
#include "eyelet/jobs/watch.h"

namespace eyelet::cli {

// What every command may use. Options that stand anywhere on the line are here.
class Context {
  public:
    Context(Interrupt& interrupt, ProgressBar& bar) : interrupt_(interrupt), bar_(bar) {}

    std::string bench_asked;  // --bench, empty if it was not given
    std::string person;       // --who
    std::string program;      // as it was called

    [[nodiscard]] Result<std::filesystem::path> bench() const;
    // A command that makes a job may make the bench; others refuse a bench that is not there.
    [[nodiscard]] Result<std::unique_ptr<Store>> open(OpenMode mode = OpenMode::existing) const;
    [[nodiscard]] Who who() const;
    // Progress to the terminal, stop on Ctrl-C.
    [[nodiscard]] Watch watch() const;
    [[nodiscard]] Interrupt& interrupt() const { return interrupt_; }
    [[nodiscard]] ProgressBar& bar() const { return bar_; }

  private:
    Interrupt& interrupt_;
    ProgressBar& bar_;
};

using Run = std::function<Status(Context&)>;

struct Command {
    const char* name;
    const char* summary;  // one sentence, as help shows it
    Run (*declare)(CLI::App& app);
};

// The table, in the order in which help shows it.
[[nodiscard]] std::span<const Command> commands();

// Helps for declaring options the same way everywhere. The values live as long as the command's Run.
template <class T>
std::shared_ptr<T> options() {
    return std::make_shared<T>();
}
void add_job(CLI::App& app, std::string& job);
void add_json(CLI::App& app, bool& json);

// Declared here, one file each.
Run declare_import(CLI::App& app);
Run declare_jobs(CLI::App& app);
Run declare_show(CLI::App& app);
Run declare_align(CLI::App& app);
Run declare_follow(CLI::App& app);
Run declare_links(CLI::App& app);
Run declare_nets(CLI::App& app);
Run declare_ring(CLI::App& app);
Run declare_reading(CLI::App& app);
Run declare_journal(CLI::App& app);
Run declare_note(CLI::App& app);
Run declare_finding(CLI::App& app);
Run declare_work(CLI::App& app);
Run declare_trial(CLI::App& app);
Run declare_withdraw(CLI::App& app);
Run declare_undo(CLI::App& app);
Run declare_redo(CLI::App& app);
Run declare_report(CLI::App& app);
Run declare_corpus(CLI::App& app);
Run declare_serve(CLI::App& app);
Run declare_marking(CLI::App& app);
Run declare_compare(CLI::App& app);
Run declare_sheet(CLI::App& app);
Run declare_demo(CLI::App& app);

}  // namespace eyelet::cli
