#include "eyelet/cli/run.h"

#include <fmt/format.h>

#include <algorithm>
#include <cstdlib>
#include <exception>
#include <map>
#include <new>
#include <string>
#include <vector>

#include "eyelet/cli/command.h"
#include "eyelet/exchange/json_text.h"

#ifndef EYELET_VERSION
#define EYELET_VERSION "0.1.0"
#endif

namespace eyelet::cli {
namespace {

constexpr const char* kAbout =
    "Finds out how an electronic module is wired, from photographs of its boards and a meter, and keeps the "
    "job's "
    "journal.";

constexpr const char* kSafety =
    "Disconnect the module, let capacitors discharge and check that they did before a probe touches it.";

// Messages are one line, whatever they quote.
void complain(const std::string& message) {
    write_error("eyelet: " + for_message(message, 2'000));
}

std::string help_text() {
    std::string out = fmt::format("{}\n\nusage: eyelet COMMAND [OPTIONS] [--bench DIR]\n\n", kAbout);
    for (const Command& command : commands())
        out += fmt::format("  {:<10} {}\n", command.name, command.summary);
    out += fmt::format("  {:<10} {}\n  {:<10} {}\n\n", "help",
                       "This text, or that of one command: eyelet help ring.", "version",
                       "The program's version.");
    out +=
        "  --bench DIR  the bench folder; else EYELET_BENCH, else the platform's data folder\n"
        "  --who NAME   who does it, for the journal; else EYELET_WHO, else the login name\n\n";
    out += fmt::format("Exit: 0 done, 1 refused and nothing changed, 2 wrong usage.\n{}\n", kSafety);
    return out;
}

// The first word that is not an option of the whole program, to say kindly what is wrong with it.
std::string first_word(int argc, char** argv) {
    for (int i = 1; i < argc; ++i) {
        const std::string word = argv[i];
        if (word == "--bench" || word == "--who")
            ++i;
        else if (word.empty() || word.front() != '-')
            return word;
    }
    return {};
}

bool is_command(const std::string& word) {
    return word == "help" || word == "version" ||
           std::any_of(commands().begin(), commands().end(),
                       [&](const Command& command) { return word == command.name; });
}

std::string one_line(std::string text) {
    std::replace(text.begin(), text.end(), '\n', ' ');
    while (!text.empty() && text.back() == ' ') text.pop_back();
    return text;
}

int give(const std::string& text) {
    if (const Status status = write_out(text); !status.ok()) {
        if (status.error().code != ErrorCode::unavailable) complain(status.error().message);
        return 1;
    }
    return 0;
}

int run_checked(int argc, char** argv) {
    if (const Status status = secure_standard_files(); !status.ok()) {
        complain(status.error().message);
        return 1;
    }
    Interrupt interrupt;
    ProgressBar bar;
    Context context(interrupt, bar);
    context.program = argc > 0 ? argv[0] : "eyelet";

    CLI::App app(kAbout, "eyelet");
    app.set_help_flag("-h,--help", "This text.");
    app.add_option("--bench", context.bench_asked, "The bench folder.")->type_name("DIR");
    app.add_option("--who", context.person, "Who does it, for the journal.")
        ->type_name("NAME")
        ->envname("EYELET_WHO");
    app.require_subcommand(0, 1);

    struct Declared {
        CLI::App* app;
        Run run;
    };
    std::vector<Declared> declared;
    std::map<std::string, CLI::App*> by_name;
    for (const Command& command : commands()) {
        CLI::App* sub = app.add_subcommand(command.name, command.summary);
        sub->fallthrough();  // --bench may stand anywhere
        declared.push_back({sub, command.declare(*sub)});
        by_name[command.name] = sub;
    }
    std::string topic;
    CLI::App* help = app.add_subcommand("help", "This text, or that of one command.");
    help->add_option("COMMAND", topic, "The command to explain.");
    help->fallthrough();
    CLI::App* version = app.add_subcommand("version", "The program's version.");
    bool version_json = false;
    add_json(*version, version_json);
    version->fallthrough();

    const std::string word = first_word(argc, argv);
    try {
        app.parse(argc, argv);
    } catch (const CLI::CallForHelp&) {
        for (const CLI::App* sub : app.get_subcommands()) return give(sub->help());
        return give(help_text());
    } catch (const CLI::ParseError& error) {
        if (!word.empty() && !is_command(word))
            complain(fmt::format("\"{}\" is not a command; eyelet help lists them", for_message(word)));
        else
            complain(fmt::format("{}{}; see eyelet help{}", word.empty() ? "" : word + ": ",
                                 one_line(error.what()), word.empty() ? "" : " " + word));
        return 2;
    }

    if (version->parsed())
        return give(version_json ? "{\"version\":\"" EYELET_VERSION "\"}\n" : "eyelet " EYELET_VERSION "\n");
    if (help->parsed()) {
        if (topic.empty()) return give(help_text());
        if (const auto found = by_name.find(topic); found != by_name.end())
            return give(found->second->help());
        if (topic == "help") return give(help->help());
        if (topic == "version") return give(version->help());
        complain(fmt::format("help: \"{}\" is not a command; eyelet help lists them", for_message(topic)));
        return 2;
    }
    for (const Declared& one : declared) {
        if (!one.app->parsed()) continue;
        const Status status = one.run(context);
        bar.clear();
        if (status.ok()) return 0;
        // Whoever read our output has gone (eyelet nets J1 | head): they know, and nothing is wrong.
        if (status.error().code != ErrorCode::unavailable ||
            status.error().message.rfind("standard output", 0) != 0)
            complain(status.error().message);
        return 1;
    }
    write_error(help_text());
    return 2;
}

}  // namespace

Result<std::filesystem::path> Context::bench() const {
    return bench_folder(bench_asked.empty() ? std::nullopt
                                            : std::optional<std::filesystem::path>(bench_asked));
}

Result<std::unique_ptr<Store>> Context::open(OpenMode mode) const {
    EYELET_ASSIGN(const std::filesystem::path folder, bench());
    return open_bench(folder, mode);
}

Who Context::who() const {
    std::string name = person;
    for (const char* variable : {"USER", "LOGNAME"})
        if (const char* login = std::getenv(variable); name.empty() && login) name = login;
    return {name, "command line"};
}

Watch Context::watch() const {
    Watch watch;
    watch.progress = [this](const Progress& progress) { bar_.show(progress); };
    watch.stop = interrupt_.token();
    return watch;
}

void add_job(CLI::App& app, std::string& job) {
    app.add_option("JOB", job, "The job, as import named it.")->required();
}

void add_json(CLI::App& app, bool& json) {
    app.add_flag("--json", json, "Print JSON for other programs.");
}

std::span<const Command> commands() {
    static constexpr Command kCommands[] = {
        {"import", "Make a job from a survey: a file, or the folder that holds it.", declare_import},
        {"jobs", "List the jobs of the bench.", declare_jobs},
        {"show", "Show where a job stands.", declare_show},
        {"align", "Lay the photographs on the boards by their tie points.", declare_align},
        {"follow", "Follow copper in the photographs and propose links.", declare_follow},
        {"links", "List the links, likeliest first, with their standing.", declare_links},
        {"nets", "List the nets: as a table, JSON, CSV or IPC-D-356A.", declare_nets},
        {"ring", "Ring out: ask for one touch of the probes after another until the map is proven.",
         declare_ring},
        {"reading", "Enter a reading that nobody asked for.", declare_reading},
        {"journal", "Show the journal of a job.", declare_journal},
        {"note", "Write a note into the journal.", declare_note},
        {"finding", "Enter damage or ageing that was seen.", declare_finding},
        {"work", "Enter work that was done.", declare_work},
        {"trial", "Enter a run of the unit under the condition that brought the fault on.", declare_trial},
        {"withdraw", "Withdraw entries of the journal, and all that rested on them.", declare_withdraw},
        {"undo", "Take back the last edit of a job.", declare_undo},
        {"redo", "Do again what undo took back.", declare_redo},
        {"report", "Write the report of a job as PDF.", declare_report},
        {"corpus", "Run import to proven map over boards with known nets, and measure.", declare_corpus},
        {"demo", "Play a whole job on an invented unit, with a simulated meter.", declare_demo},
        {"serve", "Show the bench page on this machine.", declare_serve},
        {"marking", "Say what a marking on a part may mean.", declare_marking},
        {"compare", "Compare a unit's copper with a reference: what is missing, what was added.",
         declare_compare},
        {"sheet", "Say the resistance of a copper shape between two contacts.", declare_sheet},
    };
    return kCommands;
}

int run(int argc, char** argv) {
    // Errors are values everywhere; what still arrives here is a lack of memory or a mistake of our own.
    try {
        return run_checked(argc, argv);
    } catch (const std::bad_alloc&) {
        write_error("eyelet: there is not enough memory for this");
    } catch (const std::exception& error) {
        complain(fmt::format("this is a mistake of the program, please report it: {}", error.what()));
    }
    return 1;
}

}  // namespace eyelet::cli
