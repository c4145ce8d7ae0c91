#include "eyelet/photo/compare.h"

#include <fmt/format.h>

#include <string>

#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"
#include "eyelet/photo/image.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::string reference, unit;
    CompareOptions compare;
    std::string copper;
    bool json = false;
};

// "mouse_bite": names in files hold no spaces.
std::string key_of(DifferenceKind kind) {
    std::string key = name_of(kind);
    for (char& c : key)
        if (c == ' ') c = '_';
    return key;
}

}  // namespace

Run declare_compare(CLI::App& app) {
    auto chosen = options<Options>();
    app.add_option("REFERENCE", chosen->reference, "Picture of sound copper.")->required();
    app.add_option("UNIT", chosen->unit, "Picture of the same area of the unit.")->required();
    app.add_option("--px-per-mm", chosen->compare.px_per_mm, "Scale of both pictures.")->required();
    app.add_option("--copper", chosen->copper, "Which tone is copper; without it the program decides.")
        ->check(CLI::IsMember({"dark", "light"}));
    add_json(app, chosen->json);
    return [chosen](Context&) -> Status {
        EYELET_ASSIGN(const Image reference, decode(std::filesystem::path(chosen->reference)));
        EYELET_ASSIGN(const Image unit, decode(std::filesystem::path(chosen->unit)));
        if (!chosen->copper.empty())
            chosen->compare.copper = chosen->copper == "dark" ? CopperIs::dark : CopperIs::light;
        EYELET_ASSIGN(const Comparison comparison, compare_copper(reference.bgr, unit.bgr, chosen->compare));
        if (chosen->json) {
            nlohmann::ordered_json json;
            json["findings"] = nlohmann::ordered_json::array();
            for (const Difference& d : comparison.differences)
                json["findings"].push_back(
                    {{"kind", key_of(d.kind)},
                     {"box", {d.box.x, d.box.y, d.box.x + d.box.width, d.box.y + d.box.height}},
                     {"area_mm2", d.area_mm2},
                     {"probability", d.probability}});
            json["copper"] = comparison.copper_is_dark ? "dark" : "light";
            json["copper_sure"] = comparison.tone_is_sure;
            return write_out(json_text(json));
        }
        std::string out;
        if (!comparison.tone_is_sure)
            out += fmt::format(
                "Not sure which tone is copper: taken as {}. Settle it with --copper dark or --copper "
                "light.\n",
                comparison.copper_is_dark ? "dark" : "light");
        for (const Difference& d : comparison.differences)
            out += fmt::format("{:<13} {:3.0f} %  at {},{} to {},{}  {:.3f} mm²\n", name_of(d.kind),
                               100 * d.probability, d.box.x, d.box.y, d.box.x + d.box.width,
                               d.box.y + d.box.height, d.area_mm2);
        if (comparison.differences.empty()) out += "No difference.\n";
        return write_out(out);
    };
}

}  // namespace eyelet::cli
