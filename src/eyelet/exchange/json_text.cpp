#include "eyelet/exchange/json_text.h"

#include <fmt/format.h>

#include <algorithm>

namespace eyelet {
namespace {

unsigned byte_at(std::string_view text, std::size_t i) {
    return static_cast<unsigned char>(text[i]);
}

// Length of the well-formed sequence at i, or 0. Ranges of the second byte: RFC 3629, section 4.
std::size_t utf8_length(std::string_view text, std::size_t i) {
    const unsigned first = byte_at(text, i);
    if (first < 0x80) return 1;
    const std::size_t length = first >= 0xC2 && first <= 0xDF   ? 2
                               : first >= 0xE0 && first <= 0xEF ? 3
                               : first >= 0xF0 && first <= 0xF4 ? 4
                                                                : 0;
    if (length == 0 || i + length > text.size()) return 0;
    const unsigned low = first == 0xE0 ? 0xA0U : first == 0xF0 ? 0x90U : 0x80U;
    const unsigned high = first == 0xED ? 0x9FU : first == 0xF4 ? 0x8FU : 0xBFU;
    if (byte_at(text, i + 1) < low || byte_at(text, i + 1) > high) return 0;
    for (std::size_t k = 2; k < length; ++k)
        if ((byte_at(text, i + k) & 0xC0U) != 0x80U) return 0;
    return length;
}

struct Place {
    std::size_t line = 1;
    std::size_t column = 1;  // in characters, as an editor counts
};

Place place_of(std::string_view text, std::size_t offset) {
    Place place;
    for (std::size_t i = 0; i < std::min(offset, text.size()); ++i) {
        if (text[i] == '\n') {
            ++place.line;
            place.column = 1;
        } else if ((byte_at(text, i) & 0xC0U) != 0x80U) {
            ++place.column;
        }
    }
    return place;
}

// The library's messages carry its own numbering and context in brackets; a person needs only the end of
// them.
std::string plain_reason(const std::string& message) {
    std::size_t start = message.find("syntax error");
    if (start == std::string::npos)
        start = message.rfind(": ") == std::string::npos ? 0 : message.rfind(": ") + 2;
    return for_message(message.substr(start), 160);
}

}  // namespace

std::size_t find_non_utf8(std::string_view text) {
    for (std::size_t i = 0; i < text.size();) {
        const std::size_t length = utf8_length(text, i);
        if (length == 0) return i;
        i += length;
    }
    return std::string_view::npos;
}

std::string for_message(std::string_view text, std::size_t longest) {
    std::string out;
    for (std::size_t i = 0; i < text.size();) {
        const std::size_t length = utf8_length(text, i);
        if (out.size() + std::max<std::size_t>(length, 1) > longest) return out + "...";
        if (length == 0 || byte_at(text, i) < 0x20 || byte_at(text, i) == 0x7F)
            out += '?';
        else
            out += text.substr(i, length);
        i += std::max<std::size_t>(length, 1);
    }
    return out;
}

Result<nlohmann::json> parse_json_text(std::string_view text, const std::string& where) {
    if (text.empty()) return bad_input(fmt::format("{}: the file is empty; it should hold JSON", where));
    if (const std::size_t bad = find_non_utf8(text); bad != std::string_view::npos) {
        const Place place = place_of(text, bad);
        return bad_input(
            fmt::format("{}: line {}, column {}: byte 0x{:02X} is not UTF-8; save the file as UTF-8", where,
                        place.line, place.column, byte_at(text, bad)));
    }
    // The library reports by exception; nothing of that leaves this function.
    try {
        return nlohmann::json::parse(text);
    } catch (const nlohmann::json::parse_error& error) {
        const Place place = place_of(text, error.byte > 0 ? error.byte - 1 : 0);
        return bad_input(fmt::format("{}: line {}, column {}: not JSON: {}", where, place.line, place.column,
                                     plain_reason(error.what())));
    } catch (const nlohmann::json::exception& error) {  // a number out of range
        return bad_input(fmt::format("{}: not usable as JSON: {}; numbers must be finite", where,
                                     plain_reason(error.what())));
    }
}

}  // namespace eyelet
