#include "eyelet/jobs/report.h"

#include <fmt/format.h>

#include <string>

#include "eyelet/cli/command.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string job;
    std::string pdf;
};

}  // namespace

Run declare_report(CLI::App& app) {
    auto chosen = options<Options>();
    add_job(app, chosen->job);
    app.add_option("--pdf", chosen->pdf, "Where to write the report.")->required()->type_name("FILE");
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const auto store, context.open());
        EYELET_ASSIGN(const report::JobReport report, report_of(*store, JobName(chosen->job)));
        return report::write_pdf(report, chosen->pdf);
    };
}

}  // namespace eyelet::cli
