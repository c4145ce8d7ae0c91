// Who may talk to the server. It listens on the loopback address only, but a browser on the same machine will
// carry requests there for any web page, so two more things are looked at:
//   1. The Host header must name this machine by a loopback name and the port that is served. A foreign name that
//      was made to resolve to 127.0.0.1 (DNS rebinding) is refused.
//   2. A request that changes something must come from the page itself or from a program: an Origin header of any
//      other place, or a browser's word that the request is from another site, is refused.
// Source of both: common practice; the headers are those of RFC 9110 (Host), RFC 6454 (Origin) and the W3C's Fetch
// Metadata Request Headers (Sec-Fetch-Site).
#pragma once

#include <string>
#include <string_view>

#include "eyelet/core/result.h"

namespace eyelet {

enum class Effect { reads, changes };

struct RequestHead {
    std::string host;
    std::string origin;          // empty where there is none
    std::string sec_fetch_site;  // likewise
    Effect effect = Effect::reads;
};

// GET, HEAD and OPTIONS read; everything else changes something.
[[nodiscard]] Effect effect_of(std::string_view method);

[[nodiscard]] Status check_request(const RequestHead& head, int port);

}  // namespace eyelet
