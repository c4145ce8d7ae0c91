// What every file that uses libvips shares: setting it up once, and its error text as one line.
// Internal to photo/: libvips is not shown in public headers.
#pragma once

#include <string>

#include "eyelet/core/result.h"

namespace eyelet {

// Starts libvips on the first call (thread-safe), silent on the console, with bounded threads and no cache of
// results: a photograph is decoded once and kept by whoever asked.
[[nodiscard]] Status start_vips();

// libvips' error buffer as one line, and cleared.
[[nodiscard]] std::string take_vips_error();

}  // namespace eyelet
