// Files that were built into the program: the page (web/dist) and the OpenAPI document. cmake/embed_files.cmake
// writes the table.
#pragma once

#include <optional>
#include <span>
#include <string_view>

namespace eyelet {

struct WebFile {
    std::string_view path;  // "index.html", "assets/index-1a2b3c.js", "openapi.json"
    std::string_view content;
};

[[nodiscard]] std::span<const WebFile> web_files();
[[nodiscard]] std::optional<WebFile> find_web_file(std::string_view path);
[[nodiscard]] std::string_view media_type_of_path(std::string_view path);
// False where the program was built before the page was.
[[nodiscard]] bool page_is_built();

}  // namespace eyelet
