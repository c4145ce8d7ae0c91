#include "eyelet/board/evidence.h"

namespace eyelet {

const char* name_of(Standing standing) {
    switch (standing) {
        case Standing::proposed: return "proposed";
        case Standing::proven: return "proven";
        case Standing::refuted: return "refuted";
        case Standing::stale: return "stale";
    }
    return "";
}

const char* name_of(Unseen::Cause cause) {
    switch (cause) {
        case Unseen::Cause::part: return "part";
        case Unseen::Cause::print: return "print";
        case Unseen::Cause::glare: return "glare";
        case Unseen::Cause::blur: return "blur";
        case Unseen::Cause::outside: return "outside";
    }
    return "";
}

const char* name_of(NetStanding standing) {
    switch (standing) {
        case NetStanding::proposed: return "proposed";
        case NetStanding::proven: return "proven";
        case NetStanding::joined: return "joined";
        case NetStanding::stale: return "stale";
    }
    return "";
}

}  // namespace eyelet
