#include <fmt/format.h>

#include <algorithm>
#include <string>
#include <vector>

#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"
#include "eyelet/jobs/journal.h"

namespace eyelet::cli {
namespace {

struct Options {
    bool json = false;
};

std::string as_text(const std::vector<Job>& jobs) {
    if (jobs.empty()) return "There are no jobs on this bench yet. eyelet import SURVEY.json makes one.\n";
    std::string out;
    for (const Job& job : jobs)
        out += fmt::format("{:<6} {:<28} {:<14} {}  {}\n", job.name.text(), job.assembly, job.unit.text(),
                           job.opened_at.substr(0, 10), job.complaint.substr(0, job.complaint.find('\n')));
    return out;
}

}  // namespace

Run declare_jobs(CLI::App& app) {
    auto chosen = options<Options>();
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const std::vector<Job> jobs, jobs_list(*store));
        if (!chosen->json) return write_out(as_text(jobs));
        nlohmann::ordered_json out;
        out["jobs"] = nlohmann::ordered_json::array();
        for (const Job& job : jobs) out["jobs"].push_back(job_json(job));
        return write_out(json_text(out));
    };
}

}  // namespace eyelet::cli
