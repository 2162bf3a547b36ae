#include "web/server.hpp"

#include <array>
#include <atomic>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <future>
#include <memory>
#include <mutex>
#include <sstream>
#include <thread>

#include <fmt/format.h>
#include <httplib.h>
#include <nlohmann/json.hpp>
#include <sys/random.h>

#include "dossier/curves_json.hpp"
#include "dossier/dossier.hpp"
#include "dossier/report.hpp"
#include "web/answers.hpp"
#include "web/child.hpp"
#include "web/jobs.hpp"

namespace perdure {
namespace {

constexpr size_t body_bytes_max = size_t{8} << 20; ///< of any request: a dump
constexpr size_t text_bytes_max = size_t{1} << 20; ///< of a project file
constexpr size_t case_bytes_max = size_t{4} << 20; ///< of a case of the proof that is played again
constexpr double case_seconds_max = 20;            ///< and its time
constexpr unsigned what_if_points = 17;

using httplib::Request;
using httplib::Response;

/// As it is: the library would compress a plain body at its slowest setting, for a reader on the same machine.
void send(Response& response, std::string body, const char* type) {
    const auto held = std::make_shared<std::string>(std::move(body));
    response.set_content_provider(held->size(), type, [held](size_t offset, size_t length, httplib::DataSink& sink) {
        return sink.write(held->data() + offset, length);
    });
}

void answer(Response& response, const nlohmann::json& json, int status = 200) {
    response.status = status;
    send(response, json.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace), "application/json");
}

void refuse(Response& response, int status, const std::string& why) {
    answer(response, {{"error", why}}, status);
}

/// Equal, in a time that does not tell where they differ.
bool same_token(std::string_view a, std::string_view b) {
    if (a.size() != b.size()) { return false; }
    unsigned differ = 0;
    for (size_t i = 0; i < a.size(); i++) { differ |= static_cast<unsigned char>(a[i] ^ b[i]); }
    return differ == 0;
}

void add_headers(Response& response) {
    response.set_header(
        "Content-Security-Policy",
        "default-src 'none'; script-src 'unsafe-inline'; style-src 'unsafe-inline'; connect-src 'self'; "
        "img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'");
    response.set_header("X-Content-Type-Options", "nosniff");
    response.set_header("Referrer-Policy", "no-referrer");
    response.set_header("Cross-Origin-Resource-Policy", "same-origin");
    response.set_header("Cache-Control", "no-store");
}

std::string whole_file(const std::string& path) {
    std::ifstream file(path, std::ios::binary);
    return {std::istreambuf_iterator<char>(file), {}};
}

} // namespace

std::string random_token() {
    std::array<uint8_t, 16> bytes{};
    if (::getentropy(bytes.data(), bytes.size()) != 0) { return {}; }
    std::string out;
    for (const uint8_t byte : bytes) { out += fmt::format("{:02x}", byte); }
    return out;
}

struct Server::Inside {
    explicit Inside(ServerOptions given)
        : options(std::move(given)), jobs(options.program, options.file), parts(part_list_json()) {}

    ServerOptions options;
    Jobs jobs;
    nlohmann::json parts;
    httplib::Server http;
    std::string host; ///< "127.0.0.1:1234"
    int port = -1;
    std::atomic<bool> serving = false, stopping = false;
    std::mutex playing; ///< of a case of the proof

    [[nodiscard]] bool is_new() const {
        std::error_code error;
        return !std::filesystem::exists(options.file, error);
    }
    [[nodiscard]] ProjectFile on_disk() const {
        return is_new() ? project_file_of("", options.file) : load_project_file(options.file);
    }
    [[nodiscard]] nlohmann::json document(const ProjectFile& file, unsigned points = 0, bool coarse = false) const {
        const Runs runs{jobs.result("age"), jobs.result("cut"), jobs.result("choice"), jobs.result("sensitivity")};
        const std::string made = points > 0 ? date_now() : ""; // of a report
        return dossier_json(file, runs,
                            {.what_if_points = points, .coarse = coarse, .version = options.version, .made = made});
    }

    /// Only this page's own requests pass: the right host, no other origin, the token first in the address.
    [[nodiscard]] std::string why_refused(const Request& request) const {
        const std::string asked = request.get_header_value("Host");
        if (asked != host && asked != fmt::format("localhost:{}", port)) { return "this host is not served"; }
        const std::string origin = request.get_header_value("Origin");
        if (request.has_header("Origin") && origin != "http://" + asked) { return "other origins are refused"; }
        const std::string site = request.get_header_value("Sec-Fetch-Site");
        const bool foreign = site == "cross-site" || site == "same-site";
        if (foreign && request.method != "GET") { return "other sites are refused"; }
        const std::string_view path = request.path;
        const size_t end = path.find('/', 1);
        if (path.empty() || end == std::string_view::npos || !same_token(path.substr(1, end - 1), options.token)) {
            return "the address has not this page's token";
        }
        return {};
    }

    void set_up();
    void get_page(Response& response) const;
    void save(const nlohmann::json& request, Response& response) const;
    void play_case(const nlohmann::json& request, Response& response);
    void post(const std::string& what, const Request& request, Response& response);
};

/// Style and script, which are the same for every project, go out at once: the browser reads them while the rest is
/// computed.
void Server::Inside::get_page(Response& response) const {
    const auto whole = std::make_shared<std::future<std::string>>(std::async(std::launch::async, [this] {
        const ProjectFile file = on_disk();
        nlohmann::json json = document(file, 0, true); // the page then asks for the exact answer
        json["live"] = {{"parts", parts}, {"is_new", is_new()}, {"jobs", jobs.states()}};
        return report_html(options.page, json);
    }));
    // Written so, the library does not take it for a type to compress, which would take longer than to send it. The
    // page itself says that it is UTF-8.
    constexpr const char* type = "Text/html";
    response.set_chunked_content_provider(type, [this, whole](size_t offset, httplib::DataSink& sink) {
        const size_t sent = fixed_beginning(options.page);
        if (offset == 0 && sent > 0) { return sink.write(options.page.data(), sent); }
        try {
            const std::string page = whole->get();
            if (page.size() < sent) { return false; }
            sink.write(page.data() + sent, page.size() - sent);
        } catch (const std::exception&) { return false; } // ends the line: the browser says that the page broke off
        sink.done();
        return true;
    });
}

/// Writes the text as it was sent, if the file still is what the page began with.
void Server::Inside::save(const nlohmann::json& request, Response& response) const {
    const std::string text = request["text"].get<std::string>();
    const std::string based_on = request.value("based_on", std::string{});
    const std::string there = is_new() ? "" : load_project_file(options.file).sha256;
    if (!there.empty() && there != based_on) {
        answer(response,
               {{"error", "the file was changed by another program since it was read here"},
                {"text", whole_file(options.file)},
                {"sha256", there}},
               409);
        return;
    }
    const std::string beside = options.file + ".part";
    std::ofstream file(beside, std::ios::binary);
    file << text;
    file.close();
    std::error_code error;
    if (file) { std::filesystem::rename(beside, options.file, error); }
    if (!file || error) {
        std::filesystem::remove(beside, error);
        refuse(response, 500, fmt::format("'{}' cannot be written", options.file));
        return;
    }
    answer(response, {{"sha256", sha256_of(text)}});
}

/// Plays one case of the proof again, by the program's own command: only such as its result names, one at a time.
void Server::Inside::play_case(const nlohmann::json& request, Response& response) {
    const auto replay = request.find("replay");
    const nlohmann::json result = jobs.result("cut");
    if (replay == request.end() || !replay->is_string() || !names_case(result, replay->get<std::string>())) {
        return refuse(response, 400, "\"replay\" takes a case of the proof's result");
    }
    if (is_new() || result.value("sha256", std::string{}) != load_project_file(options.file).sha256) {
        return refuse(response, 409, "the file has changed since this proof: run it again");
    }
    std::vector<std::string> words{options.program, "cut", options.file, "--json", "--replay"};
    std::istringstream line(replay->get<std::string>());
    for (std::string word; line >> word;) { words.push_back(word); }
    const std::lock_guard one_at_a_time(playing);
    const ChildResult child = run_child(words, stopping, {}, case_bytes_max, case_seconds_max);
    const nlohmann::json played = nlohmann::json::parse(child.out, nullptr, false);
    if ((child.code == 0 || child.code == 1) && played.is_object()) { return answer(response, played); }
    std::string why = "it took too long";
    if (played.is_object() && played.contains("errors") && !played["errors"].empty()) {
        why = played["errors"][0].value("message", why);
    }
    refuse(response, 500, "the case could not be played: " + why);
}

void Server::Inside::post(const std::string& what, const Request& request, Response& response) {
    const nlohmann::json json = nlohmann::json::parse(request.body, nullptr, false);
    if (!json.is_object()) { return refuse(response, 400, "the body is no JSON object"); }
    if (what == "start" || what == "cancel") {
        const auto job = json.find("job");
        if (job == json.end() || !job->is_string()) { return refuse(response, 400, "\"job\" is missing"); }
        if (what == "cancel") {
            jobs.cancel(job->get<std::string>());
            return answer(response, jobs.states());
        }
        const auto seconds = json.find("seconds");
        const bool given = seconds != json.end() && seconds->is_number_unsigned();
        const auto limit = given ? std::min<uint64_t>(86400, std::max<uint64_t>(1, seconds->get<uint64_t>())) : 60;
        const std::string wrong = jobs.start(job->get<std::string>(), static_cast<unsigned>(limit));
        return wrong.empty() ? answer(response, jobs.states()) : refuse(response, 409, wrong);
    }
    if (what == "case") { return play_case(json, response); }
    const auto text = json.find("text");
    if (text == json.end() || !text->is_string()) { return refuse(response, 400, "\"text\" is missing"); }
    if (text->get_ref<const std::string&>().size() > text_bytes_max) {
        return refuse(response, 413, "a project file has at most 1 MiB");
    }
    if (what == "save") { return save(json, response); }
    const ProjectFile file = project_file_of(text->get<std::string>(), options.file);
    if (what == "dossier") {
        const auto coarse = json.find("coarse");
        return answer(response, document(file, 0, coarse != json.end() && coarse->is_boolean() && coarse->get<bool>()));
    }
    if (what == "report") {
        if (!file.project) { return refuse(response, 400, "the file has errors"); }
        return send(response, report_html(options.report, document(file, what_if_points)), "text/html; charset=utf-8");
    }
    if (what == "what-if") {
        if (!file.project) { return answer(response, nullptr); }
        const auto budget = make_budget(*file.project);
        return answer(response,
                      budget ? what_if_json(*file.project, *budget, what_if_points) : nlohmann::json(nullptr));
    }
    if (what == "try") {
        TriedChange change;
        const std::string wrong = read_change(json, change);
        return wrong.empty() ? answer(response, tried_json(file, change)) : refuse(response, 400, wrong);
    }
    if (what == "steps") {
        const nlohmann::json played = steps_json(file, json);
        return answer(response, played, played.contains("error") ? 400 : 200);
    }
    refuse(response, 404, "there is nothing of that name");
}

void Server::Inside::set_up() {
    http.set_payload_max_length(body_bytes_max);
    http.set_read_timeout(5);
    http.set_write_timeout(10);
    http.set_keep_alive_timeout(1); // how long a stop may have to wait for a browser that keeps its line open
    http.set_pre_routing_handler([this](const Request& request, Response& response) {
        add_headers(response);
        if (const std::string why = why_refused(request); !why.empty()) {
            refuse(response, 403, why);
            return httplib::Server::HandlerResponse::Handled;
        }
        // Said at once; the library would first wait for all of it.
        if (std::strtoull(request.get_header_value("Content-Length").c_str(), nullptr, 10) > body_bytes_max) {
            refuse(response, 413, "that is more than is taken");
            return httplib::Server::HandlerResponse::Handled;
        }
        return httplib::Server::HandlerResponse::Unhandled;
    });
    http.set_exception_handler([](const Request&, Response& response, const std::exception_ptr&) {
        refuse(response, 500, "this request could not be answered");
    });
    const std::string base = "/" + options.token + "/";
    http.Get(base, [this](const Request&, Response& response) { get_page(response); });
    http.Get(base + "jobs", [this](const Request&, Response& response) { answer(response, jobs.states()); });
    // The bytes of a dump as they are, held against the file on disk.
    http.Post(base + "dump", [this](const Request& request, Response& response) {
        const std::string name = request.has_param("name") ? request.get_param_value("name") : "dump";
        const nlohmann::json read = dump_json(on_disk(), name, request.body, request.has_param("blank-gaps"));
        answer(response, read, read.contains("error") ? 400 : 200);
    });
    for (const char* what : {"dossier", "report", "what-if", "try", "steps", "save", "start", "cancel", "case"}) {
        http.Post(base + what,
                  [this, what](const Request& request, Response& response) { post(what, request, response); });
    }
}

Server::Server(ServerOptions options) {
    if (options.token.empty()) { options.token = random_token(); }
    inside_ = std::make_unique<Inside>(std::move(options));
    inside_->set_up();
}

Server::~Server() = default;

tl::expected<std::string, std::string> Server::bind() {
    Inside& in = *inside_;
    if (in.options.token.empty()) { return tl::unexpected(std::string("the system gives no random numbers")); }
    constexpr const char* loopback = "127.0.0.1";
    if (in.options.port != 0) {
        in.port = in.http.bind_to_port(loopback, in.options.port) ? in.options.port : -1;
    } else {
        in.port = in.http.bind_to_any_port(loopback);
    }
    if (in.port < 0) { return tl::unexpected(fmt::format("port {} cannot be had", in.options.port)); }
    in.host = fmt::format("{}:{}", loopback, in.port);
    return fmt::format("http://{}/{}/", in.host, in.options.token);
}

void Server::serve() {
    inside_->serving = true;
    if (!inside_->stopping) { inside_->http.listen_after_bind(); }
    inside_->serving = false;
}

void Server::stop() {
    Inside& in = *inside_;
    in.stopping = true;
    // The library's stop does nothing until it listens. What is not serving yet will see that it is not to.
    while (in.serving && !in.http.is_running()) { std::this_thread::sleep_for(std::chrono::milliseconds(1)); }
    if (in.http.is_running()) { in.http.stop(); }
}

} // namespace perdure
