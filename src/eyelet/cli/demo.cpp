#include "eyelet/jobs/demo.h"

#include <fmt/format.h>

#include <string>

#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string pdf;
    int width_px = DemoOptions{}.width_px;
    double miss = DemoOptions{}.miss;
    bool json = false;
};

}  // namespace

Run declare_demo(CLI::App& app) {
    auto chosen = options<Options>();
    app.add_option("--pdf", chosen->pdf, "Write the report into this file.")->type_name("FILE");
    app.add_option("--width", chosen->width_px, "Pixels along a photograph's longer side.");
    app.add_option("--miss", chosen->miss, "Share of readings on joined joints that the needle misses.");
    add_json(app, chosen->json);
    return [chosen](Context& context) -> Status {
        EYELET_ASSIGN(const std::filesystem::path bench, context.bench());
        EYELET_ASSIGN(const auto store, context.open(OpenMode::create));
        DemoOptions demo;
        demo.survey_folder = bench / "demo-survey";
        demo.pdf = chosen->pdf;
        demo.width_px = chosen->width_px;
        demo.miss = chosen->miss;
        demo.who = context.who();
        int step = 0;
        const auto say = [&](const std::string& sentence) {
            context.bar().clear();
            const std::string line = fmt::format("{:2}  {}\n", ++step, sentence);
            if (chosen->json) write_error(line.substr(0, line.size() - 1));
            else static_cast<void>(write_out(line));
        };
        EYELET_ASSIGN(const DemoResult result, play_demo(*store, demo, say, context.watch()));
        context.bar().clear();
        if (chosen->json) {
            const nlohmann::ordered_json json{{"job", result.job.text()},          {"joints", result.joints},
                                              {"nets", result.nets},               {"gestures", result.gestures},
                                              {"seconds", result.seconds},         {"nets_wrong", result.nets_wrong},
                                              {"readings_missed", result.misses}};
            EYELET_TRY(write_out(json_text(json)));
        }
        if (result.nets_wrong > 0) return refused(fmt::format("demo: {} nets differ from the drawn truth", result.nets_wrong));
        return {};
    };
}

}  // namespace eyelet::cli
