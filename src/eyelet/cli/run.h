// The command line as a function: what main() does, so that it could be called from elsewhere too.
#pragma once

namespace eyelet::cli {

// 0 done, 1 refused (one line on standard error, nothing changed), 2 wrong usage.
[[nodiscard]] int run(int argc, char** argv);

}  // namespace eyelet::cli
