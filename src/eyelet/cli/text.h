// Words and JSON that several commands share.
#pragma once

#include <nlohmann/json.hpp>
#include <string>

#include "eyelet/bench/store.h"

namespace eyelet::cli {

// Ends with a line break; text that is not UTF-8 is replaced rather than thrown.
[[nodiscard]] std::string json_text(const nlohmann::ordered_json& json);

[[nodiscard]] nlohmann::ordered_json job_json(const Job& job);
// `alignment` may be null: not aligned yet.
[[nodiscard]] nlohmann::ordered_json photograph_json(const Photograph& photograph,
                                                     const StoredAlignment* alignment);
[[nodiscard]] nlohmann::ordered_json entry_json(const Entry& entry);

[[nodiscard]] std::string misfit_in_words(const StoredAlignment& alignment);
// "U1.3 to R2.1: 0.21 ohm", "lifted pad at R2.1: ...".
[[nodiscard]] std::string in_words(const EntryBody& body);
[[nodiscard]] std::string in_words(const StoredSaid& said);
[[nodiscard]] std::string in_words(const Place& place);

}  // namespace eyelet::cli
