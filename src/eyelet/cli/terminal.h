// What a command has to do with the terminal: output that may fail, a progress bar, lines of input, and
// Ctrl-C.
#pragma once

#include <chrono>
#include <optional>
#include <stop_token>
#include <string>
#include <string_view>

#include "eyelet/core/result.h"
#include "eyelet/jobs/watch.h"

namespace eyelet::cli {

// Makes sure that the numbers 0, 1 and 2 are open, so that no file of the bench can get one of them. Refused
// where standard output was closed: a command whose answer nobody can read must not do its work.
[[nodiscard]] Status secure_standard_files();

// Writes to standard output and flushes. After an error the reader may have gone or the disk may be full.
[[nodiscard]] Status write_out(std::string_view text);
// One line on standard error; nothing can be done if that fails.
void write_error(std::string_view line);

[[nodiscard]] bool input_is_terminal();
[[nodiscard]] bool error_is_terminal();

// Ctrl-C and a request to end: the first asks the work to stop, the second ends the process at once.
class Interrupt {
  public:
    Interrupt();
    ~Interrupt();
    Interrupt(const Interrupt&) = delete;
    Interrupt& operator=(const Interrupt&) = delete;

    [[nodiscard]] std::stop_token token() const { return stop_.get_token(); }
    [[nodiscard]] bool asked() const { return stop_.stop_requested(); }
    // Becomes readable when asked; for poll().
    [[nodiscard]] int file() const { return pipe_[0]; }

  private:
    struct Watcher;
    std::stop_source stop_;
    int pipe_[2] = {-1, -1};
    Watcher* watcher_ = nullptr;
};

// A line of standard error that is drawn over itself. Does nothing where standard error is no terminal.
class ProgressBar {
  public:
    ProgressBar();
    ~ProgressBar();
    ProgressBar(const ProgressBar&) = delete;
    ProgressBar& operator=(const ProgressBar&) = delete;
    void show(const Progress& progress);
    void clear();

  private:
    bool shown_ = false;
    std::chrono::steady_clock::time_point last_{};
    std::string text_;
};

// Lines of standard input, without their ends. A line longer than kLongestLine is given up to there and
// marked.
class LineReader {
  public:
    static constexpr std::size_t kLongestLine = 1U << 20U;
    struct Line {
        std::string text;
        bool too_long = false;
    };
    explicit LineReader(const Interrupt& interrupt) : interrupt_(interrupt) {}
    // None at the end of input, after Ctrl-C, or when input fails.
    [[nodiscard]] std::optional<Line> next();

  private:
    const Interrupt& interrupt_;
    std::string buffer_;
    bool ended_ = false;
};

}  // namespace eyelet::cli
