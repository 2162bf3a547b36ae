// The live page's server: one project file and the folder of its results, to this machine's own browsers only.
//
// Trust. It listens on the loopback address, on a port that the system picks. Every address begins with a random token
// of 128 bits, so that other users of the machine cannot reach it; requests under another host name or from another
// origin are refused, so that no page of the web can. Bodies are bounded, and no path of a request ever becomes a path
// of a file.
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <string>

#include <tl/expected.hpp>

namespace perdure {

struct ServerOptions {
    std::string file;    ///< the project file; need not be there yet
    std::string program; ///< this program's path, for the work beside
    std::string version; ///< shown
    std::string page;    ///< the built live page
    std::string report;  ///< the built page of the review report
    std::string token;   ///< empty: drawn
    uint16_t port = 0;   ///< 0: the system picks one
};

/// 32 hexadecimal digits from the system's source of randomness.
std::string random_token();

class Server {
public:
    explicit Server(ServerOptions options);
    ~Server();
    Server(const Server&) = delete;
    Server& operator=(const Server&) = delete;

    /// Takes its port; gives the page's address, or why it cannot.
    tl::expected<std::string, std::string> bind();
    /// Serves until stop() is called from another thread; then ends the work beside.
    void serve();
    void stop();

private:
    struct Inside;
    std::unique_ptr<Inside> inside_;
};

} // namespace perdure
