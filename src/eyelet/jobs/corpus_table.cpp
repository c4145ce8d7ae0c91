// The corpus as a table for eyes and as JSON.
#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <nlohmann/json.hpp>
#include <sstream>

#include "eyelet/jobs/corpus.h"

namespace eyelet {

namespace {

double ratio(std::size_t part, std::size_t whole) {
    return whole == 0 ? 1 : static_cast<double>(part) / static_cast<double>(whole);
}
std::size_t floor_of(const CorpusRow& row) {
    return row.pads - row.nets;
}

const RingOutcome* outcome_of(const CorpusRow& row, bool with_photographs, std::size_t which) {
    std::size_t seen = 0;
    for (const RingOutcome& one : row.ring_outs)
        if (one.with_photographs == with_photographs && seen++ == which) return &one;
    return nullptr;
}

// Gestures over the floor.
std::string per_floor(const CorpusRow& row, const RingOutcome* one) {
    return one == nullptr ? "-" : fmt::format("{:.2f}", ratio(one->gestures, floor_of(row)));
}
std::string wrong(const RingOutcome* one) {
    return one == nullptr ? "-" : fmt::format("{}", one->nets_wrong);
}
std::string minutes(double seconds) {
    return fmt::format("{:.0f}", seconds / 60);
}

}  // namespace

std::string corpus_table(const std::vector<CorpusRow>& rows) {
    std::string out;
    out +=
        "Photographs. misfit: median distance of a joint from its true place. prec, recall: links of 0.5 or "
        "more (recall: of\n"
        "the pads - nets joins needed). >0.9: share true, and share of the joins that they make. F1: "
        "same-net pairs of pads.\n";
    out +=
        fmt::format("{:<26} {:<9} {:>4} {:>4} {:>7} {:>6} {:>6} {:>5} {:>6} {:>11} {:>5} {:>5} {:>5} {:>5}\n",
                    "board", "level", "pads", "nets", "misfit", "align", "follow", "prec", "recall", ">0.9",
                    "cover", "pairP", "pairR", "F1");
    for (const CorpusRow& row : rows) {
        if (!row.failed.empty()) {
            out += fmt::format("{:<26} {:<9} FAILED: {}\n", row.board, row.level, row.failed);
            continue;
        }
        out += fmt::format(
            "{:<26} {:<9} {:>4} {:>4} {:>5}mm {:>5.1f}s {:>5.1f}s {:>5.2f} {:>6.2f} {:>11} {:>5.2f} {:>5.2f} "
            "{:>5.2f} {:>5.2f}\n",
            row.board, row.level, row.pads, row.nets,
            row.align_median_mm ? fmt::format("{:.3f}", *row.align_median_mm) : "-", row.align_seconds,
            row.follow_seconds, ratio(row.links_true, row.links), row.recall,
            fmt::format("{}/{} {:.3f}", row.sure_true, row.sure_links, ratio(row.sure_true, row.sure_links)),
            row.sure_cover, row.pair_precision, row.pair_recall, row.pair_f1);
    }
    out +=
        "\nRing-out. Gestures over (pads - nets), with a perfect meter and with 1 % of the readings on "
        "joined pairs missed (or as\n"
        "asked for); confirmed: until every proposal was confirmed; minutes by the cost model; wrong: nets "
        "at the end.\n";
    out +=
        fmt::format("{:<26} {:<9} {:>5} {:>6} {:>6} {:>9} {:>6} {:>6} {:>6} {:>6} {:>6} {:>8} {:>6} {:>9}\n",
                    "board", "level", "floor", "proven", "min", "confirmed", "wrong", "missed", "wrong",
                    "badpr", "none", "none min", "wrong", "next ms");
    for (const CorpusRow& row : rows) {
        if (row.ring_outs.empty()) continue;
        const RingOutcome* first = outcome_of(row, true, 0);
        const RingOutcome* missed = outcome_of(row, true, 1);
        const RingOutcome* none = outcome_of(row, false, 0);
        std::size_t badly = 0;
        for (const RingOutcome& one : row.ring_outs) badly += one.wrongly_proven;
        out += fmt::format(
            "{:<26} {:<9} {:>5} {:>6} {:>6} {:>9} {:>6} {:>6} {:>6} {:>6} {:>6} {:>8} {:>6} {:>9}\n",
            row.board, row.level, floor_of(row), per_floor(row, first),
            first != nullptr ? minutes(first->seconds) : "-",
            first != nullptr && first->gestures_confirmed
                ? fmt::format("{:.2f}", ratio(*first->gestures_confirmed, floor_of(row)))
                : "-",
            wrong(first), per_floor(row, missed), wrong(missed), badly, per_floor(row, none),
            none != nullptr ? minutes(none->seconds) : "-", wrong(none),
            first != nullptr ? fmt::format("{:.1f}/{:.0f}", first->next_median_ms, first->next_worst_ms)
                             : "-");
    }

    struct Mean {
        double f1 = 0, precision = 0, recall = 0, proven = 0, missed = 0, none = 0;
        std::size_t count = 0, sure = 0, sure_true = 0, missed_count = 0, none_count = 0, proven_count = 0,
                    wrong = 0;
    };
    std::map<std::string, Mean> means;
    std::vector<std::string> levels;
    for (const CorpusRow& row : rows) {
        if (!row.failed.empty()) continue;
        if (!means.contains(row.level)) levels.push_back(row.level);
        Mean& mean = means[row.level];
        ++mean.count;
        mean.f1 += row.pair_f1;
        mean.precision += ratio(row.links_true, row.links);
        mean.recall += row.recall;
        mean.sure += row.sure_links;
        mean.sure_true += row.sure_true;
        const auto add = [&](const RingOutcome* one, double& sum, std::size_t& count) {
            if (one == nullptr) return;
            sum += ratio(one->gestures, floor_of(row));
            ++count;
            mean.wrong += one->nets_wrong;
        };
        add(outcome_of(row, true, 0), mean.proven, mean.proven_count);
        add(outcome_of(row, true, 1), mean.missed, mean.missed_count);
        add(outcome_of(row, false, 0), mean.none, mean.none_count);
    }
    out += "\nMeans\n";
    out += fmt::format("{:<10} {:>6} {:>5} {:>6} {:>6} {:>7} {:>7} {:>7} {:>7} {:>6}\n", "level", "boards",
                       "prec", "recall", "F1", ">0.9", "proven", "missed", "none", "wrong");
    for (const std::string& level : levels) {
        const Mean& mean = means[level];
        const auto of = [](double sum, std::size_t count) {
            return count == 0 ? std::string("-") : fmt::format("{:.2f}", sum / static_cast<double>(count));
        };
        out += fmt::format("{:<10} {:>6} {:>5} {:>6} {:>6} {:>7.3f} {:>7} {:>7} {:>7} {:>6}\n", level,
                           mean.count, of(mean.precision, mean.count), of(mean.recall, mean.count),
                           of(mean.f1, mean.count), ratio(mean.sure_true, mean.sure),
                           of(mean.proven, mean.proven_count), of(mean.missed, mean.missed_count),
                           of(mean.none, mean.none_count), mean.wrong);
    }

    out +=
        "\nCalibration: links in each tenth of probability, their mean probability, the share that is true\n";
    for (std::size_t tenth = 0; tenth < 10; ++tenth) {
        std::size_t count = 0;
        std::size_t right = 0;
        double sum = 0;
        for (const CorpusRow& row : rows) {
            const CorpusRow::Tenth& one = row.calibration.at(tenth);
            count += one.count;
            right += one.right;
            sum += one.mean_probability * static_cast<double>(one.count);
        }
        if (count > 0)
            out += fmt::format("{:.1f} to {:.1f}: {:>6} links, {:.3f} said, {:.3f} true\n",
                               static_cast<double>(tenth) / 10, static_cast<double>(tenth + 1) / 10, count,
                               sum / static_cast<double>(count), ratio(right, count));
    }
    return out;
}

std::string corpus_json(const std::vector<CorpusRow>& rows) {
    using Json = nlohmann::ordered_json;
    const auto optional = [](const auto& value) { return value ? Json(*value) : Json(nullptr); };
    Json all = Json::array();
    for (const CorpusRow& row : rows) {
        Json one{{"board", row.board}, {"level", row.level}};
        if (!row.failed.empty()) {
            one["failed"] = row.failed;
            all.push_back(std::move(one));
            continue;
        }
        one["pads"] = row.pads;
        one["nets"] = row.nets;
        one["remarks"] = row.remarks;
        one["align"] = {{"median_mm", optional(row.align_median_mm)},
                        {"worst_mm", optional(row.align_worst_mm)},
                        {"seconds", row.align_seconds}};
        one["follow_seconds"] = row.follow_seconds;
        one["links"] = {{"at_half", row.links},
                        {"true", row.links_true},
                        {"recall", row.recall},
                        {"above_0_9", row.sure_links},
                        {"above_0_9_true", row.sure_true},
                        {"above_0_9_cover", row.sure_cover}};
        Json tenths = Json::array();
        for (const CorpusRow::Tenth& tenth : row.calibration)
            tenths.push_back(
                {{"count", tenth.count}, {"said", tenth.mean_probability}, {"true", tenth.right}});
        one["calibration"] = std::move(tenths);
        one["pairs"] = {{"precision", row.pair_precision}, {"recall", row.pair_recall}, {"f1", row.pair_f1}};
        Json rings = Json::array();
        for (const RingOutcome& ring : row.ring_outs)
            rings.push_back({{"photographs", ring.with_photographs},
                             {"miss_rate", ring.miss_rate},
                             {"gestures", ring.gestures},
                             {"gestures_per_join", ratio(ring.gestures, floor_of(row))},
                             {"seconds", ring.seconds},
                             {"gestures_confirmed", optional(ring.gestures_confirmed)},
                             {"seconds_confirmed", optional(ring.seconds_confirmed)},
                             {"nets_wrong", ring.nets_wrong},
                             {"wrongly_proven", ring.wrongly_proven},
                             {"joints_unproven", ring.joints_unproven},
                             {"expected_mistakes", ring.expected_mistakes},
                             {"next_median_ms", ring.next_median_ms},
                             {"next_worst_ms", ring.next_worst_ms}});
        one["ring_outs"] = std::move(rings);
        all.push_back(std::move(one));
    }
    return Json{{"rows", std::move(all)}}.dump(1) + "\n";
}

}  // namespace eyelet
