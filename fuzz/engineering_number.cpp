// Engineering numbers: what is read can be printed and read again to the same bits; everything else is one
// line.
#include "eyelet/core/engineering_number.h"

#include <cmath>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string_view>

namespace {

void require(bool holds) {
    if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string_view text(reinterpret_cast<const char*>(data), size);
    if (const auto number = eyelet::parse_engineering_number(text); number.ok()) {
        require(std::isfinite(number.value().value));
        const auto again = eyelet::parse_engineering_number(eyelet::to_text(number.value()));
        require(again.ok());
        require(again.value().value == number.value().value && again.value().unit == number.value().unit);
        static_cast<void>(eyelet::to_letter_code(number.value().value, number.value().unit));
    } else {
        require(number.error().message.find('\n') == std::string::npos);
    }
    if (const auto numbers = eyelet::parse_engineering_numbers(text); numbers.ok())
        require(!numbers.value().empty());
    return 0;
}
