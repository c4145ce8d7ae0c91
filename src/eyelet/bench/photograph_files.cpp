#include "eyelet/bench/photograph_files.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <openssl/evp.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <atomic>
#include <cassert>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <fstream>
#include <system_error>

namespace eyelet {

namespace {

namespace fs = std::filesystem;

Error file_error(const fs::path& path, int error) {
    if (error == ENOSPC || error == EDQUOT || error == EFBIG)
        return storage_error(fmt::format(
            "{}: the disk is full; nothing was changed. Free some space and try again", path.string()));
    return storage_error(fmt::format("{}: {}; nothing was changed", path.string(), std::strerror(error)));
}

class File {
  public:
    File(const fs::path& path, int flags, mode_t mode = 0)
        : number_(::open(path.c_str(), flags | O_CLOEXEC, mode)) {}
    File(const File&) = delete;
    File& operator=(const File&) = delete;
    ~File() {
        if (number_ >= 0) ::close(number_);
    }
    [[nodiscard]] bool ok() const { return number_ >= 0; }
    [[nodiscard]] int number() const { return number_; }
    // Network file systems tell a full disk only here.
    [[nodiscard]] bool close() {
        const int number = number_;
        number_ = -1;
        return ::close(number) == 0;
    }

  private:
    int number_;
};

Status sync_folder(const fs::path& folder) {
    const File file(folder, O_RDONLY | O_DIRECTORY);
    if (!file.ok() || ::fsync(file.number()) != 0) return file_error(folder, errno);
    return {};
}

Status make_one_folder(const fs::path& folder) {
    if (::mkdir(folder.c_str(), 0777) == 0)
        return sync_folder(folder.has_parent_path() ? folder.parent_path() : fs::path("."));
    const int error = errno;
    std::error_code ignored;
    if (error == EEXIST && fs::is_directory(folder, ignored)) return {};
    return file_error(folder, error == EEXIST ? ENOTDIR : error);
}

}  // namespace

std::string sha256_of(const std::vector<std::byte>& bytes) {
    std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
    unsigned int count = 0;
    const int ok = EVP_Digest(bytes.data(), bytes.size(), digest.data(), &count, EVP_sha256(), nullptr);
    assert(ok == 1 && count == 32);
    (void)ok;
    std::string text;
    for (unsigned int i = 0; i < count; ++i) text += fmt::format("{:02x}", digest.at(i));
    return text;
}

Status make_folder(const fs::path& folder) {
    const fs::path clean = folder.lexically_normal();
    fs::path so_far;
    for (const fs::path& step : clean) {
        so_far /= step;
        std::error_code ignored;
        if (step.empty() || fs::is_directory(so_far, ignored)) continue;
        EYELET_TRY(make_one_folder(so_far));
    }
    return {};
}

PhotographFiles::Incoming::Incoming(Incoming&& other) noexcept
    : temporary_(std::move(other.temporary_)),
      final_(std::move(other.final_)),
      sha256_(std::move(other.sha256_)),
      placed_here_(std::exchange(other.placed_here_, false)) {
    other.temporary_.clear();
}

PhotographFiles::Incoming::~Incoming() {
    if (!temporary_.empty()) ::unlink(temporary_.c_str());
    if (placed_here_) ::unlink(final_.c_str());
}

Status PhotographFiles::Incoming::place() {
    EYELET_TRY(make_one_folder(final_.parent_path()));
    struct stat there {};
    struct stat mine {};
    if (::stat(temporary_.c_str(), &mine) != 0) return file_error(temporary_, errno);
    if (::stat(final_.c_str(), &there) == 0 && there.st_size == mine.st_size) {
        ::unlink(temporary_.c_str());
        temporary_.clear();
        // Another process may have renamed it and not come to its sync.
        return sync_folder(final_.parent_path());
    }
    if (::rename(temporary_.c_str(), final_.c_str()) != 0) return file_error(final_, errno);
    temporary_.clear();
    placed_here_ = true;
    return sync_folder(final_.parent_path());
}

Result<PhotographFiles::Incoming> PhotographFiles::bring_in(const std::vector<std::byte>& bytes) const {
    const fs::path incoming = folder_ / "incoming";
    EYELET_TRY(make_folder(incoming));
    std::string sha256 = sha256_of(bytes);
    static std::atomic<unsigned> counter{0};
    const fs::path temporary =
        incoming / fmt::format("{}-{}-{}", sha256.substr(0, 16), ::getpid(), counter++);
    fs::path final_path = path_of(sha256);
    Incoming result(temporary, std::move(final_path), std::move(sha256));
    File file(temporary, O_WRONLY | O_CREAT | O_TRUNC, 0666);
    if (!file.ok()) return file_error(temporary, errno);
    std::size_t done = 0;
    while (done < bytes.size()) {
        const ssize_t count = ::write(file.number(), bytes.data() + done, bytes.size() - done);
        if (count < 0 && errno == EINTR) continue;
        if (count <= 0) return file_error(temporary, count < 0 ? errno : ENOSPC);
        done += static_cast<std::size_t>(count);
    }
    if (::fsync(file.number()) != 0 || !file.close()) return file_error(temporary, errno);
    return result;
}

Result<std::vector<std::byte>> PhotographFiles::read(const std::string& sha256) const {
    const fs::path path = path_of(sha256);
    std::ifstream in(path, std::ios::binary);
    std::error_code error;
    const auto size = fs::file_size(path, error);
    if (!in || error)
        return storage_error(fmt::format(
            "{}: the photograph is not there; restore the bench folder from a copy", path.string()));
    std::vector<std::byte> bytes(size);
    in.read(reinterpret_cast<char*>(bytes.data()), static_cast<std::streamsize>(size));
    if (!in || sha256_of(bytes) != sha256)
        return storage_error(fmt::format(
            "{}: the photograph is no longer what was stored; restore the bench folder from a copy",
            path.string()));
    return bytes;
}

fs::path PhotographFiles::path_of(const std::string& sha256) const {
    return folder_ / sha256.substr(0, 2) / sha256;
}

bool PhotographFiles::holds_any() const {
    std::error_code error;
    for (fs::recursive_directory_iterator it(folder_, error), end; !error && it != end; it.increment(error))
        if (it->is_regular_file(error)) return true;
    return false;
}

void PhotographFiles::sweep() const {
    std::error_code error;
    const auto old = fs::file_time_type::clock::now() - std::chrono::hours(24);
    for (fs::directory_iterator it(folder_ / "incoming", error), end; !error && it != end;
         it.increment(error)) {
        std::error_code ignored;
        if (fs::last_write_time(it->path(), ignored) < old && !ignored) fs::remove(it->path(), ignored);
    }
}

}  // namespace eyelet
