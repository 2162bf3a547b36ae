#include "web/child.hpp"

#include <array>
#include <chrono>
#include <csignal>
#include <cstdlib>

#include <fcntl.h>
#include <poll.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

extern char** environ; // NOLINT(readability-redundant-declaration): POSIX leaves its declaration to the program

namespace perdure {
namespace {

/// Both ends of a pipe; closed with it. The child gets the writing end only.
struct Pipe {
    std::array<int, 2> ends{-1, -1};
    Pipe() {
        if (::pipe2(ends.data(), O_CLOEXEC) != 0) { ends = {-1, -1}; }
    }
    ~Pipe() {
        close_end(0);
        close_end(1);
    }
    Pipe(const Pipe&) = delete;
    Pipe& operator=(const Pipe&) = delete;
    void close_end(size_t end) {
        if (ends.at(end) >= 0) { ::close(ends.at(end)); }
        ends.at(end) = -1;
    }
};

pid_t spawn(const std::vector<std::string>& words, const Pipe& out, const Pipe& err) {
    std::vector<char*> arguments;
    for (const std::string& word : words) { arguments.push_back(const_cast<char*>(word.c_str())); }
    arguments.push_back(nullptr);
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_addopen(&actions, STDIN_FILENO, "/dev/null", O_RDONLY, 0);
    posix_spawn_file_actions_adddup2(&actions, out.ends[1], STDOUT_FILENO);
    posix_spawn_file_actions_adddup2(&actions, err.ends[1], STDERR_FILENO);
    // The server's threads block the signals that end it; the child must not inherit that.
    posix_spawnattr_t attributes;
    posix_spawnattr_init(&attributes);
    sigset_t none;
    sigemptyset(&none);
    posix_spawnattr_setsigmask(&attributes, &none);
    sigset_t ignored; // by the server
    sigemptyset(&ignored);
    sigaddset(&ignored, SIGPIPE);
    posix_spawnattr_setsigdefault(&attributes, &ignored);
    posix_spawnattr_setflags(&attributes, POSIX_SPAWN_SETSIGMASK | POSIX_SPAWN_SETSIGDEF);
    pid_t child = -1;
    const int failed = ::posix_spawn(&child, words.front().c_str(), &actions, &attributes, arguments.data(), environ);
    posix_spawnattr_destroy(&attributes);
    posix_spawn_file_actions_destroy(&actions);
    return failed == 0 ? child : -1;
}

/// Takes whole lines off the front of `lines` and passes the progress on.
void follow(std::string& lines, const std::function<void(double)>& progress) {
    constexpr std::string_view begin = "progress ";
    for (size_t end = lines.find('\n'); end != std::string::npos; end = lines.find('\n')) {
        if (lines.starts_with(begin) && progress) { progress(std::atof(lines.c_str() + begin.size())); }
        lines.erase(0, end + 1);
    }
    if (lines.size() > 4096) { lines.clear(); }
}

/// False at the end of what there is to read.
bool read_some(int from, std::string& to) {
    std::array<char, 65536> piece{};
    const ssize_t got = ::read(from, piece.data(), piece.size());
    if (got <= 0) { return false; }
    to.append(piece.data(), static_cast<size_t>(got));
    return true;
}

} // namespace

ChildResult run_child(const std::vector<std::string>& words, const std::atomic<bool>& cancel,
                      const std::function<void(double)>& progress, size_t bytes_max, double seconds_max) {
    ChildResult result;
    const auto begun = std::chrono::steady_clock::now();
    Pipe out, err;
    if (out.ends[0] < 0 || err.ends[0] < 0) { return result; }
    const pid_t child = spawn(words, out, err);
    if (child < 0) { return result; }
    result.started = true;
    out.close_end(1);
    err.close_end(1);
    std::string lines;
    bool told = false;
    while (out.ends[0] >= 0 || err.ends[0] >= 0) {
        std::array<pollfd, 2> polled{pollfd{out.ends[0], POLLIN, 0}, pollfd{err.ends[0], POLLIN, 0}};
        constexpr int look_every_ms = 50;
        if (::poll(polled.data(), polled.size(), look_every_ms) < 0) { break; }
        if (polled[0].revents != 0 && !read_some(out.ends[0], result.out)) { out.close_end(0); }
        if (polled[1].revents != 0) {
            if (!read_some(err.ends[0], lines)) { err.close_end(0); }
            follow(lines, progress);
        }
        const std::chrono::duration<double> spent = std::chrono::steady_clock::now() - begun;
        const bool too_long = seconds_max > 0 && spent.count() > seconds_max;
        if (!told && (cancel || too_long || result.out.size() > bytes_max)) {
            ::kill(child, SIGTERM);
            told = true;
        }
    }
    int status = 0;
    ::waitpid(child, &status, 0);
    result.ended_by_signal = WIFSIGNALED(status);
    result.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    return result;
}

} // namespace perdure
