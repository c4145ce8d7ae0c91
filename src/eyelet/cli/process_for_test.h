// For tests: the built program as a child process, with its three streams.
#pragma once

#include <sys/types.h>

#include <csignal>
#include <functional>
#include <optional>
#include <string>
#include <vector>

namespace eyelet::cli::testing {

struct Finished {
    int exit = -1;    // exit status; 128 + signal where one ended it
    std::string out;  // standard output
    std::string err;  // standard error
};

class Process {
  public:
    // `prepare` runs in the child before the program starts: close a file, set a limit.
    Process(const std::string& program, const std::vector<std::string>& arguments,
            const std::vector<std::string>& environment = {}, const std::function<void()>& prepare = {});
    ~Process();
    Process(const Process&) = delete;
    Process& operator=(const Process&) = delete;

    bool write_line(const std::string& line);
    void close_input();
    void close_output();  // our end of its standard output: it gets SIGPIPE or EPIPE
    // None at its end, or when nothing came for `patience_s`.
    std::optional<std::string> read_line(int patience_s = 120);
    void signal(int number) const;
    // Closes its input, reads what is left and waits.
    Finished finish();

  private:
    pid_t child_ = -1;
    int input_ = -1;
    int output_ = -1;
    int error_ = -1;
    std::string buffer_;
};

// Starts it, gives it all of `input`, waits.
Finished run_process(const std::string& program, const std::vector<std::string>& arguments,
                     const std::string& input = "", const std::vector<std::string>& environment = {},
                     const std::function<void()>& prepare = {});

}  // namespace eyelet::cli::testing
