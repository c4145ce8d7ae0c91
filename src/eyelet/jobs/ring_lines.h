// The ring-out as lines of JSON, for standard input and output and for the page alike: design.md, "Ring-out over
// standard input and output".
#pragma once

#include <string>
#include <string_view>
#include <variant>

#include "eyelet/core/result.h"
#include "eyelet/jobs/ring_session.h"

namespace eyelet {

struct RingUndo {};
struct RingStop {};
using RingLine = std::variant<RingAnswer, RingUndo, RingStop>;

// {"gesture":"touch","hold":"J12","to":"J40","why":"…"} or {"gesture":"sweep","hold":"J12","along":[…],"why":"…"}.
// No line break inside.
[[nodiscard]] std::string question_line(const RingQuestion& question, const Assembly& map);

// {"done":true,"joints":…,"nets":…,"gestures":…,"seconds":…,"unproven":[…],…}.
[[nodiscard]] std::string done_line(const RingState& state);

// {"error":"…"}.
[[nodiscard]] std::string error_line(const Error& error);

// One answer to `question`; an error says what is wrong and what would be right. Ohms are after lead resistance.
[[nodiscard]] Result<RingLine> parse_answer_line(std::string_view line, const RingQuestion& question,
                                                 const Assembly& map);

}  // namespace eyelet
