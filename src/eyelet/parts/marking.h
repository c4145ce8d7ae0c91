// What a marking on a part may mean. Ambiguity is an answer: every reading that fits is given, likeliest first,
// each with the reason. Nothing is assumed silently: what the marking does not say stays unset.
//
// Rules: IEC 60062 (letter codes R K M p n u, three- and four-digit codes, tolerance letters, colour bands, date
// codes), the EIA-96 code of 1 % chip resistors, the voltage letters of chip and can capacitors, the two-character
// voltage codes of film and ceramic capacitors (JIS C 5101 practice). Values: docs/sources.md.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "eyelet/core/result.h"

namespace eyelet {

enum class ComponentKind { resistor, capacitor, inductor };
[[nodiscard]] const char* name_of(ComponentKind kind);
[[nodiscard]] const char* unit_of(ComponentKind kind);  // "ohm", "F", "H"
[[nodiscard]] std::optional<ComponentKind> component_kind_from_name(std::string_view name);

struct MarkingReading {
    ComponentKind kind = ComponentKind::resistor;
    double value = 0;  // ohm, farad or henry
    std::optional<std::pair<double, double>> tolerance;  // relative, low and high: -0.1, 0.1
    std::optional<double> volts;
    std::optional<double> highest_celsius;
    std::optional<double> ppm_per_kelvin;
    bool non_polar = false;
    std::vector<std::string> dates;      // "week 48 of 1993": all that fit
    double share = 0;                    // of the belief among the readings; they sum to 1
    std::string why;
    std::vector<std::string> warnings;
};

// `kind` restricts the answer to one kind of part. Errors: nothing fits, with what was looked for.
[[nodiscard]] Result<std::vector<MarkingReading>> read_marking(std::string_view text,
                                                               std::optional<ComponentKind> kind = std::nullopt);

}  // namespace eyelet
