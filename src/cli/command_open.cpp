// perdure open: the live page of one project file, served to this machine's own browser until it is stopped.
#include <atomic>
#include <csignal>
#include <filesystem>
#include <iostream>
#include <thread>

#include <fmt/format.h>
#include <nlohmann/json.hpp>
#include <spawn.h>
#include <unistd.h>

#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "dossier/report.hpp"
#include "web/server.hpp"

extern char** environ; // NOLINT(readability-redundant-declaration): POSIX leaves its declaration to the program

namespace perdure {
namespace {

/// Asks the desktop to show the address; nothing happens where there is none.
void show_in_browser(const std::string& address) {
    if (std::getenv("DISPLAY") == nullptr && std::getenv("WAYLAND_DISPLAY") == nullptr) { return; }
    std::string program = "xdg-open";
    std::string word = address;
    char* const arguments[] = {program.data(), word.data(), nullptr};
    pid_t child = -1;
    ::posix_spawnp(&child, program.c_str(), nullptr, nullptr, arguments, environ);
}

/// What may be served: a project file, or a place where one can be written.
std::string why_not_served(const std::string& path) {
    std::error_code error;
    if (std::filesystem::is_directory(path, error)) { return fmt::format("'{}' is a folder", path); }
    if (std::filesystem::path(path).extension() != ".toml") {
        return fmt::format("'{}': a project file's name ends in .toml", path);
    }
    const std::filesystem::path folder = std::filesystem::absolute(path).parent_path();
    if (!std::filesystem::is_directory(folder, error)) {
        return fmt::format("there is no folder '{}'", folder.string());
    }
    return {};
}

} // namespace

int run_open(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const std::string& path = input.arguments.front();
    if (const std::string wrong = why_not_served(path); !wrong.empty()) { return complain(input, wrong, out, err); }
    uint64_t port = 0;
    if (const std::string wrong = number_option(input, "--port", 1024, 65535, port); !wrong.empty()) {
        return complain(input, wrong, out, err);
    }
    ServerOptions options;
    options.file = path;
    options.program = std::filesystem::read_symlink("/proc/self/exe").string();
    options.version = PERDURE_VERSION;
    options.page = std::string(embedded_page("live.html"));
    options.report = std::string(embedded_page("report.html"));
    options.port = static_cast<uint16_t>(port);
    if (options.page.empty()) { return complain(input, std::string(no_page()), out, err); }

    // One thread waits for the signals that end it; the others never see them.
    sigset_t ending;
    sigset_t before;
    sigemptyset(&ending);
    for (const int signal : {SIGINT, SIGTERM, SIGHUP}) { sigaddset(&ending, signal); }
    pthread_sigmask(SIG_BLOCK, &ending, &before);
    std::signal(SIGPIPE, SIG_IGN);
    Server server(std::move(options));
    const auto address = server.bind();
    if (!address) {
        pthread_sigmask(SIG_SETMASK, &before, nullptr);
        return complain(input, address.error(), out, err);
    }
    if (input.json) {
        out << nlohmann::json{{"address", *address}}.dump() << std::endl;
    } else {
        out << fmt::format("{}\n  Ctrl-C ends it. Whoever has this address can read and write the file.\n", *address)
            << std::flush;
    }
    if (!option_of(input, "--no-browser")) { show_in_browser(*address); }
    std::atomic<bool> ended = false;
    std::thread waiter([&] {
        int signal = 0;
        sigwait(&ending, &signal);
        ended = true;
        server.stop();
    });
    server.serve();
    if (!ended) { pthread_kill(waiter.native_handle(), SIGHUP); } // the port was lost
    waiter.join();
    pthread_sigmask(SIG_SETMASK, &before, nullptr);
    return exit_ok;
}

} // namespace perdure
