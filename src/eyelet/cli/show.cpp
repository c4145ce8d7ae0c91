#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <vector>

#include "eyelet/board/cautions.h"
#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string job;
    bool json = false;
};

struct Shown {
    Job job;
    Assembly map;
    std::vector<Photograph> photographs;
    std::vector<StoredAlignment> alignments;
    std::optional<StoredProposals> proposals;
    std::size_t readings = 0;

    [[nodiscard]] const StoredAlignment* alignment_of(const Photograph& photograph) const {
        const auto found =
            std::find_if(alignments.begin(), alignments.end(),
                         [&](const StoredAlignment& one) { return one.photograph == photograph.name; });
        return found == alignments.end() ? nullptr : &*found;
    }
    [[nodiscard]] std::size_t pads() const {
        return static_cast<std::size_t>(
            std::count_if(map.joints.begin(), map.joints.end(),
                          [](const Joint& joint) { return joint.kind == JointKind::pad; }));
    }
};

Result<Shown> look_up(Store& store, const JobName& name) {
    Shown shown;
    EYELET_ASSIGN(shown.job, store.job(name));
    EYELET_ASSIGN(MapVersion version, store.map(name));
    shown.map = std::move(version.map);
    EYELET_ASSIGN(shown.photographs, store.photographs(name));
    EYELET_ASSIGN(shown.alignments, store.alignments(name));
    EYELET_ASSIGN(shown.proposals, store.proposals(name));
    EYELET_ASSIGN(const std::vector<Entry> readings, store.journal(name, EntryKind::reading));
    shown.readings = static_cast<std::size_t>(
        std::count_if(readings.begin(), readings.end(), [](const Entry& entry) { return !entry.withdrawn; }));
    return shown;
}

std::string next_step(const Shown& shown) {
    const std::string job = shown.job.name.text();
    if (!shown.photographs.empty() && shown.alignments.empty()) return "eyelet align " + job;
    if (!shown.alignments.empty() && (!shown.proposals || shown.proposals->out_of_date))
        return "eyelet follow " + job;
    return "eyelet ring " + job;
}

std::string as_text(const Shown& shown) {
    std::string out =
        fmt::format("{}: {}, {}\n", shown.job.name.text(), shown.job.assembly, shown.job.unit.text());
    const auto line = [&out](const char* name, const std::string& text) {
        if (!text.empty()) out += fmt::format("{:<12} {}\n", name, text);
    };
    line("complaint", shown.job.complaint);
    line("condition", shown.job.condition);
    line("opened", shown.job.opened_at +
                       (shown.job.opened_by.person.empty() ? "" : " by " + shown.job.opened_by.person));
    for (const Board& board : shown.map.boards)
        line("board",
             fmt::format("{}, {:g} x {:g} mm", board.name.text(), board.size_mm.width, board.size_mm.height));
    line("map", fmt::format("version {}: {} parts, {} joints that a probe can reach, {} vias, {} cables",
                            shown.job.map_version, shown.map.parts.size(), shown.pads(),
                            shown.map.joints.size() - shown.pads(), shown.map.cables.size()));
    for (const Photograph& photograph : shown.photographs) {
        const StoredAlignment* alignment = shown.alignment_of(photograph);
        line("photograph",
             fmt::format("{} {} of {}, {} x {}: {}", photograph.name.text(), name_of(photograph.side),
                         photograph.board.text(), photograph.width_px, photograph.height_px,
                         photograph.withdrawn ? "withdrawn"
                         : alignment          ? misfit_in_words(*alignment)
                                              : "not aligned yet"));
    }
    line("links", shown.proposals ? fmt::format("{} proposed{}", shown.proposals->proposals.links.size(),
                                                shown.proposals->out_of_date ? ", out of date" : "")
                                  : "copper is not followed yet");
    line("readings", fmt::format("{}", shown.readings));
    line("next", next_step(shown));
    out += "\n";
    for (const Caution& caution : cautions()) out += fmt::format("{}: {}\n", caution.title, caution.text);
    return out;
}

}  // namespace

Run declare_show(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const Shown shown, look_up(*store, JobName(chosen->job)));
        if (!chosen->json) return write_out(as_text(shown));
        nlohmann::ordered_json out = job_json(shown.job);
        out["boards"] = nlohmann::ordered_json::array();
        for (const Board& board : shown.map.boards)
            out["boards"].push_back(
                {{"name", board.name.text()}, {"size_mm", {board.size_mm.width, board.size_mm.height}}});
        out["parts"] = shown.map.parts.size();
        out["joints"] = shown.pads();
        out["vias"] = shown.map.joints.size() - shown.pads();
        out["photographs"] = nlohmann::ordered_json::array();
        for (const Photograph& photograph : shown.photographs)
            out["photographs"].push_back(photograph_json(photograph, shown.alignment_of(photograph)));
        out["links"] = shown.proposals ? nlohmann::ordered_json(shown.proposals->proposals.links.size())
                                       : nlohmann::ordered_json();
        out["readings"] = shown.readings;
        return write_out(json_text(out));
    };
}

}  // namespace eyelet::cli
