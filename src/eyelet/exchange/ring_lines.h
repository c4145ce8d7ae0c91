// The ring-out's lines over standard input and output: one JSON object a line, each way. Pure functions.
//
// Out: {"gesture":"touch","hold":"J12","to":"J40","why":"…"}
//      {"gesture":"sweep","hold":"J12","along":["J40","J41"],"why":"…"}
//      {"error":"…"}, and the same gesture again
//      {"done":true,"joints":…,"nets":…,"gestures":…,"seconds":…,"unproven":[…],…}
// In:  {"ohms":0.21} | {"open":true} | {"beep":true}                for a touch
//      {"answers":{"J40":0.2,"J41":"open"}} | {"beeps":["J40"]}     for a sweep
//      {"skip":"cannot reach"} (with "joint":"J40" where it is said which) | {"undo":true} | {"stop":true}
// Joints of a sweep that `answers` leaves out are refused; those that `beeps` leaves out read open.
// Members that are not known are ignored.
#pragma once

#include <string>
#include <string_view>
#include <variant>

#include "eyelet/board/map.h"
#include "eyelet/core/result.h"
#include "eyelet/ringout/ring_out.h"

namespace eyelet {

struct UndoLine {};
struct StopLine {};
using RingLine = std::variant<Answer, UndoLine, StopLine>;

[[nodiscard]] std::string gesture_line(const Assembly& assembly, const Gesture& gesture);
[[nodiscard]] Result<RingLine> read_ring_line(const Assembly& assembly, const Gesture& asked,
                                              std::string_view line);
[[nodiscard]] std::string error_line(const Error& error);
// `stopped`: the operator stopped before the engine was done.
enum class RingEnd { settled, nothing_left_to_ask, stopped };
[[nodiscard]] std::string done_line(const Assembly& assembly, const RingState& state, RingEnd end);

}  // namespace eyelet
