// JSON from outside, read with care: text must be UTF-8 and one JSON value, and messages say at which line
// and column it stops being so.
#pragma once

#include <nlohmann/json.hpp>
#include <string>
#include <string_view>

#include "eyelet/core/result.h"

namespace eyelet {

// Offset of the first byte that is not part of well-formed UTF-8 (RFC 3629), or npos.
[[nodiscard]] std::size_t find_non_utf8(std::string_view text);

// `where` names the text in messages. Numbers that a double cannot hold (1e999) are refused; JSON has no NaN.
[[nodiscard]] Result<nlohmann::json> parse_json_text(std::string_view text, const std::string& where);

// Text as it may stand in a one-line message: control characters and broken UTF-8 replaced, long text cut.
[[nodiscard]] std::string for_message(std::string_view text, std::size_t longest = 80);

}  // namespace eyelet
