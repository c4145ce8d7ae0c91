#include "eyelet/parts/marking.h"

#include <fmt/format.h>

#include <string>
#include <vector>

#include "eyelet/cli/command.h"
#include "eyelet/cli/text.h"

namespace eyelet::cli {
namespace {

struct Options {
    std::vector<std::string> words;
    std::string kind;
    bool json = false;
};

nlohmann::ordered_json optional_json(const std::optional<double>& value) {
    return value ? nlohmann::ordered_json(*value) : nlohmann::ordered_json(nullptr);
}

nlohmann::ordered_json reading_json(const MarkingReading& reading) {
    nlohmann::ordered_json json;
    json["kind"] = name_of(reading.kind);
    json["value"] = reading.value;
    json["unit"] = unit_of(reading.kind);
    json["tolerance"] = nullptr;
    if (reading.tolerance) json["tolerance"] = {reading.tolerance->first, reading.tolerance->second};
    json["volts"] = optional_json(reading.volts);
    json["highest_celsius"] = optional_json(reading.highest_celsius);
    json["ppm_per_kelvin"] = optional_json(reading.ppm_per_kelvin);
    json["non_polar"] = reading.non_polar;
    json["dates"] = reading.dates;
    json["share"] = reading.share;
    json["why"] = reading.why;
    json["warnings"] = reading.warnings;
    return json;
}

std::string in_words(const MarkingReading& reading) {
    std::string line =
        fmt::format("{:3.0f} %  {:<10} {}", 100 * reading.share, name_of(reading.kind), reading.why);
    if (reading.tolerance)
        line += fmt::format("; {:+.3g} % to {:+.3g} %", 100 * reading.tolerance->first,
                            100 * reading.tolerance->second);
    if (reading.volts) line += fmt::format("; {:g} V", *reading.volts);
    if (reading.highest_celsius) line += fmt::format("; up to {:g} °C", *reading.highest_celsius);
    if (reading.ppm_per_kelvin) line += fmt::format("; {:g} ppm/K", *reading.ppm_per_kelvin);
    if (reading.non_polar) line += "; without polarity";
    for (const std::string& date : reading.dates) line += "; made in " + date + "?";
    line += '\n';
    for (const std::string& warning : reading.warnings) line += "       " + warning + '\n';
    return line;
}

}  // namespace

Run declare_marking(CLI::App& app) {
    auto chosen = options<Options>();
    app.add_option("TEXT", chosen->words, "What stands on the part, or its colour bands as words.")
        ->required();
    app.add_option("--kind", chosen->kind, "Read it as this kind of part only.")
        ->check(CLI::IsMember({"resistor", "capacitor", "inductor"}));
    add_json(app, chosen->json);
    return [chosen](Context&) -> Status {
        std::string text;
        for (const std::string& word : chosen->words) text += (text.empty() ? "" : " ") + word;
        EYELET_ASSIGN(const auto readings, read_marking(text, component_kind_from_name(chosen->kind)));
        if (chosen->json) {
            nlohmann::ordered_json json;
            json["readings"] = nlohmann::ordered_json::array();
            for (const MarkingReading& reading : readings) json["readings"].push_back(reading_json(reading));
            return write_out(json_text(json));
        }
        std::string out;
        for (const MarkingReading& reading : readings) out += in_words(reading);
        return write_out(out);
    };
}

}  // namespace eyelet::cli
