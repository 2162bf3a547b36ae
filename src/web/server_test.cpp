// The live page's server as its enemies and its page see it: over sockets, on the loopback address.
#include "web/server.hpp"

#include <chrono>
#include <filesystem>
#include <fstream>
#include <random>
#include <sstream>
#include <thread>

#include <arpa/inet.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <nlohmann/json.hpp>
#include <sys/socket.h>
#include <sys/time.h>
#include <unistd.h>

#include "dossier/dossier.hpp"
#include "tests/own_folder.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

constexpr const char* frame = "<title>PERDURE_TITLE</title><pre>PERDURE_TEXT</pre><script>PERDURE_DOSSIER</script>";

std::string contents(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
}

/// One of `seeds` with some bytes changed, put in, taken out or doubled, or cut short; by number.
std::string malformed(const std::vector<std::string>& seeds, unsigned number) {
    static const std::vector<std::string> pieces{"\r\n",
                                                 std::string(4, '\0'),
                                                 "Content-Length: 18446744073709551616\r\n",
                                                 "Host: a\r\n",
                                                 "%00",
                                                 "../",
                                                 "Transfer-Encoding: chunked\r\n\r\nFFFFFFFFFFFFFFFF\r\n",
                                                 "{\"a\":",
                                                 "\xC3\x28",
                                                 "-1",
                                                 "1e999"};
    std::mt19937_64 random(number);
    const auto any = [&](size_t below) { return static_cast<size_t>(random() % std::max<size_t>(1, below)); };
    std::string bytes = seeds[any(seeds.size())];
    for (size_t changes = 1 + any(6); changes > 0; changes--) {
        const size_t at = any(bytes.size());
        switch (any(5)) {
        case 0:
            bytes[at] = static_cast<char>(random());
            break;
        case 1:
            bytes.insert(at, pieces[any(pieces.size())]);
            break;
        case 2:
            bytes.erase(at, any(40));
            break;
        case 3:
            bytes.resize(at + 1);
            break;
        default:
            bytes.insert(at, bytes.substr(at, any(200)));
        }
    }
    return bytes;
}

/// One server over a copy of an example, in a thread of its own.
class LiveServer : public ::testing::Test {
protected:
    void SetUp() override { begin("gate-counter/gate-counter.toml"); }
    void begin(const std::string& example) {
        const auto* test = ::testing::UnitTest::GetInstance()->current_test_info();
        file = own_folder() + test->name() + ".toml";
        if (!example.empty()) {
            std::filesystem::copy_file(source_path("examples/") + example, file,
                                       std::filesystem::copy_options::overwrite_existing);
        }
        ServerOptions options;
        options.file = file;
        options.program = program_path();
        options.version = "0";
        options.page = options.report = frame;
        options.token = token;
        server = std::make_unique<Server>(options);
        const auto address = server->bind();
        ASSERT_TRUE(address) << address.error();
        const size_t colon = address->rfind(':');
        port = static_cast<uint16_t>(std::stoi(address->substr(colon + 1)));
        EXPECT_EQ(*address, "http://127.0.0.1:" + std::to_string(port) + "/" + token + "/");
        thread = std::thread([this] { server->serve(); });
    }
    void TearDown() override {
        server->stop();
        thread.join();
        server.reset();
    }

    /// Sends bytes and reads the answer until its end, or until nothing has come for `wait_ms`.
    [[nodiscard]] std::string exchange(const std::string& sent, int wait_ms = 5000) const {
        const int socket = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
        sockaddr_in to{};
        to.sin_family = AF_INET;
        to.sin_port = htons(port);
        to.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
        const timeval limit{wait_ms / 1000, (wait_ms % 1000) * 1000};
        ::setsockopt(socket, SOL_SOCKET, SO_RCVTIMEO, &limit, sizeof limit);
        std::string got;
        if (::connect(socket, reinterpret_cast<const sockaddr*>(&to), sizeof to) == 0) {
            (void)::send(socket, sent.data(), sent.size(), MSG_NOSIGNAL);
            std::array<char, 65536> piece{};
            for (ssize_t n = 0; (n = ::recv(socket, piece.data(), piece.size(), 0)) > 0;) {
                got.append(piece.data(), static_cast<size_t>(n));
            }
        }
        ::close(socket);
        return got;
    }
    [[nodiscard]] std::string host() const { return "127.0.0.1:" + std::to_string(port); }
    [[nodiscard]] std::string request(const std::string& method, const std::string& path, const std::string& body = "",
                                      const std::string& more = "") const {
        return method + " " + path + " HTTP/1.1\r\nHost: " + host() + "\r\nConnection: close\r\n" + more +
               (body.empty() ? "" : "Content-Length: " + std::to_string(body.size()) + "\r\n") + "\r\n" + body;
    }
    static int status(const std::string& answer) {
        return answer.size() > 12 && answer.starts_with("HTTP/1.1 ") ? std::atoi(answer.c_str() + 9) : 0;
    }
    static std::string body(const std::string& answer) {
        const size_t end = answer.find("\r\n\r\n");
        return end == std::string::npos ? "" : answer.substr(end + 4);
    }
    [[nodiscard]] std::pair<int, nlohmann::json> post(const std::string& what, const nlohmann::json& json) const {
        const std::string answer = exchange(request("POST", "/" + token + "/" + what, json.dump()), 60000);
        return {status(answer), nlohmann::json::parse(body(answer), nullptr, false)};
    }
    [[nodiscard]] nlohmann::json jobs() const {
        return nlohmann::json::parse(body(exchange(request("GET", "/" + token + "/jobs"))), nullptr, false);
    }
    /// The job's state once it has left "running".
    [[nodiscard]] nlohmann::json wait_for(const std::string& job) const {
        for (int i = 0; i < 2400; i++) {
            const nlohmann::json states = jobs();
            if (states[job]["state"] != "running") { return states[job]; }
            std::this_thread::sleep_for(std::chrono::milliseconds(50));
        }
        return {};
    }

    std::string token = "00112233445566778899aabbccddeeff", file;
    uint16_t port = 0;
    std::unique_ptr<Server> server;
    std::thread thread;
};

TEST_F(LiveServer, GivesThePageToWhoHasItsAddress) {
    const std::string answer = exchange(request("GET", "/" + token + "/"));
    EXPECT_EQ(status(answer), 200);
    EXPECT_NE(answer.find("<title>gate counter: "), std::string::npos);
    for (const char* header : {"Content-Security-Policy: default-src 'none'", "X-Content-Type-Options: nosniff",
                               "Referrer-Policy: no-referrer", "Cache-Control: no-store"}) {
        EXPECT_NE(answer.find(header), std::string::npos) << header;
    }
}

TEST_F(LiveServer, RefusesOtherTokensHostsAndOrigins) {
    const std::string page = "/" + token + "/";
    EXPECT_EQ(status(exchange(request("GET", "/"))), 403);
    EXPECT_EQ(status(exchange(request("GET", "/00112233445566778899aabbccddeefe/"))), 403);
    EXPECT_EQ(status(exchange(request("GET", "/" + token))), 403);
    EXPECT_EQ(status(exchange(request("GET", page + "../../etc/passwd"))), 404);
    EXPECT_EQ(status(exchange("GET " + page + " HTTP/1.1\r\nHost: perdure.example\r\nConnection: close\r\n\r\n")), 403);
    EXPECT_EQ(status(exchange("GET " + page + " HTTP/1.1\r\nConnection: close\r\n\r\n")), 403);
    EXPECT_EQ(status(exchange(request("GET", page, "", "Origin: http://evil.example\r\n"))), 403);
    EXPECT_EQ(status(exchange(request("POST", page + "dossier", "{}", "Origin: null\r\n"))), 403);
    EXPECT_EQ(status(exchange(request("POST", page + "save", "{}", "Sec-Fetch-Site: cross-site\r\n"))), 403);
    EXPECT_EQ(status(exchange(request("GET", page, "", "Origin: http://" + host() + "\r\n"))), 200);
    EXPECT_EQ(status(exchange("GET " + page + " HTTP/1.1\r\nHost: localhost:" + std::to_string(port) +
                              "\r\nConnection: close\r\n\r\n")),
              200);
    // A request that says it has more than the server takes.
    EXPECT_EQ(status(exchange("POST " + page + "dossier HTTP/1.1\r\nHost: " + host() +
                              "\r\nConnection: close\r\nContent-Length: 99999999999\r\n\r\n{}")),
              413);
}

TEST_F(LiveServer, TheVerdictFollowsTheText) {
    std::string text = contents(file);
    auto [code, json] = post("dossier", {{"text", text}});
    EXPECT_EQ(code, 200);
    EXPECT_TRUE(json["holds"].get<bool>());
    text.replace(text.find("life = "), 6, "lief =");
    std::tie(code, json) = post("dossier", {{"text", text}});
    EXPECT_EQ(code, 200);
    EXPECT_FALSE(json["holds"].get<bool>());
    EXPECT_EQ(json["errors"][0]["nearest"], "life");
    EXPECT_EQ(post("dossier", {{"txt", text}}).first, 400);
    EXPECT_EQ(post("dossier", {{"text", std::string((1U << 20U) + 1, '#')}}).first, 413);
    EXPECT_EQ(post("nothing", {{"text", text}}).first, 404);
    EXPECT_EQ(contents(file).find("lief"), std::string::npos) << "nothing is written unless it is saved";
}

TEST_F(LiveServer, TheCoarseAnswerIsMarkedAndNear) {
    const std::string text = contents(file);
    const nlohmann::json coarse = post("dossier", {{"text", text}, {"coarse", true}}).second;
    const nlohmann::json exact = post("dossier", {{"text", text}}).second;
    EXPECT_TRUE(coarse["coarse"].get<bool>());
    EXPECT_FALSE(exact["coarse"].get<bool>());
    const double need = exact["budget"]["findings"][0]["need"].get<double>();
    EXPECT_NEAR(coarse["budget"]["findings"][0]["need"].get<double>(), need, 0.1 * need);
}

TEST_F(LiveServer, SaveKeepsEveryByteAndOthersChanges) {
    const std::string before = contents(file);
    const std::string text = "# by hand\r\n" + before + "\n\n# the end, no line feed";
    auto [code, json] = post("save", {{"text", text}, {"based_on", sha256_of(before)}});
    EXPECT_EQ(code, 200);
    EXPECT_EQ(contents(file), text);
    std::ofstream(file, std::ios::binary) << "# by another program\n";
    std::tie(code, json) = post("save", {{"text", before}, {"based_on", sha256_of(text)}});
    EXPECT_EQ(code, 409);
    EXPECT_EQ(json["text"], "# by another program\n");
    EXPECT_EQ(contents(file), "# by another program\n") << "nothing is overwritten in silence";
}

TEST_F(LiveServer, ChangesAreTriedWithoutTheFile) {
    const std::string text = contents(file);
    const auto tried = [&](nlohmann::json change) {
        change["text"] = text;
        return post("try", change);
    };
    EXPECT_TRUE(tried({{"life", 6}}).second["holds"].get<bool>());
    EXPECT_FALSE(tried({{"life", 60}, {"blocks", 2}}).second["holds"].get<bool>());
    EXPECT_EQ(tried({{"blocks", 4}}).second["budget"]["areas"][0]["ring_blocks"], 4);
    EXPECT_EQ(tried({{"life", "long"}}).second["error"], "\"life\" takes a number from 0.01 to 100");
    EXPECT_EQ(tried({{"part", "none"}}).second["error"], "\"part\" takes an id of the catalogue");
    const nlohmann::json other = tried({{"part", "stm32g071"}}).second;
    EXPECT_TRUE(other["errors"].empty());
    EXPECT_EQ(other["budget"]["areas"][0]["ring_block_bytes"], 2048);
    EXPECT_EQ(contents(file), text);
}

TEST_F(LiveServer, StepsArePlayedAndWrongScriptsSaid) {
    const std::string text = contents(file);
    const auto played = [&](const nlohmann::json& script) {
        return post("steps", {{"text", text}, {"area", "store"}, {"script", script}});
    };
    const auto [code, json] = played({{{"do", "start"}}, {{"do", "put"}, {"record", "passages"}}});
    EXPECT_EQ(code, 200);
    EXPECT_EQ(json["said"], "done");
    EXPECT_FALSE(json["frames"].empty());
    EXPECT_EQ(played({{{"do", "dance"}}}).second["error"], "call 1: \"do\" is put, fill, service or start");
    EXPECT_EQ(played({{{"do", "put"}, {"record", 5}}}).second["error"], "call 1: \"record\" is none of that area");
    EXPECT_EQ(played({{{"do", "start"}, {"draw", -1}}}).first, 400);
    EXPECT_EQ(played("start").first, 400);
}

TEST_F(LiveServer, LongWorkRunsBesideAndItsResultStaysWithTheHash) {
    EXPECT_EQ(post("start", {{"job", "dance"}}).first, 409);
    EXPECT_EQ(post("start", {{"job", "age"}}).first, 200);
    EXPECT_EQ(wait_for("age")["state"], "done");
    const std::string text = contents(file);
    nlohmann::json json = post("dossier", {{"text", text}}).second;
    EXPECT_TRUE(json["runs"]["age"]["of_this_file"].get<bool>());
    EXPECT_TRUE(json["runs"]["age"]["result"]["holds"].get<bool>());
    json = post("dossier", {{"text", text + "\n"}}).second;
    EXPECT_FALSE(json["runs"]["age"]["of_this_file"].get<bool>()) << "stale after an edit";
    const auto kept = nlohmann::json::parse(
        contents(own_folder() + "LongWorkRunsBesideAndItsResultStaysWithTheHash.results/age.json"));
    EXPECT_EQ(kept["sha256"], sha256_of(text));
}

TEST_F(LiveServer, OnlyCasesThatTheProofNamesArePlayedAgain) {
    const std::string line = "store:small-fresh-1:a0.t0.r0 --length 1";
    EXPECT_EQ(post("case", {{"replay", line}}).first, 400) << "no proof yet";
    // A result that was kept, of this very file; the server reads it when it begins.
    TearDown();
    const std::string text = contents(file);
    const std::string folder = std::filesystem::path(file).replace_extension(".results").string();
    std::filesystem::create_directory(folder);
    const nlohmann::json cell{{"replay", {{"as_before", line}, {"as_new", "store:small-fresh-1:a99.t0.r0"}}}};
    const nlohmann::json part{{"counts", {{"outcomes", {cell}}}}};
    std::ofstream(folder + "/cut.json") << nlohmann::json{{"sha256", sha256_of(text)},
                                                          {"areas", {{{"parts", {part}}}}}};
    begin("");
    const auto [code, json] = post("case", {{"replay", line}});
    ASSERT_EQ(code, 200) << json;
    EXPECT_TRUE(json["holds"].get<bool>());
    EXPECT_EQ(json["reads"], "as before");
    EXPECT_NE(json["steps"][1].get<std::string>().find("power cut inside the program"), std::string::npos);
    EXPECT_NE(json["flash_after"].get<std::string>().find("block 0"), std::string::npos);
    for (const nlohmann::json& other :
         std::vector<nlohmann::json>{"store:small-fresh-1:a0.t0.r1", "--merge", "", 5, nullptr}) {
        EXPECT_EQ(post("case", {{"replay", other}}).first, 400) << other;
    }
    EXPECT_EQ(post("case", {{"replay", "store:small-fresh-1:a99.t0.r0"}}).first, 500) << "leads nowhere";
    std::ofstream(file, std::ios::app) << "\n";
    EXPECT_EQ(post("case", {{"replay", line}}).first, 409) << "the file has changed since";
    std::filesystem::remove_all(folder);
}

TEST_F(LiveServer, LongWorkIsCancelled) {
    EXPECT_EQ(post("start", {{"job", "cut"}, {"seconds", 600}}).first, 200);
    EXPECT_EQ(post("start", {{"job", "cut"}}).first, 409) << "it is running already";
    std::this_thread::sleep_for(std::chrono::milliseconds(300));
    EXPECT_EQ(post("cancel", {{"job", "cut"}}).first, 200);
    EXPECT_EQ(wait_for("cut")["state"], "cancelled");
    EXPECT_TRUE(post("dossier", {{"text", contents(file)}}).second["runs"]["cut"].is_null());
}

TEST_F(LiveServer, StopsWithWorkUnderWay) {
    EXPECT_EQ(post("start", {{"job", "cut"}, {"seconds", 600}}).first, 200);
    const auto begin = std::chrono::steady_clock::now();
    TearDown();
    EXPECT_LT(std::chrono::steady_clock::now() - begin, std::chrono::seconds(10));
    EXPECT_EQ(exchange("GET / HTTP/1.1\r\n\r\n"), "") << "nobody listens any more";
    SetUp();
}

TEST_F(LiveServer, SurvivesAThousandMalformedRequests) {
    const std::string before = contents(file);
    const nlohmann::json good{{"text", before}, {"coarse", true}, {"area", "store"}, {"script", {{{"do", "start"}}}},
                              {"life", 5},      {"job", "none"}};
    std::vector<std::string> seeds{request("GET", "/" + token + "/jobs"), request("GET", "/")};
    for (const char* what : {"dossier", "try", "steps", "start", "cancel", "case", "dump?name=x.hex"}) {
        seeds.push_back(request("POST", "/" + token + "/" + what, good.dump()));
        seeds.push_back(request("POST", "/" + token + "/" + what, "{\"text\": [[[[\xFF\xFE"));
    }
    // Eight at a time, as a browser would at most. Each of a number of its own, so that a failure comes again.
    std::vector<std::thread> clients;
    for (unsigned client = 0; client < 8; client++) {
        clients.emplace_back([&, client] {
            for (unsigned i = client; i < 1000; i += 8) {
                const std::string bytes = malformed(seeds, i);
                const std::string answer = exchange(bytes, 60);
                const int code = status(answer);
                EXPECT_TRUE(answer.empty() || (code >= 200 && code < 500)) << i << ": " << answer << "\n" << bytes;
            }
        });
    }
    for (std::thread& client : clients) { client.join(); }
    EXPECT_EQ(contents(file), before);
    EXPECT_TRUE(post("dossier", {{"text", before}}).second["holds"].get<bool>()) << "it still answers";
}

TEST(RandomToken, HasHundredTwentyEightBitsAndNeverTheSame) {
    const std::string one = random_token();
    EXPECT_EQ(one.size(), 32U);
    EXPECT_EQ(one.find_first_not_of("0123456789abcdef"), std::string::npos);
    EXPECT_NE(one, random_token());
}

} // namespace
} // namespace perdure
