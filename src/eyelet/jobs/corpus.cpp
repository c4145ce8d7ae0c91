#include "eyelet/jobs/corpus.h"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <fstream>
#include <map>
#include <nlohmann/json.hpp>
#include <numeric>
#include <set>
#include <sstream>
#include <system_error>
#include <unordered_map>

#include "eyelet/bench/store.h"
#include "eyelet/exchange/survey.h"
#include "eyelet/jobs/align.h"
#include "eyelet/jobs/follow.h"
#include "eyelet/jobs/follow_sides.h"
#include "eyelet/jobs/import.h"
#include "eyelet/jobs/nets.h"
#include "eyelet/jobs/ring_session.h"
#include "eyelet/photo/image.h"
#include "eyelet/synthetic/meter.h"

namespace eyelet {

namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;
using Clock = std::chrono::steady_clock;

double seconds_since(Clock::time_point start) {
    return std::chrono::duration<double>(Clock::now() - start).count();
}

// A bench that goes away again.
class TemporaryBench {
  public:
    [[nodiscard]] static Result<std::unique_ptr<TemporaryBench>> create() {
        std::error_code error;
        std::string pattern = (fs::temp_directory_path(error) / "eyelet-corpus-XXXXXX").string();
        if (error || ::mkdtemp(pattern.data()) == nullptr)
            return storage_error("no temporary folder can be made; set TMPDIR to one that may be written");
        auto bench = std::unique_ptr<TemporaryBench>(new TemporaryBench(pattern));
        EYELET_ASSIGN(bench->store_, open_bench(bench->folder_));
        return bench;
    }
    TemporaryBench(const TemporaryBench&) = delete;
    TemporaryBench& operator=(const TemporaryBench&) = delete;
    ~TemporaryBench() {
        store_.reset();
        std::error_code ignored;
        fs::remove_all(folder_, ignored);
    }
    [[nodiscard]] Store& store() { return *store_; }

  private:
    explicit TemporaryBench(fs::path folder) : folder_(std::move(folder)) {}
    fs::path folder_;
    std::unique_ptr<Store> store_;
};

// --- What is known about a board ------------------------------------------------------------------------

struct KnownBoard {
    std::vector<std::vector<JointIndex>> nets;
    std::vector<std::size_t> net_of;        // by joint
    std::map<std::string, Camera> cameras;  // by photograph's file
    std::map<Side, fs::path> copper;        // true copper, 1 bit
    double copper_px_per_mm = 0;
    std::size_t pads = 0;
    std::size_t pad_nets = 0;  // that hold a pad
};

Result<KnownBoard> read_known(const fs::path& folder, const std::string& level, const Assembly& map) {
    const fs::path file = folder / "board.json";
    std::ifstream in(file);
    const Json json = Json::parse(in, nullptr, false);
    if (json.is_discarded()) return bad_input(fmt::format("{}: it is not JSON", file.string()));
    KnownBoard known;
    try {
        const bool damaged = level == "damaged";
        const Json& nets = damaged ? json.at("damage").at("nets") : json.at("nets");
        const auto joints = joints_by_name(map);
        known.net_of.assign(map.joints.size(), 0);
        std::vector<bool> seen(map.joints.size(), false);
        for (const Json& net : nets) {
            std::vector<JointIndex> one;
            for (const Json& name : net) {
                const auto found = joints.find(JointName(name.get<std::string>()));
                if (found == joints.end())
                    return bad_input(
                        fmt::format("{}: net joint {} is not in the survey", file.string(), name.dump()));
                one.push_back(found->second);
                known.net_of[found->second.raw()] = known.nets.size();
                seen[found->second.raw()] = true;
            }
            known.nets.push_back(std::move(one));
        }
        for (std::size_t i = 0; i < seen.size(); ++i)
            if (!seen[i]) {
                known.net_of[i] = known.nets.size();
                known.nets.push_back({JointIndex(i)});
            }
        for (const Json& photo : json.at("photos")) {
            if (!photo.contains("homography")) continue;
            Camera camera;
            for (std::size_t row = 0; row < 3; ++row)
                for (std::size_t column = 0; column < 3; ++column)
                    camera.photo_from_board.at(3 * row + column) =
                        photo.at("homography").at(row).at(column).get<double>();
            const Json& lens = photo.at("distortion");
            camera.k1 = lens.at("k1").get<double>();
            camera.centre_px = {lens.at("centre").at(0).get<double>(), lens.at("centre").at(1).get<double>()};
            camera.radius_px = lens.at("radius").get<double>();
            known.cameras.emplace(photo.at("file").get<std::string>(), camera);
        }
        known.copper_px_per_mm = json.at("masks").at("px_per_mm").get<double>();
        for (const Side side : {Side::component, Side::solder}) {
            const fs::path plain = folder / fmt::format("copper_{}.png", key_of(side));
            const fs::path hurt = folder / fmt::format("copper_{}_damaged.png", key_of(side));
            known.copper.emplace(side, damaged && fs::exists(hurt) ? hurt : plain);
        }
    } catch (const std::exception& e) {
        return bad_input(fmt::format("{}: {}", file.string(), e.what()));
    }
    std::set<std::size_t> with_pads;
    for (std::size_t i = 0; i < map.joints.size(); ++i)
        if (map.joints[i].can_be_touched()) {
            ++known.pads;
            with_pads.insert(known.net_of[i]);
        }
    known.pad_nets = with_pads.size();
    return known;
}

Result<SeenSides> true_evidence(const Assembly& map, const KnownBoard& known) {
    SeenSides seen;
    for (const auto& [side, file] : known.copper) {
        EYELET_ASSIGN(const Image mask, decode(file));
        SideEvidence one;
        one.board = BoardIndex(0);
        one.side = side;
        one.px_per_mm = known.copper_px_per_mm;
        cv::Mat grey;
        cv::extractChannel(mask.bgr, grey, 0);
        grey.convertTo(one.copper, CV_32F, 1.0 / 255);
        one.hidden = cv::Mat::zeros(one.copper.size(), CV_32F);
        seen.sides.push_back(std::move(one));
    }
    (void)map;
    return seen;
}

// --- Measures -------------------------------------------------------------------------------------------

class Groups {
  public:
    explicit Groups(std::size_t count) : parent_(count) { std::iota(parent_.begin(), parent_.end(), 0U); }
    std::size_t find(std::size_t i) {
        while (parent_[i] != i) i = parent_[i] = parent_[parent_[i]];
        return i;
    }
    void join(std::size_t a, std::size_t b) { parent_[find(a)] = find(b); }

  private:
    std::vector<std::size_t> parent_;
};

// Share of the joins that the true nets need (pads less nets) which the true ones of these links make.
double joins_made(const Assembly& map, const KnownBoard& known, const std::vector<Link>& links,
                  double at_least) {
    Groups groups(map.joints.size());
    for (const Link& link : links)
        if (link.probability >= at_least && known.net_of[link.from.raw()] == known.net_of[link.to.raw()])
            groups.join(link.from.raw(), link.to.raw());
    std::set<std::size_t> pieces;
    for (std::size_t i = 0; i < map.joints.size(); ++i)
        if (map.joints[i].can_be_touched()) pieces.insert(groups.find(i));
    const std::size_t needed = known.pads - known.pad_nets;
    return needed == 0 ? 1 : static_cast<double>(known.pads - pieces.size()) / static_cast<double>(needed);
}

void measure_links(const Assembly& map, const KnownBoard& known, const std::vector<Link>& links,
                   CorpusRow& row) {
    for (const Link& link : links) {
        const bool right = known.net_of[link.from.raw()] == known.net_of[link.to.raw()];
        if (link.probability >= 0.5) {
            ++row.links;
            row.links_true += right ? 1 : 0;
        }
        if (link.probability > 0.9) {
            ++row.sure_links;
            row.sure_true += right ? 1 : 0;
        }
        const auto tenth = static_cast<std::size_t>(std::clamp(link.probability * 10, 0.0, 9.0));
        CorpusRow::Tenth& one = row.calibration.at(tenth);
        ++one.count;
        one.right += right ? 1 : 0;
        one.mean_probability += link.probability;  // a sum until all are counted
    }
    for (CorpusRow::Tenth& one : row.calibration)
        if (one.count > 0) one.mean_probability /= static_cast<double>(one.count);
    row.recall = joins_made(map, known, links, 0.5);
    row.sure_cover = joins_made(map, known, links, std::nextafter(0.9, 1.0));
}

void measure_pairs(const KnownBoard& known, const std::vector<Net>& nets, const Assembly& map,
                   CorpusRow& row) {
    double both = 0;
    double found = 0;
    double real = 0;
    std::map<std::size_t, double> true_sizes;
    for (std::size_t i = 0; i < map.joints.size(); ++i)
        if (map.joints[i].can_be_touched()) ++true_sizes[known.net_of[i]];
    const auto pairs = [](double n) { return n * (n - 1) / 2; };
    for (const auto& [net, size] : true_sizes) real += pairs(size);
    for (const Net& net : nets) {
        found += pairs(static_cast<double>(net.joints.size()));
        std::map<std::size_t, double> shares;
        for (JointIndex joint : net.joints) ++shares[known.net_of[joint.raw()]];
        for (const auto& [ignored, size] : shares) both += pairs(size);
    }
    row.pair_precision = found > 0 ? both / found : 1;
    row.pair_recall = real > 0 ? both / real : 1;
    row.pair_f1 = found + real > 0 ? 2 * both / (found + real) : 1;
}

void measure_alignment(const KnownBoard& known, const Assembly& map, const AlignSummary& summary,
                       CorpusRow& row) {
    std::vector<double> distances;
    for (const AlignSummary::One& one : summary.photographs) {
        const auto camera = known.cameras.find(one.photograph.file_name);
        if (camera == known.cameras.end()) continue;
        for (const Joint& joint : map.joints)
            if (joint.on(one.photograph.side))
                distances.push_back(
                    distance(camera->second.to_photo(joint.hole), one.alignment.camera.to_photo(joint.hole)) /
                    camera->second.px_per_mm(joint.hole));
    }
    if (distances.empty()) return;
    std::sort(distances.begin(), distances.end());
    row.align_median_mm = distances[distances.size() / 2];
    row.align_worst_mm = distances.back();
}

// --- Ring-out -------------------------------------------------------------------------------------------

Answer answer_with(synthetic::Meter& meter, const Gesture& gesture) {
    if (gesture.kind == Gesture::Kind::touch) return TouchAnswer{meter.read(gesture.hold, gesture.to())};
    return SweepAnswer{meter.sweep(gesture.hold, gesture.along)};
}

void measure_end(const KnownBoard& known, const Assembly& map, const RingState& state, RingOutcome& outcome) {
    outcome.gestures = state.counts.gestures;
    outcome.seconds = state.counts.seconds;
    outcome.joints_unproven = state.counts.joints_unproven;
    outcome.expected_mistakes = state.expected_mistakes;
    std::map<std::size_t, std::size_t> true_sizes;
    for (std::size_t i = 0; i < map.joints.size(); ++i)
        if (map.joints[i].can_be_touched()) ++true_sizes[known.net_of[i]];
    std::set<std::size_t> right;
    for (const Net& net : state.nets) {
        bool one_net = !net.joints.empty();
        for (JointIndex joint : net.joints)
            one_net = one_net && known.net_of[joint.raw()] == known.net_of[net.joints.front().raw()];
        if (one_net && net.joints.size() == true_sizes[known.net_of[net.joints.front().raw()]]) {
            right.insert(known.net_of[net.joints.front().raw()]);
            continue;
        }
        for (JointIndex joint : net.joints)
            if (state.joints.at(joint.raw()).standing == JointStanding::proven) ++outcome.wrongly_proven;
    }
    outcome.nets_wrong = true_sizes.size() - right.size();
}

// `ask` and `answer` stand for the engine alone or for a session on the store.
template <class Ask, class Give, class Look>
Result<RingOutcome> ring_out(const KnownBoard& known, const Assembly& map, synthetic::Meter& meter,
                             std::size_t most, const Ask& ask, const Give& give, const Look& look) {
    RingOutcome outcome;
    std::vector<double> waits_ms;
    for (std::size_t i = 0;; ++i) {
        if (!outcome.gestures_confirmed && look().proposals_confirmed) {
            outcome.gestures_confirmed = look().counts.gestures;
            outcome.seconds_confirmed = look().counts.seconds;
        }
        const auto start = Clock::now();
        EYELET_ASSIGN(const std::optional<Gesture> gesture, ask());
        waits_ms.push_back(seconds_since(start) * 1e3);
        if (!gesture) break;
        if (i >= most) return refused(fmt::format("the ring-out did not end within {} gestures", most));
        EYELET_TRY(give(answer_with(meter, *gesture)));
    }
    measure_end(known, map, look(), outcome);
    outcome.next_worst_ms = *std::max_element(waits_ms.begin(), waits_ms.end());
    std::nth_element(waits_ms.begin(), waits_ms.begin() + static_cast<std::ptrdiff_t>(waits_ms.size() / 2),
                     waits_ms.end());
    outcome.next_median_ms = waits_ms[waits_ms.size() / 2];
    return outcome;
}

synthetic::Meter meter_for(const KnownBoard& known, const Assembly& map, double miss, std::uint64_t seed) {
    synthetic::MeterOptions options;
    options.miss = miss;
    options.seed = seed;
    return synthetic::Meter(known.nets, map.joints.size(), options);
}

// Through the store, as a person does it: every answer on disk before the next question.
Result<RingOutcome> ring_in_store(Store& store, const JobName& job, const KnownBoard& known,
                                  const Assembly& map, double miss, std::uint64_t seed) {
    RingSessionOptions options;
    options.who = {"", "corpus"};
    options.instrument = "simulated meter";
    EYELET_ASSIGN(const auto session, RingSession::open(store, job, options));
    synthetic::Meter meter = meter_for(known, map, miss, seed);
    EYELET_ASSIGN(RingOutcome outcome,
                  ring_out(
                      known, map, meter, 100 * map.joints.size(), [&] { return session->next(); },
                      [&](const Answer& answer) { return session->answer(answer); },
                      [&]() -> const RingState& { return session->state(); }));
    outcome.miss_rate = miss;
    return outcome;
}

// The engine alone: the same questions without the disk.
Result<RingOutcome> ring_alone(const Proposals& proposals, const KnownBoard& known, const Assembly& map,
                               double miss, std::uint64_t seed) {
    EYELET_ASSIGN(RingOut engine, RingOut::create(map, proposals, RingOptions{}));
    synthetic::Meter meter = meter_for(known, map, miss, seed);
    // Before the first milestone every answer is looked at; after it only the end is.
    std::optional<RingState> state;
    EYELET_ASSIGN(RingOutcome outcome, ring_out(
                                           known, map, meter, 100 * map.joints.size(),
                                           [&]() -> Result<std::optional<Gesture>> { return engine.next(); },
                                           [&](const Answer& answer) -> Status {
                                               state.reset();
                                               EYELET_ASSIGN(const Answered ignored, engine.answer(answer));
                                               (void)ignored;
                                               return {};
                                           },
                                           [&]() -> const RingState& {
                                               if (!state) state = engine.state();
                                               return *state;
                                           }));
    outcome.miss_rate = miss;
    outcome.with_photographs = !proposals.links.empty() || !proposals.leads.empty();
    return outcome;
}

// --- One row --------------------------------------------------------------------------------------------

Status fill_row(const fs::path& folder, const fs::path& survey_file, const CorpusOptions& options,
                CorpusRow& row) {
    EYELET_ASSIGN(const Survey survey, read_survey(survey_file));
    const Assembly& map = survey.assembly;
    EYELET_ASSIGN(const KnownBoard known, read_known(folder, row.level, map));
    row.pads = known.pads;
    row.nets = known.pad_nets;
    EYELET_ASSIGN(const auto bench, TemporaryBench::create());
    Store& store = bench->store();
    const Who who{"", "corpus"};
    EYELET_ASSIGN(const Job job, import_survey(store, survey, {"", "", "", who}));

    auto start = Clock::now();
    EYELET_ASSIGN(const AlignSummary aligned, align_job(store, job.name));
    row.align_seconds = seconds_since(start);
    measure_alignment(known, map, aligned, row);

    start = Clock::now();
    if (options.evidence == CorpusEvidence::photographs) {
        EYELET_ASSIGN(const FollowSummary followed, follow_job(store, job.name, {{}, who}));
        row.remarks = followed.remarks;
    } else {
        EYELET_ASSIGN(SeenSides seen, true_evidence(map, known));
        EYELET_ASSIGN(const FollowSummary followed, follow_sides(store, job.name, map, std::move(seen), {}));
        row.remarks = followed.remarks;
    }
    row.follow_seconds = seconds_since(start);
    EYELET_ASSIGN(const auto stored, store.proposals(job.name));
    const Proposals proposals = stored ? stored->proposals : Proposals();
    measure_links(map, known, proposals.links, row);
    EYELET_ASSIGN(const NetsOfJob nets, nets_of(store, job.name, NetsFrom::photographs));
    measure_pairs(known, nets.nets, map, row);

    for (std::size_t i = 0; i < options.miss_rates.size(); ++i) {
        const double miss = options.miss_rates[i];
        const auto outcome = i == 0 ? ring_in_store(store, job.name, known, map, miss, options.seed)
                                    : ring_alone(proposals, known, map, miss, options.seed);
        if (!outcome.ok()) return outcome.error();
        row.ring_outs.push_back(outcome.value());
        row.ring_outs.back().with_photographs = true;
    }
    if (options.without_photographs && !options.miss_rates.empty()) {
        EYELET_ASSIGN(RingOutcome outcome,
                      ring_alone({}, known, map, options.miss_rates.front(), options.seed));
        row.ring_outs.push_back(outcome);
    }
    return {};
}

bool wanted(const std::vector<std::string>& only, const std::string& name) {
    return only.empty() || std::find(only.begin(), only.end(), name) != only.end();
}

// bare, populated, poor, damaged, then the rest by name.
int place_of(const std::string& level) {
    constexpr std::array kOrder{"bare", "populated", "poor", "damaged"};
    for (std::size_t i = 0; i < kOrder.size(); ++i)
        if (level == kOrder[i]) return static_cast<int>(i);
    return static_cast<int>(kOrder.size());
}

}  // namespace

Result<std::vector<CorpusRow>> run_corpus(const std::vector<fs::path>& folders, const CorpusOptions& options,
                                          const std::function<void(const CorpusRow&)>& each) {
    std::vector<fs::path> boards;
    for (const fs::path& folder : folders) {
        std::error_code error;
        if (!fs::is_directory(folder, error))
            return not_found(fmt::format("{}: there is no such folder", folder.string()));
        if (fs::exists(folder / "board.json", error)) {
            boards.push_back(folder);
            continue;
        }
        std::vector<fs::path> inside;
        for (const auto& entry : fs::directory_iterator(folder, error))
            if (fs::exists(entry.path() / "board.json", error)) inside.push_back(entry.path());
        if (inside.empty())
            return not_found(
                fmt::format("{}: it holds no board folder (one with a board.json)", folder.string()));
        std::sort(inside.begin(), inside.end());
        boards.insert(boards.end(), inside.begin(), inside.end());
    }
    std::vector<CorpusRow> rows;
    for (const fs::path& board : boards) {
        const std::string name =
            board.filename().empty() ? board.parent_path().filename().string() : board.filename().string();
        if (!wanted(options.only_boards, name)) continue;
        std::vector<std::pair<std::string, fs::path>> surveys;
        std::error_code error;
        for (const auto& entry : fs::directory_iterator(board, error)) {
            const std::string file = entry.path().filename().string();
            if (file.starts_with("survey_") && file.ends_with(".json")) {
                const std::string level = file.substr(7, file.size() - 12);
                if (wanted(options.only_levels, level)) surveys.emplace_back(level, entry.path());
            }
        }
        std::sort(surveys.begin(), surveys.end(), [](const auto& a, const auto& b) {
            return std::pair(place_of(a.first), a.first) < std::pair(place_of(b.first), b.first);
        });
        for (const auto& [level, survey] : surveys) {
            CorpusRow row;
            row.board = name;
            row.level = level;
            if (const Status status = fill_row(board, survey, options, row); !status.ok())
                row.failed = status.error().message;
            if (each) each(row);
            rows.push_back(std::move(row));
        }
    }
    return rows;
}

}  // namespace eyelet
