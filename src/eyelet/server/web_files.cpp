#include "eyelet/server/web_files.h"

#include <algorithm>

namespace eyelet {

std::optional<WebFile> find_web_file(std::string_view path) {
    const std::span<const WebFile> files = web_files();
    const auto found = std::find_if(files.begin(), files.end(), [&](const WebFile& file) { return file.path == path; });
    if (found == files.end()) return std::nullopt;
    return *found;
}

std::string_view media_type_of_path(std::string_view path) {
    const std::size_t dot = path.rfind('.');
    const std::string_view ending = dot == std::string_view::npos ? "" : path.substr(dot + 1);
    if (ending == "html") return "text/html; charset=utf-8";
    if (ending == "js") return "text/javascript; charset=utf-8";
    if (ending == "css") return "text/css; charset=utf-8";
    if (ending == "svg") return "image/svg+xml";
    if (ending == "png") return "image/png";
    if (ending == "json") return "application/json";
    return "application/octet-stream";
}

bool page_is_built() { return find_web_file("index.html").has_value(); }

}  // namespace eyelet
