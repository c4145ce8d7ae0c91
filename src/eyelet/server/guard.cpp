#include "eyelet/server/guard.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>

#include "eyelet/exchange/json_text.h"

namespace eyelet {
namespace {

constexpr std::array<std::string_view, 3> kLoopbackNames{"127.0.0.1", "localhost", "[::1]"};
constexpr int kHttpPort = 80;  // a browser leaves it out of Host and Origin

bool names_this_server(std::string_view host, int port) {
    std::string lower(host);
    std::transform(lower.begin(), lower.end(), lower.begin(),
                   [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
    return std::any_of(kLoopbackNames.begin(), kLoopbackNames.end(), [&](std::string_view name) {
        return lower == fmt::format("{}:{}", name, port) || (port == kHttpPort && lower == name);
    });
}

}  // namespace

Effect effect_of(std::string_view method) {
    return method == "GET" || method == "HEAD" || method == "OPTIONS" ? Effect::reads : Effect::changes;
}

Status check_request(const RequestHead& head, int port) {
    if (!names_this_server(head.host, port)) {
        return refused(fmt::format("this server answers on this machine only: \"{}\" is not 127.0.0.1:{} or localhost:{}",
                                   for_message(head.host), port, port));
    }
    if (head.effect == Effect::reads) return {};
    if (!head.origin.empty()) {
        constexpr std::string_view kScheme = "http://";
        const std::string_view origin = head.origin;
        if (!origin.starts_with(kScheme) || !names_this_server(origin.substr(kScheme.size()), port)) {
            return refused(fmt::format("a page at \"{}\" may not change anything here; use the page at http://127.0.0.1:{}/",
                                       for_message(head.origin), port));
        }
    }
    if (!head.sec_fetch_site.empty() && head.sec_fetch_site != "same-origin" && head.sec_fetch_site != "none") {
        return refused(fmt::format("a request from another site may not change anything here; use the page at "
                                   "http://127.0.0.1:{}/",
                                   port));
    }
    return {};
}

}  // namespace eyelet
