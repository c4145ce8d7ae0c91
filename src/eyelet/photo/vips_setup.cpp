#include "eyelet/photo/vips_setup.h"

#include <algorithm>
#include <thread>

#include <vips/vips.h>

namespace eyelet {

namespace {

void say_nothing(const gchar*, GLogLevelFlags, const gchar*, gpointer) {}

bool start() {
    // libvips warns about broken metadata on standard error; what matters of it comes back as an error.
    g_log_set_handler("VIPS", static_cast<GLogLevelFlags>(G_LOG_LEVEL_WARNING | G_LOG_LEVEL_INFO | G_LOG_LEVEL_MESSAGE),
                      say_nothing, nullptr);
    if (vips_init("eyelet") != 0) return false;
    const unsigned cores = std::max(1U, std::thread::hardware_concurrency());
    vips_concurrency_set(static_cast<int>(std::min(4U, cores)));
    vips_cache_set_max(0);
    return true;
}

}  // namespace

Status start_vips() {
    static const bool started = start();
    if (!started) return unavailable("the image library libvips did not start; reinstall the package libvips42");
    return {};
}

std::string take_vips_error() {
    std::string text = vips_error_buffer();
    vips_error_clear();
    while (!text.empty() && (text.back() == '\n' || text.back() == ' ')) text.pop_back();
    for (char& c : text)
        if (c == '\n') c = ';';
    return text;
}

}  // namespace eyelet
