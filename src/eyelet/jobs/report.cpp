#include "eyelet/jobs/report.h"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <cmath>

#include "eyelet/jobs/stored_readings.h"
#include "eyelet/photo/image.h"
#include "eyelet/photo/rectify.h"

namespace eyelet {

namespace {

// "2026-03-01T12:00:00.123Z" as "2026-03-01 12:00 UTC".
std::string printed(const std::string& at) {
    return at.size() < 16 ? at : at.substr(0, 10) + " " + at.substr(11, 5) + " UTC";
}

std::string printed(const Who& who) {
    return who.person.empty() ? who.device : who.person;
}

std::string in_words(const Place& place) {
    std::vector<std::string> words;
    for (const PartName& part : place.parts) words.push_back(part.text());
    for (const JointName& joint : place.joints) words.push_back(joint.text());
    if (place.side) words.emplace_back(name_of(*place.side));
    if (place.point_mm)
        words.push_back(fmt::format("at {:.1f}, {:.1f} mm", place.point_mm->x, place.point_mm->y));
    if (!place.board.empty() && words.empty()) words.push_back("board " + place.board.text());
    return fmt::format("{}", fmt::join(words, ", "));
}

std::string joined(std::initializer_list<std::string> parts) {
    std::string all;
    for (const std::string& part : parts) {
        if (part.empty()) continue;
        if (!all.empty()) all += ": ";
        all += part;
    }
    return all;
}

std::string text_of(const EntryBody& body, const std::vector<Photograph>& photographs) {
    if (const auto* f = std::get_if<FindingEntry>(&body))
        return joined({f->what, in_words(f->place), f->text});
    if (const auto* w = std::get_if<WorkEntry>(&body)) return joined({w->what, in_words(w->place), w->text});
    if (const auto* n = std::get_if<NoteEntry>(&body)) return n->text;
    if (const auto* t = std::get_if<TrialEntry>(&body))
        return joined(
            {fmt::format("{:g} minutes, {} recurrences", t->minutes, t->recurrences), t->condition, t->text});
    if (const auto* p = std::get_if<PhotographEntry>(&body))
        for (const Photograph& photograph : photographs)
            if (photograph.name == p->photograph)
                return joined(
                    {photograph.file_name, photograph.board.text() + " " + name_of(photograph.side)});
    return {};
}

// The sharpest aligned photograph of one side.
struct Best {
    const Photograph* photograph = nullptr;
    const StoredAlignment* alignment = nullptr;
    double px_per_mm = 0;
};
Best best_of(const Assembly& map, BoardIndex board, Side side, const std::vector<Photograph>& photographs,
             const std::vector<StoredAlignment>& alignments) {
    const Size size = map.board(board).size_mm;
    Best best;
    for (const StoredAlignment& alignment : alignments)
        for (const Photograph& photograph : photographs) {
            if (photograph.name != alignment.photograph || photograph.withdrawn || photograph.side != side ||
                photograph.board != map.board(board).name)
                continue;
            const double scale = alignment.camera.px_per_mm({size.width / 2, size.height / 2});
            if (scale > best.px_per_mm) best = {&photograph, &alignment, scale};
        }
    return best;
}

}  // namespace

Result<report::JobReport> report_of(Store& store, const JobName& name) {
    EYELET_ASSIGN(const Job job, store.job(name));
    EYELET_ASSIGN(MapVersion version, store.map(name));
    EYELET_ASSIGN(auto stored, store.proposals(name));
    EYELET_ASSIGN(const std::vector<Photograph> photographs, store.photographs(name));
    EYELET_ASSIGN(const std::vector<StoredAlignment> alignments, store.alignments(name));
    EYELET_ASSIGN(const std::vector<Entry> journal, store.journal(name));
    EYELET_ASSIGN(StoredReadings readings, stored_readings(store, name, version.map));

    report::JobReport report;
    report.job = name.text();
    report.unit = job.assembly + ", " + job.unit.text();
    report.complaint = joined({job.complaint, job.condition.empty() ? "" : "shows " + job.condition});
    report.made =
        fmt::format("{:%Y-%m-%d %H:%M} UTC",
                    fmt::gmtime(std::chrono::system_clock::to_time_t(std::chrono::system_clock::now())));
    report.assembly = std::move(version.map);
    const Assembly& map = report.assembly;

    Proposals proposals;
    if (stored) proposals = std::move(stored->proposals);
    EYELET_ASSIGN(RingOut engine,
                  RingOut::create(map, proposals, options_of(readings), readings.readings, readings.skips));
    const RingState state = engine.state();
    report.links = std::move(proposals.links);
    for (std::size_t i = 0; i < report.links.size(); ++i) report.links[i].standing = state.links.at(i);
    report.nets = state.nets;
    for (std::size_t i = 0; i < state.joints.size(); ++i) {
        const JointStanding standing = state.joints[i].standing;
        if (map.joints[i].can_be_touched() &&
            (standing == JointStanding::proposed || standing == JointStanding::unreachable))
            report.unproven.emplace_back(JointIndex(i), state.joints[i].why);
    }
    for (const Contradiction& contradiction : state.contradictions)
        report.contradictions.push_back(contradiction.why);
    report.expected_mistakes = state.expected_mistakes;
    report.gestures = state.counts.gestures;
    report.seconds = state.counts.seconds;

    std::size_t next_reading = 0;
    for (const Entry& entry : journal) {
        if (const auto* reading = std::get_if<ReadingEntry>(&entry.body)) {
            // stored_readings keeps the journal's order and leaves out what was not measured.
            if (next_reading < readings.entries.size() && readings.entries[next_reading] == entry.name)
                report.readings.push_back(
                    {printed(entry.at), printed(entry.who), readings.readings[next_reading++]});
            else if (const auto* none = std::get_if<NotMeasured>(&reading->said))
                report.journal.push_back(
                    {printed(entry.at), printed(entry.who), "note",
                     joined({fmt::format("not measured, {} to {}", reading->from.text(), reading->to.text()),
                             none->why}),
                     entry.withdrawn});
            continue;
        }
        report.journal.push_back({printed(entry.at), printed(entry.who), name_of(kind_of(entry.body)),
                                  text_of(entry.body, photographs), entry.withdrawn});
    }

    for (std::size_t b = 0; b < map.boards.size(); ++b)
        for (const Side side : {Side::component, Side::solder}) {
            const Best best = best_of(map, BoardIndex(b), side, photographs, alignments);
            if (best.photograph == nullptr) continue;
            const Size size = map.boards[b].size_mm;
            // 300 dots an inch on a page 180 mm wide show no more than about 2100 pixels.
            const double px_per_mm = std::min(best.px_per_mm, 2200.0 / std::max(size.width, size.height));
            EYELET_ASSIGN(const auto bytes, store.photograph_bytes(best.photograph->name));
            EYELET_ASSIGN(const Image image, decode(bytes, best.photograph->file_name));
            const cv::Mat flat = rectify(image.bgr, best.alignment->camera, size, px_per_mm);
            report::SidePicture picture;
            picture.board = BoardIndex(b);
            picture.side = side;
            picture.width_px = flat.cols;
            picture.height_px = flat.rows;
            picture.px_per_mm = px_per_mm;
            EYELET_ASSIGN(picture.jpeg, encode_jpeg(flat, 88));
            report.pictures.push_back(std::move(picture));
        }
    return report;
}

}  // namespace eyelet
