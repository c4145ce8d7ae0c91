// What the store keeps as documents rather than as rows: maps, cameras, proposals. Text in, values out and
// back, without loss: a double comes back bit for bit.
#pragma once

#include <string>
#include <string_view>

#include "eyelet/bench/store.h"
#include "eyelet/core/result.h"

namespace eyelet {

// Whether the text is well-formed UTF-8 (RFC 3629).
[[nodiscard]] bool is_utf8(std::string_view text);

// Two maps are equal exactly when their documents are. An error where a name is not UTF-8.
[[nodiscard]] Result<std::string> document_of(const Assembly& map);
[[nodiscard]] Result<Assembly> map_from_document(std::string_view document);

[[nodiscard]] Result<std::string> document_of(const StoredAlignment& alignment);
[[nodiscard]] Result<StoredAlignment> alignment_from_document(std::string_view document);

[[nodiscard]] Result<std::string> document_of(const StoredProposals& proposals);
[[nodiscard]] Result<StoredProposals> proposals_from_document(std::string_view document);

}  // namespace eyelet
