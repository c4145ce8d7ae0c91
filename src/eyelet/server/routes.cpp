#include "eyelet/server/routes.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <iterator>
#include <system_error>

#include "eyelet/board/cautions.h"
#include "eyelet/exchange/ipc356.h"
#include "eyelet/exchange/json_text.h"
#include "eyelet/exchange/nets_out.h"
#include "eyelet/exchange/ring_lines.h"
#include "eyelet/exchange/survey.h"
#include "eyelet/jobs/align.h"
#include "eyelet/jobs/follow.h"
#include "eyelet/jobs/import.h"
#include "eyelet/jobs/journal.h"
#include "eyelet/jobs/nets.h"
#include "eyelet/jobs/report.h"
#include "eyelet/jobs/tiles.h"
#include "eyelet/report/job_report.h"
#include "eyelet/server/json_shapes.h"
#include "eyelet/server/web_files.h"

namespace eyelet {
namespace {

using Json = nlohmann::json;

// --- Reading what was asked -------------------------------------------------------------------------

// Members of a JSON object, each asked for by name; a member that nobody knows is refused by end().
class Members {
  public:
    [[nodiscard]] static Result<Members> of(const std::string& body, std::string what) {
        EYELET_ASSIGN(Json json, parse_json_text(body, what));
        if (!json.is_object()) return bad_input(fmt::format("{}: a JSON object would be right", what));
        return Members(std::move(json), std::move(what));
    }

    [[nodiscard]] bool has(const char* key) const { return json_.contains(key); }

    [[nodiscard]] Result<std::string> text(const char* key, const char* otherwise = nullptr) {
        return get<std::string>(key, otherwise == nullptr ? std::optional<std::string>() : std::optional<std::string>(otherwise),
                                "text", [](const Json& v) { return v.is_string(); });
    }
    [[nodiscard]] Result<double> number(const char* key, std::optional<double> otherwise = std::nullopt) {
        return get<double>(key, otherwise, "a number",
                           [](const Json& v) { return v.is_number() && std::isfinite(v.get<double>()); });
    }
    // null is none.
    [[nodiscard]] Result<std::optional<double>> maybe_number(const char* key, std::optional<double> otherwise) {
        known_.insert(key);
        if (!has(key)) return otherwise;
        if (json_[key].is_null()) return std::optional<double>();
        EYELET_ASSIGN(const double value, number(key));
        return std::optional<double>(value);
    }
    [[nodiscard]] Result<std::vector<std::string>> texts(const char* key) {
        return get<std::vector<std::string>>(key, std::vector<std::string>(), "a list of names", [](const Json& v) {
            return v.is_array() && std::all_of(v.begin(), v.end(), [](const Json& e) { return e.is_string(); });
        });
    }
    [[nodiscard]] bool flag(const char* key) {
        known_.insert(key);
        return has(key) && json_[key].is_boolean() && json_[key].get<bool>();
    }
    [[nodiscard]] Status end() const {
        for (const auto& [key, value] : json_.items()) {
            if (!known_.contains(key)) return bad_input(fmt::format("{}: there is no member \"{}\"", what_, for_message(key)));
        }
        return {};
    }

  private:
    Members(Json json, std::string what) : json_(std::move(json)), what_(std::move(what)) {}

    template <class T, class Right>
    [[nodiscard]] Result<T> get(const char* key, std::optional<T> otherwise, const char* wanted, Right right) {
        known_.insert(key);
        if (!has(key)) {
            if (otherwise) return *otherwise;
            return bad_input(fmt::format("{}: \"{}\" is missing; {} would be right", what_, key, wanted));
        }
        if (!right(json_[key])) return bad_input(fmt::format("{}: \"{}\" must be {}", what_, key, wanted));
        return json_[key].template get<T>();
    }

    Json json_;
    std::string what_;
    std::set<std::string> known_;
};

Result<int> whole_number(const std::string& text, const char* what) {
    int value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc() || end != text.data() + text.size() || value < 0) {
        return not_found(fmt::format("{} \"{}\" is not a whole number", what, for_message(text)));
    }
    return value;
}

Result<TilesOf> tiles_kind(const Asked& asked) {
    const std::string& of = asked.path.at("of");
    if (of == "rectified") return TilesOf::rectified;
    if (of == "photograph") return TilesOf::photograph;
    return not_found(fmt::format("there are no tiles of \"{}\"; photograph or rectified would be right", for_message(of)));
}

Result<Side> side_named(const std::string& key) {
    if (const std::optional<Side> side = side_from_key(key)) return *side;
    return bad_input(fmt::format("\"side\" is \"{}\"; top or bottom would be right", for_message(key)));
}

// --- The program ------------------------------------------------------------------------------------

Result<Reply> version(Bench&, const Asked&) { return reply_json({{"name", "Eyelet"}, {"version", EYELET_VERSION}}); }

Result<Reply> get_cautions(Bench&, const Asked&) {
    Json list = Json::array();
    for (const Caution& caution : cautions()) {
        list.push_back({{"key", caution.key}, {"title", caution.title}, {"text", caution.text}});
    }
    return reply_json({{"cautions", list}});
}

Result<Reply> openapi(Bench&, const Asked&) {
    const std::optional<WebFile> file = find_web_file("openapi.json");
    if (!file) return unavailable("the OpenAPI document was not built into this program");
    return Reply{200, "application/json", std::string(file->content), "", false};
}

// --- Jobs -------------------------------------------------------------------------------------------

Result<std::size_t> readings_that_stand(Store& store, const JobName& job) {
    EYELET_ASSIGN(const std::vector<Entry> readings, store.journal(job, EntryKind::reading));
    return static_cast<std::size_t>(std::count_if(readings.begin(), readings.end(), [](const Entry& e) { return !e.withdrawn; }));
}

Result<Reply> list_jobs(Bench& bench, const Asked&) {
    EYELET_ASSIGN(const std::vector<Job> jobs, jobs_list(bench.store));
    Json list = Json::array();
    for (const Job& job : jobs) {
        EYELET_ASSIGN(const MapVersion map, bench.store.map(job.name));
        EYELET_ASSIGN(const std::size_t readings, readings_that_stand(bench.store, job.name));
        list.push_back(shapes::job_summary(job, map.map, readings));
    }
    return reply_json({{"jobs", list}});
}

Result<Reply> import_job(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const std::filesystem::path file, asked.upload->survey());
    EYELET_ASSIGN(const Survey survey, read_survey(file));
    ImportOptions options;
    options.who = asked.who();
    Watch watch;
    watch.progress = [&](const Progress& p) { bench.tell_progress(JobName(), "import", p.share, p.what); };
    EYELET_ASSIGN(const Job job, import_survey(bench.store, survey, options, watch));
    bench.tell_change(job.name);
    return reply_json({{"job", job.name.text()}}, 201);
}

Result<Reply> get_job(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(Job job, bench.store.job(asked.job()));
    EYELET_ASSIGN(const MapVersion map, bench.store.map(asked.job()));
    EYELET_ASSIGN(std::vector<Photograph> photographs, bench.store.photographs(asked.job()));
    EYELET_ASSIGN(std::vector<StoredAlignment> alignments, bench.store.alignments(asked.job()));
    EYELET_ASSIGN(std::optional<StoredProposals> proposals, bench.store.proposals(asked.job()));
    EYELET_ASSIGN(const std::size_t readings, readings_that_stand(bench.store, asked.job()));
    return reply_json(shapes::job({std::move(job), map.map, std::move(photographs), std::move(alignments), std::move(proposals), readings}));
}

Result<Reply> get_map(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const MapVersion map, bench.store.map(asked.job()));
    return reply_json(shapes::map(map.map));
}

// --- Photographs ------------------------------------------------------------------------------------

Result<Reply> get_pyramid(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const TilesOf of, tiles_kind(asked));
    EYELET_ASSIGN(const TilePyramid tiles, tiles_of(bench.store, asked.job(), PhotographName(asked.path.at("photograph")), of));
    return reply_json(shapes::pyramid(tiles));
}

Result<Reply> get_tile(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const TilesOf of, tiles_kind(asked));
    EYELET_ASSIGN(const int level, whole_number(asked.path.at("level"), "level"));
    const std::string& tile = asked.path.at("tile");
    const std::size_t middle = tile.find('_');
    if (middle == std::string::npos || !tile.ends_with(".jpg")) {
        return not_found(fmt::format("no tile is called \"{}\"; COLUMN_ROW.jpg would be right", for_message(tile)));
    }
    EYELET_ASSIGN(const int column, whole_number(tile.substr(0, middle), "column"));
    EYELET_ASSIGN(const int row, whole_number(tile.substr(middle + 1, tile.size() - middle - 5), "row"));
    EYELET_ASSIGN(const TilePyramid tiles, tiles_of(bench.store, asked.job(), PhotographName(asked.path.at("photograph")), of));
    // Built of numbers alone, so no name can lead out of the folder.
    const std::filesystem::path file = tiles.folder / std::to_string(level) / fmt::format("{}_{}.jpg", column, row);
    std::ifstream in(file, std::ios::binary);
    if (!in) return not_found(fmt::format("there is no tile {}/{}_{}", level, column, row));
    Reply reply;
    reply.content_type = "image/jpeg";
    reply.body.assign(std::istreambuf_iterator<char>(in), {});
    reply.keep_for_good = asked.query.contains("v");
    return reply;
}

Result<Json> alignment_shape(Bench& bench, const JobName& job, const std::vector<std::string>& remarks) {
    EYELET_ASSIGN(const MapVersion map, bench.store.map(job));
    EYELET_ASSIGN(const std::vector<Photograph> photographs, bench.store.photographs(job));
    EYELET_ASSIGN(const std::vector<StoredAlignment> alignments, bench.store.alignments(job));
    return shapes::alignment(map.map, photographs, alignments, remarks);
}

Result<Reply> get_alignment(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const Json shape, alignment_shape(bench, asked.job(), {}));
    return reply_json(shape);
}

Watch watch_of(Bench& bench, const JobName& job, const char* task) {
    Watch watch;
    watch.progress = [&bench, job, task](const Progress& p) { bench.tell_progress(job, task, p.share, p.what); };
    return watch;
}

Result<Reply> align(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const Bench::Turn turn, bench.take_turn(asked.job()));
    EYELET_ASSIGN(const AlignSummary summary, align_job(bench.store, asked.job(), watch_of(bench, asked.job(), "align")));
    bench.tell_change(asked.job());
    EYELET_ASSIGN(const Json shape, alignment_shape(bench, asked.job(), summary.remarks));
    return reply_json(shape);
}

Result<Reply> follow_reply(Bench& bench, const JobName& job) {
    EYELET_ASSIGN(const MapVersion map, bench.store.map(job));
    EYELET_ASSIGN(const std::optional<StoredProposals> proposals, bench.store.proposals(job));
    EYELET_ASSIGN(const std::vector<ToneSettled> settled, bench.store.tones_settled(job));
    return reply_json(shapes::follow_summary(map.map, proposals.value_or(StoredProposals{}), settled));
}

Result<Reply> follow_with(Bench& bench, const Asked& asked, const FollowOptions& options) {
    EYELET_ASSIGN(const Bench::Turn turn, bench.take_turn(asked.job()));
    EYELET_TRY([&]() -> Status {
        const Result<FollowSummary> summary = follow_job(bench.store, asked.job(), options, watch_of(bench, asked.job(), "follow"));
        return summary.ok() ? Status() : Status(summary.error());
    }());
    bench.tell_change(asked.job());
    return follow_reply(bench, asked.job());
}

Result<Reply> follow(Bench& bench, const Asked& asked) { return follow_with(bench, asked, {{}, asked.who()}); }

Result<Reply> get_tones(Bench& bench, const Asked& asked) { return follow_reply(bench, asked.job()); }

Result<Reply> answer_tone(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(Members members, Members::of(asked.body, "tone"));
    EYELET_ASSIGN(const double board, members.number("board"));
    EYELET_ASSIGN(const std::string side, members.text("side"));
    EYELET_ASSIGN(const std::string copper, members.text("copper"));
    EYELET_TRY(members.end());
    EYELET_ASSIGN(const Side which, side_named(side));
    const std::optional<CopperTone> tone = copper_tone_from_name(copper);
    if (!tone) return bad_input(fmt::format("tone: \"copper\" is \"{}\"; lighter or darker would be right", for_message(copper)));
    EYELET_ASSIGN(const MapVersion map, bench.store.map(asked.job()));
    if (board < 0 || board >= static_cast<double>(map.map.boards.size()) || board != std::floor(board)) {
        return bad_input(fmt::format("tone: there is no board {}; 0 to {} would be right", board, map.map.boards.size() - 1));
    }
    const BoardName& name = map.map.boards[static_cast<std::size_t>(board)].name;
    return follow_with(bench, asked, {{{name, which, *tone}}, asked.who()});
}

// --- Links and nets ---------------------------------------------------------------------------------

Result<Reply> get_links(Bench& bench, const Asked& asked) {
    return bench.desks.with<Reply>(asked.job(), [](RingSession& session, const RingSessionOptions&) -> Result<Reply> {
        // The photographs' own probability, with the standing that the readings gave: as `eyelet links` prints it.
        std::vector<Link> links = session.proposals().links;
        const std::vector<Standing>& standings = session.state().links;
        for (std::size_t i = 0; i < links.size() && i < standings.size(); ++i) links[i].standing = standings[i];
        return reply_json(shapes::links(session.map(), links));
    });
}

Result<NetsOfJob> nets_asked(Bench& bench, const Asked& asked) {
    const auto proposed = asked.query.find("proposed");
    if (proposed != asked.query.end() && proposed->second != "false") {
        if (proposed->second != "true") {
            return bad_input(fmt::format("\"proposed\" is \"{}\"; true or false would be right", for_message(proposed->second)));
        }
        return nets_of(bench.store, asked.job(), NetsFrom::photographs);
    }
    return bench.desks.with<NetsOfJob>(asked.job(), [](RingSession& session, const RingSessionOptions&) -> Result<NetsOfJob> {
        return NetsOfJob{session.map(), session.state().nets};
    });
}

Result<Reply> get_nets(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const NetsOfJob nets, nets_asked(bench, asked));
    return reply_json(shapes::nets(nets.map, nets.nets));
}

Result<Reply> get_netlist(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const NetsOfJob nets, nets_asked(bench, asked));
    const auto given = asked.query.find("form");
    const std::string form = given == asked.query.end() ? "csv" : given->second;
    const std::string name = asked.job().text() + "-nets";
    if (form == "csv") return Reply{200, "text/csv; charset=utf-8", nets_csv(nets.map, nets.nets), name + ".csv", false};
    if (form == "json") return Reply{200, "application/json", nets_json(nets.map, nets.nets), name + ".json", false};
    if (form == "ipc356") {
        // The record describes one board; of an assembly, `board` says which.
        int board = 0;
        if (const auto which = asked.query.find("board"); which != asked.query.end()) {
            EYELET_ASSIGN(board, whole_number(which->second, "board"));
        }
        if (static_cast<std::size_t>(board) >= nets.map.boards.size()) return not_found(fmt::format("there is no board {}", board));
        EYELET_ASSIGN(std::string record, ipc356(nets.map, BoardIndex(static_cast<std::size_t>(board)), nets.nets));
        return Reply{200, "text/plain; charset=us-ascii", std::move(record), name + ".ipc", false};
    }
    return bad_input(fmt::format("\"form\" is \"{}\"; csv, json or ipc356 would be right", for_message(form)));
}

// --- Ringing out ------------------------------------------------------------------------------------

Result<Json> ring_shape(RingSession& session, const RingSessionOptions& options) {
    EYELET_ASSIGN(const std::optional<Gesture> asked, session.next());
    const RingState& state = session.state();
    std::vector<std::vector<EntryName>> entries;
    for (const Contradiction& contradiction : state.contradictions) entries.push_back(session.entries_of(contradiction));
    return shapes::ring_state({session.map(), asked, state, options.ring.risk, std::move(entries), session.remarks()});
}

Result<Reply> get_ring(Bench& bench, const Asked& asked) {
    return bench.desks.with<Reply>(asked.job(), [](RingSession& session, const RingSessionOptions& options) -> Result<Reply> {
        EYELET_ASSIGN(const Json shape, ring_shape(session, options));
        return reply_json(shape);
    });
}

Status take_answer(RingSession& session, const std::string& body) {
    EYELET_ASSIGN(const Json json, parse_json_text(body, "answer"));
    if (!json.is_object()) return bad_input("answer: a JSON object such as {\"ohms\":0.2} would be right");
    if (json.contains("undo")) {
        const Result<Edit> undone = session.undo();
        return undone.ok() ? Status() : Status(undone.error());
    }
    if (json.contains("stop")) return {};  // every answer is on disk already
    EYELET_ASSIGN(const std::optional<Gesture> asked, session.next());
    if (!asked) return refused("nothing is asked any more, so there is nothing to answer");
    const RingCounts& counts = session.state().counts;
    if (!json.contains("question") || !json["question"].is_string()) {
        return bad_input("answer: \"question\" is missing; it says which question this answers");
    }
    if (json["question"] != shapes::question_id(session.map(), *asked, counts.gestures, counts.readings)) {
        return refused("this question was answered already, perhaps on another device; the one asked now is another");
    }
    EYELET_ASSIGN(const RingLine line, read_ring_line(session.map(), *asked, body));
    const auto* answer = std::get_if<Answer>(&line);
    if (answer == nullptr) return bad_input("answer: ohms, open, beep, answers, beeps or skip would be right");
    return session.answer(*answer);
}

Result<Reply> answer_ring(Bench& bench, const Asked& asked) {
    auto reply = bench.desks.with<Reply>(asked.job(), [&](RingSession& session, const RingSessionOptions& options) -> Result<Reply> {
        EYELET_TRY(take_answer(session, asked.body));
        EYELET_ASSIGN(const Json shape, ring_shape(session, options));
        return reply_json(shape);
    });
    if (reply.ok()) bench.tell_change(asked.job());
    return reply;
}

Result<JointIndex> joint_named(const Assembly& map, const std::string& name) {
    const JointIndex joint = map.find_joint(JointName(name));
    if (!joint.valid()) return bad_input(fmt::format("no joint is called \"{}\"", for_message(name)));
    if (!map.joint(joint).can_be_touched()) {
        return bad_input(fmt::format("\"{}\" is a via: a needle does not reach it", for_message(name)));
    }
    return joint;
}

Result<Reply> add_reading(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(Members members, Members::of(asked.body, "reading"));
    EYELET_ASSIGN(const std::string from, members.text("from"));
    EYELET_ASSIGN(const std::string to, members.text("to"));
    Said said = Open{};
    const bool open = members.flag("open");
    const bool beep = members.flag("beep");
    const bool ohms = members.has("ohms");
    EYELET_ASSIGN(const double value, members.number("ohms", 0.0));
    EYELET_TRY(members.end());
    if (static_cast<int>(open) + static_cast<int>(beep) + static_cast<int>(ohms) != 1) {
        return bad_input("reading: exactly one of ohms, open and beep would be right");
    }
    if (ohms && value < 0) return bad_input("reading: \"ohms\" is negative; leads taken off, nothing reads below 0");
    if (beep) said = Beep{};
    if (ohms) said = Ohms{value};
    auto reply = bench.desks.with<Reply>(asked.job(), [&](RingSession& session, const RingSessionOptions& options) -> Result<Reply> {
        EYELET_ASSIGN(const JointIndex held, joint_named(session.map(), from));
        EYELET_ASSIGN(const JointIndex moved, joint_named(session.map(), to));
        if (held == moved) return bad_input("reading: both probes on one joint tell nothing");
        EYELET_TRY(session.volunteer(held, moved, said));
        EYELET_ASSIGN(const Json shape, ring_shape(session, options));
        return reply_json(shape);
    });
    if (reply.ok()) bench.tell_change(asked.job());
    return reply;
}

Json options_shape(const RingSessionOptions& options) {
    const auto or_null = [](const std::optional<double>& value) { return value ? Json(*value) : Json(nullptr); };
    return {{"apart_mm", or_null(options.ring.apart_mm)},
            {"copper_below_ohm", options.ring.copper_below_ohm},
            {"open_above_ohm", options.ring.open_above_ohm},
            {"beep", options.ring.beep == BeepMeans::copper ? "copper" : "nothing"},
            {"risk", options.ring.risk},
            {"contact_miss", options.ring.contact_miss},
            {"instrument", options.instrument},
            {"lead_ohm", or_null(options.lead_ohm)},
            {"board_state", options.board_state}};
}

Result<Reply> get_ring_options(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const Job job, bench.store.job(asked.job()));
    return reply_json(options_shape(bench.desks.options(job.name)));
}

Result<Reply> set_ring_options(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const Job job, bench.store.job(asked.job()));
    RingSessionOptions options = bench.desks.options(job.name);
    EYELET_ASSIGN(Members members, Members::of(asked.body, "options"));
    EYELET_ASSIGN(options.ring.apart_mm, members.maybe_number("apart_mm", options.ring.apart_mm));
    EYELET_ASSIGN(options.ring.copper_below_ohm, members.number("copper_below_ohm", options.ring.copper_below_ohm));
    EYELET_ASSIGN(options.ring.open_above_ohm, members.number("open_above_ohm", options.ring.open_above_ohm));
    EYELET_ASSIGN(options.ring.risk, members.number("risk", options.ring.risk));
    EYELET_ASSIGN(options.ring.contact_miss, members.number("contact_miss", options.ring.contact_miss));
    EYELET_ASSIGN(const std::string beep, members.text("beep", options.ring.beep == BeepMeans::copper ? "copper" : "nothing"));
    EYELET_ASSIGN(options.instrument, members.text("instrument", options.instrument.c_str()));
    EYELET_ASSIGN(options.lead_ohm, members.maybe_number("lead_ohm", options.lead_ohm));
    EYELET_ASSIGN(options.board_state, members.text("board_state", options.board_state.c_str()));
    EYELET_TRY(members.end());
    if (beep != "copper" && beep != "nothing") {
        return bad_input(fmt::format("options: \"beep\" is \"{}\"; copper or nothing would be right", for_message(beep)));
    }
    options.ring.beep = beep == "copper" ? BeepMeans::copper : BeepMeans::nothing;
    options.who = asked.who();
    EYELET_TRY(bench.desks.set_options(job.name, options));
    bench.tell_change(job.name);
    return get_ring(bench, asked);
}

// --- The journal ------------------------------------------------------------------------------------

Result<Reply> get_journal(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const std::vector<Entry> entries, journal_of(bench.store, asked.job()));
    EYELET_ASSIGN(const std::vector<Edit> edits, bench.store.edits(asked.job()));
    return reply_json(shapes::journal(entries, edits));
}

Result<EntryName> write_entry(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(Members members, Members::of(asked.body, "entry"));
    EYELET_ASSIGN(const std::string kind, members.text("kind"));
    EYELET_ASSIGN(const std::string text, members.text("text"));
    const JobName job = asked.job();
    const Who who = asked.who();
    if (kind == "finding" || kind == "work") {
        EYELET_ASSIGN(const std::string what, members.text("what"));
        Place place;
        EYELET_ASSIGN(const std::vector<std::string> joints, members.texts("joints"));
        EYELET_ASSIGN(const std::vector<std::string> parts, members.texts("parts"));
        EYELET_TRY(members.end());
        for (const std::string& joint : joints) place.joints.emplace_back(joint);
        for (const std::string& part : parts) place.parts.emplace_back(part);
        if (kind == "finding") return add_finding(bench.store, job, {what, place, text}, who);
        return add_work(bench.store, job, {what, place, text}, who);
    }
    if (kind == "note") {
        EYELET_TRY(members.end());
        return add_note(bench.store, job, {text}, who);
    }
    if (kind == "trial") {
        EYELET_ASSIGN(const std::string condition, members.text("condition"));
        EYELET_ASSIGN(const double minutes, members.number("minutes"));
        EYELET_ASSIGN(const double recurrences, members.number("recurrences"));
        EYELET_TRY(members.end());
        if (minutes < 0) return bad_input("entry: \"minutes\" is negative");
        if (recurrences < 0 || recurrences > 1e6 || recurrences != std::floor(recurrences)) {
            return bad_input("entry: \"recurrences\" must be a whole number from 0");
        }
        return add_trial(bench.store, job, {condition, minutes, static_cast<int>(recurrences), text}, who);
    }
    return bad_input(fmt::format("entry: \"kind\" is \"{}\"; finding, work, note or trial would be right", for_message(kind)));
}

Result<Reply> add_entry(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const EntryName name, write_entry(bench, asked));
    bench.tell_change(asked.job());
    EYELET_ASSIGN(const std::vector<Entry> entries, journal_of(bench.store, asked.job()));
    const auto found = std::find_if(entries.begin(), entries.end(), [&](const Entry& e) { return e.name == name; });
    if (found == entries.end()) return storage_error("the entry was written, but cannot be found");
    return reply_json(shapes::entry(*found), 201);
}

Result<Reply> withdraw(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(Members members, Members::of(asked.body, "withdrawal"));
    EYELET_ASSIGN(const std::string why, members.text("why"));
    EYELET_TRY(members.end());
    const EntryName entry(asked.path.at("entry"));
    EYELET_TRY(withdraw_entry(bench.store, asked.job(), entry, why, asked.who()));
    bench.tell_change(asked.job());
    return reply_json({{"done", fmt::format("{} is withdrawn", entry.text())}});
}

Result<Reply> undo(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const Edit edit, undo_edit(bench.store, asked.job(), asked.who()));
    bench.tell_change(asked.job());
    return reply_json({{"done", "Taken back: " + edit.what}});
}

Result<Reply> redo(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const Edit edit, redo_edit(bench.store, asked.job(), asked.who()));
    bench.tell_change(asked.job());
    return reply_json({{"done", "Brought back: " + edit.what}});
}

// --- The report -------------------------------------------------------------------------------------

Result<Reply> get_report(Bench& bench, const Asked& asked) {
    EYELET_ASSIGN(const report::JobReport content, report_of(bench.store, asked.job()));
    EYELET_ASSIGN(const std::unique_ptr<Upload> folder, Upload::create(bench.store.tiles_folder() / "passing"));
    const std::filesystem::path file = folder->folder() / "report.pdf";
    EYELET_TRY(report::write_pdf(content, file.string()));
    std::ifstream in(file, std::ios::binary);
    Reply reply{200, "application/pdf", "", asked.job().text() + "-report.pdf", false};
    reply.body.assign(std::istreambuf_iterator<char>(in), {});
    return reply;
}

constexpr Route kRoutes[] = {
    {"GET", "/api/version", BodyKind::none, version},
    {"GET", "/api/cautions", BodyKind::none, get_cautions},
    {"GET", "/api/openapi.json", BodyKind::none, openapi},
    {"GET", "/api/events", BodyKind::event_stream, nullptr},
    {"GET", "/api/jobs", BodyKind::none, list_jobs},
    {"POST", "/api/jobs", BodyKind::multipart, import_job},
    {"GET", "/api/jobs/{job}", BodyKind::none, get_job},
    {"GET", "/api/jobs/{job}/map", BodyKind::none, get_map},
    {"GET", "/api/jobs/{job}/photographs/{photograph}/{of}/pyramid", BodyKind::none, get_pyramid},
    {"GET", "/api/jobs/{job}/photographs/{photograph}/{of}/tiles/{level}/{tile}", BodyKind::none, get_tile},
    {"GET", "/api/jobs/{job}/alignment", BodyKind::none, get_alignment},
    {"POST", "/api/jobs/{job}/alignment", BodyKind::none, align},
    {"GET", "/api/jobs/{job}/links", BodyKind::none, get_links},
    {"POST", "/api/jobs/{job}/links", BodyKind::none, follow},
    {"GET", "/api/jobs/{job}/tone", BodyKind::none, get_tones},
    {"PUT", "/api/jobs/{job}/tone", BodyKind::json, answer_tone},
    {"GET", "/api/jobs/{job}/nets", BodyKind::none, get_nets},
    {"GET", "/api/jobs/{job}/netlist", BodyKind::none, get_netlist},
    {"GET", "/api/jobs/{job}/ring", BodyKind::none, get_ring},
    {"POST", "/api/jobs/{job}/ring", BodyKind::json, answer_ring},
    {"POST", "/api/jobs/{job}/ring/readings", BodyKind::json, add_reading},
    {"GET", "/api/jobs/{job}/ring/options", BodyKind::none, get_ring_options},
    {"PUT", "/api/jobs/{job}/ring/options", BodyKind::json, set_ring_options},
    {"GET", "/api/jobs/{job}/journal", BodyKind::none, get_journal},
    {"POST", "/api/jobs/{job}/journal", BodyKind::json, add_entry},
    {"POST", "/api/jobs/{job}/journal/{entry}/withdraw", BodyKind::json, withdraw},
    {"POST", "/api/jobs/{job}/undo", BodyKind::none, undo},
    {"POST", "/api/jobs/{job}/redo", BodyKind::none, redo},
    {"GET", "/api/jobs/{job}/report.pdf", BodyKind::none, get_report},
};

}  // namespace

std::span<const Route> routes() { return kRoutes; }

Reply reply_json(const nlohmann::json& shape, int status) {
    // Names come from files as any bytes that passed as UTF-8; what did not is replaced rather than thrown over.
    Reply reply;
    reply.status = status;
    reply.body = shape.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace);
    return reply;
}

int status_of(const Error& error) {
    switch (error.code) {
        case ErrorCode::bad_input: return 400;
        case ErrorCode::not_found: return 404;
        case ErrorCode::refused: return 409;
        case ErrorCode::storage: return 507;
        case ErrorCode::unavailable: return 503;
    }
    return 500;
}

void Bench::tell_change(const JobName& job) { hub.publish("change", Json{{"job", job.text()}}.dump()); }

void Bench::tell_progress(const JobName& job, const std::string& task, double share, const std::string& text) {
    hub.publish("progress", Json{{"job", job.text()}, {"task", task}, {"share", share}, {"text", text}}.dump());
}

Result<Bench::Turn> Bench::take_turn(const JobName& job) {
    const std::lock_guard lock(mutex_);
    if (!busy_.insert(job).second) {
        return refused(fmt::format("job {} is being worked on already; wait until that is done", for_message(job.text())));
    }
    return Turn(*this, job);
}

Bench::Turn::~Turn() {
    if (bench_ == nullptr) return;
    const std::lock_guard lock(bench_->mutex_);
    bench_->busy_.erase(job_);
}

}  // namespace eyelet
