// The store on SQLite: one folder with bench.db, photographs/ and tiles/. Everything else about it is hidden.
#pragma once

#include <filesystem>
#include <memory>

#include "eyelet/bench/store.h"

namespace eyelet {

struct SqliteOptions {
    // How long a write waits for another process's transaction before it is refused.
    int busy_timeout_ms = 15'000;
    // The database may not grow beyond so many pages of 4096 bytes; 0: as far as the disk goes. A page limit
    // fails a write in the same way as a full disk, so a test can have one anywhere.
    int max_pages = 0;
};

[[nodiscard]] Result<std::unique_ptr<Store>> open_sqlite_bench(const std::filesystem::path& folder,
                                                               OpenMode mode, const SqliteOptions& options);

}  // namespace eyelet
