#include "eyelet/cli/out_file.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstring>
#include <string>

namespace eyelet::cli {

Status write_file(const std::filesystem::path& path, std::string_view text) {
    const auto failed = [&](const char* what) {
        return storage_error(fmt::format("{}: {}: {}", path.string(), what, std::strerror(errno)));
    };
    std::error_code ignored;
    // Devices and pipes (/dev/stdout) can only be written in place.
    const bool in_place =
        std::filesystem::exists(path, ignored) && !std::filesystem::is_regular_file(path, ignored);
    const std::string beside =
        in_place ? path.string() : fmt::format("{}.{}.part", path.string(), ::getpid());
    const int file = ::open(beside.c_str(), O_WRONLY | O_CREAT | O_CLOEXEC | (in_place ? 0 : O_EXCL), 0666);
    if (file < 0) return failed("cannot be written");
    while (!text.empty()) {
        const ssize_t written = ::write(file, text.data(), text.size());
        if (written < 0 && errno == EINTR) continue;
        if (written < 0) {
            const Status status = failed("cannot be written");
            ::close(file);
            if (!in_place) std::remove(beside.c_str());
            return status;
        }
        text.remove_prefix(static_cast<std::size_t>(written));
    }
    const bool synced = in_place || ::fsync(file) == 0;
    const int sync_error = errno;
    const bool closed = ::close(file) == 0;
    if (in_place) return closed ? Status() : failed("cannot be written");
    if (!synced) errno = sync_error;
    if (!synced || !closed || std::rename(beside.c_str(), path.c_str()) != 0) {
        const Status status = failed("cannot be written");
        std::remove(beside.c_str());
        return status;
    }
    return {};
}

}  // namespace eyelet::cli
