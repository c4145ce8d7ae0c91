#include <fcntl.h>
#include <gtest/gtest.h>
#include <poll.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>

#include "eyelet/cli/process_for_test.h"

namespace eyelet::cli::testing {

Process::Process(const std::string& program, const std::vector<std::string>& arguments,
                 const std::vector<std::string>& environment, const std::function<void()>& prepare) {
    std::signal(SIGPIPE, SIG_IGN);
    int in[2];
    int out[2];
    int err[2];
    if (pipe2(in, O_CLOEXEC) != 0 || pipe2(out, O_CLOEXEC) != 0 || pipe2(err, O_CLOEXEC) != 0) return;
    child_ = fork();
    if (child_ == 0) {
        dup2(in[0], 0);
        dup2(out[1], 1);
        dup2(err[1], 2);
        std::signal(SIGPIPE, SIG_DFL);
        for (const std::string& variable : environment) {
            const std::size_t equals = variable.find('=');
            setenv(variable.substr(0, equals).c_str(), variable.substr(equals + 1).c_str(), 1);
        }
        if (prepare) prepare();
        std::vector<char*> words{const_cast<char*>(program.c_str())};
        for (const std::string& argument : arguments) words.push_back(const_cast<char*>(argument.c_str()));
        words.push_back(nullptr);
        execv(program.c_str(), words.data());
        _exit(127);
    }
    close(in[0]);
    close(out[1]);
    close(err[1]);
    input_ = in[1];
    output_ = out[0];
    error_ = err[0];
}

Process::~Process() {
    if (child_ > 0) {
        kill(child_, SIGKILL);
        waitpid(child_, nullptr, 0);
    }
    for (const int file : {input_, output_, error_})
        if (file >= 0) close(file);
}

bool Process::write_line(const std::string& line) {
    std::string_view text;
    const std::string ended = line + "\n";
    for (text = ended; !text.empty();) {
        const ssize_t written = ::write(input_, text.data(), text.size());
        if (written < 0 && errno == EINTR) continue;
        if (written < 0) return false;
        text.remove_prefix(static_cast<std::size_t>(written));
    }
    return true;
}

void Process::close_input() {
    if (input_ >= 0) close(input_);
    input_ = -1;
}

void Process::close_output() {
    if (output_ >= 0) close(output_);
    output_ = -1;
}

std::optional<std::string> Process::read_line(int patience_s) {
    for (;;) {
        if (const std::size_t end = buffer_.find('\n'); end != std::string::npos) {
            std::string line = buffer_.substr(0, end);
            buffer_.erase(0, end + 1);
            return line;
        }
        pollfd ready{output_, POLLIN, 0};
        if (poll(&ready, 1, patience_s * 1000) <= 0) return std::nullopt;
        char chunk[4096];
        const ssize_t count = read(output_, chunk, sizeof chunk);
        if (count < 0 && errno == EINTR) continue;
        if (count <= 0) return std::nullopt;
        buffer_.append(chunk, static_cast<std::size_t>(count));
    }
}

void Process::signal(int number) const {
    kill(child_, number);
}

Finished Process::finish() {
    close_input();
    Finished finished;
    finished.out = buffer_;
    std::string* const targets[2] = {&finished.out, &finished.err};
    int files[2] = {output_, error_};
    while (files[0] >= 0 || files[1] >= 0) {
        pollfd ready[2] = {{files[0], POLLIN, 0}, {files[1], POLLIN, 0}};
        if (poll(ready, 2, 300'000) <= 0) break;
        for (int i = 0; i < 2; ++i) {
            if (files[i] < 0 || ready[i].revents == 0) continue;
            char chunk[4096];
            const ssize_t count = read(files[i], chunk, sizeof chunk);
            if (count > 0)
                targets[i]->append(chunk, static_cast<std::size_t>(count));
            else if (count == 0 || errno != EINTR)
                files[i] = -1;
        }
    }
    int status = 0;
    waitpid(child_, &status, 0);
    child_ = -1;
    finished.exit = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
    return finished;
}

Finished run_process(const std::string& program, const std::vector<std::string>& arguments,
                     const std::string& input, const std::vector<std::string>& environment,
                     const std::function<void()>& prepare) {
    Process process(program, arguments, environment, prepare);
    if (!input.empty()) process.write_line(input.back() == '\n' ? input.substr(0, input.size() - 1) : input);
    return process.finish();
}

// The helper itself: what it says about a program is what the program did.
TEST(ProcessForTest, TellsExitAndStreams) {
    const Finished echo = run_process("/bin/sh", {"-c", "cat; echo sorry >&2; exit 3"}, "hello\n");
    EXPECT_EQ(echo.exit, 3);
    EXPECT_EQ(echo.out, "hello\n");
    EXPECT_EQ(echo.err, "sorry\n");
    EXPECT_EQ(run_process("/bin/sh", {"-c", "kill -9 $$"}).exit, 128 + 9);
    EXPECT_EQ(run_process("/bin/sh", {"-c", "echo $COLOUR"}, "", {"COLOUR=blue"}).out, "blue\n");
}

}  // namespace eyelet::cli::testing
