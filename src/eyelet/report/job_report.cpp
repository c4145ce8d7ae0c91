#include "eyelet/report/job_report.h"

#include <cairo-svg.h>

#include <algorithm>
#include <cctype>
#include <map>

#include <fmt/format.h>

#include "eyelet/board/cautions.h"
#include "eyelet/report/document.h"
#include "eyelet/report/side_drawing.h"

namespace eyelet::report {

namespace {

std::string said_in_words(const Said& said) {
    if (std::holds_alternative<Open>(said)) return "open";
    if (std::holds_alternative<Beep>(said)) return "beep";
    const double ohms = std::get<Ohms>(said).value;
    if (ohms >= 1e6) return fmt::format("{:.2f} MΩ", ohms / 1e6);
    if (ohms >= 1e3) return fmt::format("{:.2f} kΩ", ohms / 1e3);
    return fmt::format("{:.2f} Ω", ohms);
}

// "C3.1 (220u 35V)": the joint with what its part is.
std::string joint_in_words(const Assembly& assembly, JointIndex index) {
    const Joint& joint = assembly.joint(index);
    if (!joint.part.valid() || assembly.part(joint.part).value.empty()) return joint.name.text();
    return fmt::format("{} ({})", joint.name.text(), assembly.part(joint.part).value);
}

std::string standing_in_words(const Net& net) {
    const bool alone = net.joints.size() < 2;
    switch (net.standing) {
        case NetStanding::proposed: return alone ? "nothing seen that joins it" : "proposed by photographs";
        case NetStanding::joined: return alone ? "not settled" : "joined by readings, may lack a joint";
        case NetStanding::proven: return alone ? "proven to join nothing" : "proven";
        case NetStanding::stale: return "stale: work came after the proof";
    }
    return "";
}

struct Counts {
    std::size_t joints = 0, nets = 0, proven = 0, alone = 0;
};

Counts count(const JobReport& report) {
    Counts counts;
    for (const Net& net : report.nets) {
        counts.joints += net.joints.size();
        counts.nets += 1;
        counts.proven += net.standing == NetStanding::proven;
        counts.alone += net.joints.size() < 2;
    }
    return counts;
}

void write_summary(Document& document, const JobReport& report) {
    const Counts counts = count(report);
    document.title(fmt::format("{}: repair record", report.assembly.name));
    document.quiet(fmt::format("Job {} · unit {} · made {}", report.job, report.unit.empty() ? "not named" : report.unit,
                               report.made));
    document.note("Complaint", report.complaint.empty() ? "None was entered." : report.complaint);
    document.figures({{fmt::format("{}", counts.joints), "joints that a needle can reach"},
                      {fmt::format("{}", counts.nets), "nets, lone joints counted"},
                      {fmt::format("{}", counts.proven), "nets proven"},
                      {fmt::format("{}", report.readings.size()), "readings taken"},
                      {report.expected_mistakes ? fmt::format("{:.2g}", *report.expected_mistakes) : "–",
                       "mistakes expected to remain"}});
    document.heading("What this map rests on");
    document.paragraph(
        "A photograph proposes, a meter proves, and work makes proof stale. Nets marked proven are tied together by "
        "readings, and the engine has settled that no further joint belongs to them to the risk stated above. Nets marked "
        "proposed come from photographs alone: do not power the unit on the strength of them.");
    if (counts.proven == counts.nets && counts.nets > 0)
        document.note("Every net is proven", fmt::format("{} and {} of the meter settled {}.", count_of(report.readings.size(), "reading"),
                                                         count_of(report.gestures, "gesture"), count_of(counts.nets, "net")));
    else
        document.note(fmt::format("{} of {} not proven", counts.nets - counts.proven, count_of(counts.nets, "net")),
                      "They are listed under 'What is not proven'.");
    for (const std::string& contradiction : report.contradictions) document.note("Readings that cannot all be true", contradiction);
}

void write_sides(Document& document, const JobReport& report) {
    for (std::size_t b = 0; b < report.assembly.boards.size(); ++b)
        for (Side side : {Side::component, Side::solder}) {
            const Board& board = report.assembly.boards[b];
            // A wide board leaves room for its other side on the same page.
            const double height = std::min(kTextWidth * board.size_mm.height / board.size_mm.width, 640.0);
            if (document.room() < height + 60) document.new_page();
            const std::string which = report.assembly.boards.size() > 1 ? fmt::format("Board {}, ", board.name.text()) : "";
            std::string heading = which + name_of(side) + (side == Side::solder ? ", as seen from behind" : "");
            heading[0] = static_cast<char>(std::toupper(static_cast<unsigned char>(heading[0])));
            document.heading(heading);
            document.drawing(height, [&](cairo_t* cairo, Size area) { draw_side(cairo, area, report, BoardIndex(b), side); });
            document.drawing(16, [](cairo_t* cairo, Size area) { draw_legend(cairo, area); });
        }
}

void write_nets(Document& document, const JobReport& report) {
    document.new_page();
    document.heading("Nets");
    std::vector<std::vector<std::string>> rows;
    std::string lone;
    for (const Net& net : report.nets) {
        if (net.joints.size() < 2) {
            for (JointIndex joint : net.joints) lone += (lone.empty() ? "" : ", ") + report.assembly.joint(joint).name.text();
            continue;
        }
        std::string joints;
        for (JointIndex joint : net.joints) joints += (joints.empty() ? "" : ", ") + joint_in_words(report.assembly, joint);
        rows.push_back({net.name, fmt::format("{}", net.joints.size()), joints, standing_in_words(net)});
    }
    document.table({{"Net", 1.1}, {"Count", 0.6}, {"Joints, with the value of their part", 5}, {"Standing", 1.6}}, rows);
    if (!lone.empty()) {
        document.heading("Joints that join nothing");
        document.paragraph(lone);
    }
}

void write_unproven(Document& document, const JobReport& report) {
    document.heading("What is not proven");
    if (report.unproven.empty()) {
        document.paragraph("Nothing: every joint's membership is settled.");
        return;
    }
    std::vector<std::vector<std::string>> rows;
    for (const auto& [joint, why] : report.unproven) rows.push_back({joint_in_words(report.assembly, joint), why});
    document.table({{"Joint", 1.6}, {"Why", 4}}, rows);
}

void write_journal(Document& document, const JobReport& report) {
    if (report.journal.empty()) return;
    document.heading("Journal");
    std::vector<std::vector<std::string>> rows;
    for (const JournalLine& line : report.journal)
        rows.push_back({line.when, line.who, line.withdrawn ? line.kind + " (withdrawn)" : line.kind, line.text});
    document.table({{"When (UTC)", 1.5}, {"Who", 0.9}, {"Kind", 0.9}, {"What", 4}}, rows);
}

// "U1.3 to U1.9, R4.2": joints that follow each other in the map's order of one part are told as a run.
std::string runs_in_words(const Assembly& assembly, std::vector<JointIndex> joints) {
    std::sort(joints.begin(), joints.end());
    joints.erase(std::unique(joints.begin(), joints.end()), joints.end());
    std::string words;
    for (std::size_t i = 0; i < joints.size();) {
        std::size_t last = i;
        while (last + 1 < joints.size() && joints[last + 1].raw() == joints[last].raw() + 1 && assembly.joint(joints[i]).part.valid() &&
               assembly.joint(joints[last + 1]).part == assembly.joint(joints[i]).part)
            ++last;
        words += (words.empty() ? "" : ", ") + assembly.joint(joints[i]).name.text();
        if (last > i) words += (last == i + 1 ? ", " : " to ") + assembly.joint(joints[last]).name.text();
        i = last + 1;
    }
    return words;
}

// One row a held joint: what read as copper or a value, and what read open.
void write_readings(Document& document, const JobReport& report) {
    document.new_page();
    document.heading("Appendix: readings");
    if (report.readings.empty()) {
        document.paragraph("No reading was taken.");
        return;
    }
    document.quiet("One row for each joint that a probe was held on. Withdrawn readings stand in brackets; the journal holds the time of each.");
    struct Row {
        std::string since, said;
        std::vector<JointIndex> open;
    };
    std::map<JointIndex, std::size_t> place;  // of a held joint
    std::vector<std::pair<JointIndex, Row>> held;
    for (const ReadingLine& line : report.readings) {
        const Reading& reading = line.reading;
        const auto [found, fresh] = place.try_emplace(reading.from, held.size());
        if (fresh) held.push_back({reading.from, {line.when, "", {}}});
        Row& row = held[found->second].second;
        if (std::holds_alternative<Open>(reading.said) && !reading.withdrawn) {
            row.open.push_back(reading.to);
        } else {
            const std::string item = report.assembly.joint(reading.to).name.text() + " " + said_in_words(reading.said);
            row.said += (row.said.empty() ? "" : ", ") + (reading.withdrawn ? "[" + item + "]" : item);
        }
    }
    std::vector<std::vector<std::string>> rows;
    for (const auto& [joint, row] : held)
        rows.push_back({row.since, report.assembly.joint(joint).name.text(), row.said, runs_in_words(report.assembly, row.open)});
    document.table({{"Since (UTC)", 1.2}, {"Held probe", 1.0}, {"Meter said", 2.6}, {"Open at", 4.6}}, rows);
}

Result<int> write_once(const JobReport& report, const std::string& path, int pages_expected) {
    EYELET_ASSIGN(auto document, Document::create(path, fmt::format("Eyelet · job {} · {}", report.job, report.assembly.name),
                                                  pages_expected));
    write_summary(*document, report);
    document->heading("Cautions");
    for (const Caution& caution : cautions())
        document->quiet(fmt::format("{}. {}", caution.title, caution.text));
    write_sides(*document, report);
    write_nets(*document, report);
    write_unproven(*document, report);
    write_journal(*document, report);
    write_readings(*document, report);
    const int pages = document->pages();
    EYELET_TRY(document->finish());
    return pages;
}

}  // namespace

std::string count_of(std::size_t n, const std::string& thing) { return fmt::format("{} {}{}", n, thing, n == 1 ? "" : "s"); }

Status write_pdf(const JobReport& report, const std::string& path) {
    // Twice: the first run, without pictures, counts the pages so that the second can print "3 of 12".
    JobReport without_pictures = report;
    without_pictures.pictures.clear();
    EYELET_ASSIGN(const int pages, write_once(without_pictures, path, 0));
    const Result<int> written = write_once(report, path, pages);
    if (!written.ok()) return written.error();
    return {};
}

Status write_svg(const JobReport& report, BoardIndex board, Side side, const std::string& path) {
    const Size size = report.assembly.board(board).size_mm;
    constexpr double kPointsPerMm = 72 / 25.4;
    const Size area{size.width * kPointsPerMm, size.height * kPointsPerMm};
    cairo_surface_t* surface = cairo_svg_surface_create(path.c_str(), area.width, area.height);
    cairo_t* cairo = cairo_create(surface);
    draw_side(cairo, area, report, board, side);
    cairo_destroy(cairo);
    cairo_surface_finish(surface);
    const cairo_status_t status = cairo_surface_status(surface);
    cairo_surface_destroy(surface);
    if (status != CAIRO_STATUS_SUCCESS)
        return storage_error(fmt::format("{}: the drawing cannot be written there ({}); name a file in a folder that exists",
                                         path, cairo_status_to_string(status)));
    return {};
}

}  // namespace eyelet::report
