// The ring-out in words, for a person at a terminal: the gesture asked for, and the short answers.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "eyelet/board/map.h"
#include "eyelet/core/result.h"
#include "eyelet/exchange/ring_lines.h"
#include "eyelet/ringout/ring_out.h"

namespace eyelet::cli {

[[nodiscard]] std::string ring_introduction();

// What a meter said, in one word: "0.2", "4k7", "open" or "o", "beep" or "b". None if it is something else.
[[nodiscard]] std::optional<Said> said_from_word(const std::string& word);

// "Hold R1.2 (solder side). Touch J4.3 (solder side).", with what changed since `last` (null: nothing was
// asked yet).
[[nodiscard]] std::string gesture_in_words(const Assembly& map, const Gesture& gesture, const Gesture* last);

// A touch: a value ("0.2", "4k7", "0R3"), "o" open, "b" beep. A sweep: "J40 0.2, J41 open" or "J40 J41" (they
// beeped), or their places in the row "1 3", or "-" for none. Always: "s [why]" skip, "u" undo, "q" stop.
[[nodiscard]] Result<RingLine> read_short_answer(const Assembly& map, const Gesture& asked,
                                                 std::string_view line);

[[nodiscard]] std::string end_in_words(const Assembly& map, const RingState& state, RingEnd end);

}  // namespace eyelet::cli
