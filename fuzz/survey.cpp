// The survey reader: whatever the bytes, one survey that keeps its promises or one line of refusal.
#include "eyelet/exchange/survey.h"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>

#include "eyelet/exchange/json_text.h"

namespace {

void require(bool holds) {
    if (!holds) std::abort();
}

void check_refusal(const eyelet::Error& error) {
    require(!error.message.empty());
    require(error.message.find('\n') == std::string::npos);
    require(eyelet::find_non_utf8(error.message) == std::string_view::npos);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string_view text(reinterpret_cast<const char*>(data), size);
    const auto board = eyelet::parse_survey(text, "survey.json");
    if (!board.ok()) {
        check_refusal(board.error());
    } else {
        const eyelet::Survey& survey = board.value();
        require(eyelet::check(survey.assembly).ok());
        for (const eyelet::SurveyPhoto& photo : survey.photos) {
            require(photo.tie_points.empty() || photo.tie_points.size() >= 4);
            for (const eyelet::SurveyTiePoint& tie : photo.tie_points)
                require(tie.joint.raw() < survey.assembly.joints.size() && std::isfinite(tie.pixel.x));
        }
        // What was read can be written, and read again to the same text.
        const std::string written = eyelet::survey_json(survey, eyelet::BoardIndex(0));
        const auto again = eyelet::parse_survey(written, "again.json");
        require(again.ok());
        require(eyelet::survey_json(again.value(), eyelet::BoardIndex(0)) == written);
    }
    // The same bytes as an assembly whose boards' surveys are the bytes themselves and a small good one.
    const auto assembly = eyelet::parse_assembly(
        text, "assembly.json", [&](const std::string& file) -> eyelet::Result<std::string> {
            if (file.size() % 2 == 0) return std::string(text);
            return std::string(
                R"({"schema":"board-survey/1","slug":"a","units":"mm","size":[9,9],"outline":[[0,0],[9,0],[9,9]],"joints":[)"
                R"({"id":"J1.1","kind":"pad","x":1,"y":1,"side":"top","shape":"rect","size":[1,1]}],"parts":[],"photos":[]})");
        });
    if (!assembly.ok())
        check_refusal(assembly.error());
    else
        require(eyelet::check(assembly.value().assembly).ok());
    return 0;
}
