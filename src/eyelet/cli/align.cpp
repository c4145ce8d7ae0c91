#include "eyelet/jobs/align.h"

#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <string>

#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string job;
    bool json = false;
};

std::string as_text(const AlignSummary& summary) {
    std::string out;
    for (const AlignSummary::One& one : summary.photographs) {
        const StoredAlignment& alignment = one.alignment;
        out += fmt::format("{}  {} of {}, {}: {}\n", one.photograph.name.text(), name_of(one.photograph.side),
                           one.photograph.board.text(), one.photograph.file_name, misfit_in_words(alignment));
        for (const StoredAlignment::Misfit& tie : alignment.tie_points)
            out += fmt::format("    {:<16} {:7.3f} mm{}\n", tie.joint.text(), tie.misfit_mm,
                               tie.left_out ? "   left out: plainly wrong" : "");
        for (const std::string& remark : alignment.remarks) out += "    " + remark + "\n";
    }
    for (const std::string& remark : summary.remarks) out += remark + "\n";
    return out;
}

}  // namespace

Run declare_align(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const AlignSummary summary, align_job(*store, JobName(chosen->job), context.watch()));
        context.bar().clear();
        if (!chosen->json) return write_out(as_text(summary));
        nlohmann::ordered_json out;
        out["photographs"] = nlohmann::ordered_json::array();
        for (const AlignSummary::One& one : summary.photographs)
            out["photographs"].push_back(photograph_json(one.photograph, &one.alignment));
        out["remarks"] = summary.remarks;
        return write_out(json_text(out));
    };
}

}  // namespace eyelet::cli
