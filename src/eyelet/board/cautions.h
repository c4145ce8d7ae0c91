// The cautions that the command, the page and the report show where the work can hurt someone.
// Usual practice of the trade in words of our own; local codes and licensed practice come first.
#pragma once

#include <span>
#include <string_view>

namespace eyelet {

struct Caution {
    std::string_view key;    // stable, for the page
    std::string_view title;
    std::string_view text;
};

// In the order in which they matter at the bench.
[[nodiscard]] std::span<const Caution> cautions();

}  // namespace eyelet
