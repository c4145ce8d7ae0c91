#include "eyelet/cli/terminal.h"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <pthread.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <atomic>
#include <cerrno>
#include <csignal>
#include <cstring>
#include <thread>

namespace eyelet::cli {
namespace {

bool is_closed(int file) {
    return fcntl(file, F_GETFD) < 0 && errno == EBADF;
}

// False with errno set if something could not be written.
bool write_all(int file, std::string_view text) {
    while (!text.empty()) {
        const ssize_t written = ::write(file, text.data(), text.size());
        if (written < 0 && errno == EINTR) continue;
        if (written < 0 && errno == EAGAIN) {  // a reader that set its end non-blocking
            pollfd ready{file, POLLOUT, 0};
            ::poll(&ready, 1, -1);
            continue;
        }
        if (written < 0) return false;
        text.remove_prefix(static_cast<std::size_t>(written));
    }
    return true;
}

sigset_t ending_signals() {
    sigset_t set;
    sigemptyset(&set);
    sigaddset(&set, SIGINT);
    sigaddset(&set, SIGTERM);
    sigaddset(&set, SIGHUP);
    return set;
}

}  // namespace

Status secure_standard_files() {
    std::signal(SIGPIPE, SIG_IGN);  // a reader that went away shows as an error of write() instead
    std::signal(SIGXFSZ, SIG_IGN);  // and so does a limit on the size of files
    const bool no_output = is_closed(STDOUT_FILENO);
    for (int file = 0; file <= 2; ++file)
        if (is_closed(file)) {
            const int null = ::open("/dev/null", O_RDWR);
            if (null >= 0 && null != file) {
                ::dup2(null, file);
                ::close(null);
            }
        }
    if (no_output)
        return bad_input("standard output: is closed; leave it open, or send it to a file or to /dev/null");
    return {};
}

Status write_out(std::string_view text) {
    if (write_all(STDOUT_FILENO, text)) return {};
    if (errno == EPIPE) return unavailable("standard output: whoever read it has gone");
    return storage_error(fmt::format("standard output: cannot be written: {}", std::strerror(errno)));
}

void write_error(std::string_view line) {
    write_all(STDERR_FILENO, std::string(line) + "\n");
}

bool input_is_terminal() {
    return ::isatty(STDIN_FILENO) == 1;
}
bool error_is_terminal() {
    return ::isatty(STDERR_FILENO) == 1;
}

// The signals are blocked in every thread and taken in one, so that asking to stop may lock and notify.
struct Interrupt::Watcher {
    std::jthread thread;
    std::atomic<bool> done = false;
};

Interrupt::Interrupt() {
    if (::pipe2(pipe_, O_CLOEXEC | O_NONBLOCK) != 0) pipe_[0] = pipe_[1] = -1;
    const sigset_t set = ending_signals();
    pthread_sigmask(SIG_BLOCK, &set, nullptr);
    watcher_ = new Watcher;
    watcher_->thread = std::jthread([this, set] {
        while (!watcher_->done) {
            int signal = 0;
            if (sigwait(&set, &signal) != 0 || watcher_->done) return;
            if (stop_.stop_requested()) ::_exit(128 + signal);
            stop_.request_stop();
            if (pipe_[1] >= 0) {
                const ssize_t ignored = ::write(pipe_[1], "x", 1);
                static_cast<void>(ignored);
            }
        }
    });
}

Interrupt::~Interrupt() {
    watcher_->done = true;
    pthread_kill(watcher_->thread.native_handle(), SIGINT);
    watcher_->thread.join();
    delete watcher_;
    for (const int file : pipe_)
        if (file >= 0) ::close(file);
}

ProgressBar::ProgressBar() : shown_(error_is_terminal()) {}
ProgressBar::~ProgressBar() {
    clear();
}

void ProgressBar::show(const Progress& progress) {
    if (!shown_) return;
    const auto now = std::chrono::steady_clock::now();
    if (progress.share < 1 && now - last_ < std::chrono::milliseconds(80)) return;
    last_ = now;
    winsize window{};
    const std::size_t columns =
        ioctl(STDERR_FILENO, TIOCGWINSZ, &window) == 0 && window.ws_col > 20 ? window.ws_col : 80U;
    constexpr int kCells = 24;
    const double share = std::clamp(progress.share, 0.0, 1.0);
    const int full = static_cast<int>(share * kCells + 0.5);
    std::string line =
        fmt::format("[{}{}] {:3.0f} %  {}", std::string(static_cast<std::size_t>(full), '#'),
                    std::string(static_cast<std::size_t>(kCells - full), '.'), share * 100, progress.what);
    if (line.size() > columns - 1) {
        line.resize(columns - 1);
        while (!line.empty() && (static_cast<unsigned char>(line.back()) & 0xC0U) == 0x80U) line.pop_back();
        if (!line.empty() && static_cast<unsigned char>(line.back()) >= 0xC0U) line.pop_back();
    }
    if (line == text_) return;
    text_ = line;
    write_all(STDERR_FILENO, "\r\x1b[K" + line);
}

void ProgressBar::clear() {
    if (shown_ && !text_.empty()) write_all(STDERR_FILENO, "\r\x1b[K");
    text_.clear();
}

std::optional<LineReader::Line> LineReader::next() {
    bool too_long = false;
    for (;;) {
        if (const std::size_t end = buffer_.find('\n'); end != std::string::npos) {
            Line line{buffer_.substr(0, end), too_long};
            buffer_.erase(0, end + 1);
            if (!line.text.empty() && line.text.back() == '\r') line.text.pop_back();
            return line;
        }
        if (buffer_.size() > kLongestLine) {  // keep the head for the message, drop the rest of the line
            too_long = true;
            buffer_.resize(kLongestLine);
        }
        if (ended_) {
            if (buffer_.empty()) return std::nullopt;
            Line line{std::exchange(buffer_, ""), too_long};
            return line;
        }
        pollfd files[2] = {{STDIN_FILENO, POLLIN, 0}, {interrupt_.file(), POLLIN, 0}};
        if (::poll(files, 2, -1) < 0 && errno != EINTR) return std::nullopt;
        if (interrupt_.asked()) return std::nullopt;
        if (files[0].revents == 0) continue;
        char chunk[4096];
        const ssize_t count = ::read(STDIN_FILENO, chunk, sizeof chunk);
        if (count < 0 && (errno == EINTR || errno == EAGAIN)) continue;
        if (count <= 0)
            ended_ = true;
        else
            buffer_.append(chunk, static_cast<std::size_t>(count));
    }
}

}  // namespace eyelet::cli
