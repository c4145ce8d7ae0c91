// A file that a command writes: whole or not at all.
#pragma once

#include <filesystem>
#include <string_view>

#include "eyelet/core/result.h"

namespace eyelet::cli {

// Written beside and moved into place, so that a full disk leaves what was there before.
[[nodiscard]] Status write_file(const std::filesystem::path& path, std::string_view text);

}  // namespace eyelet::cli
