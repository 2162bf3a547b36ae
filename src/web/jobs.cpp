#include "web/jobs.hpp"

#include <chrono>
#include <filesystem>
#include <fstream>

#include <fmt/format.h>

#include "dossier/dossier.hpp"
#include "web/child.hpp"

namespace perdure {
namespace {

std::vector<std::string> words_of(const std::string& name, const std::string& file, unsigned seconds) {
    if (name == "age") { return {"age", file, "--json", "--progress"}; }
    if (name == "cut") { return {"cut", file, "--json", "--progress", "--seconds", std::to_string(seconds)}; }
    if (name == "choice") { return {"choose", file, "--json"}; }
    return {"budget", file, "--json", "--sensitivity"};
}

} // namespace

std::string Jobs::results_folder(const std::string& file) {
    return std::filesystem::path(file).replace_extension(".results").string();
}

Jobs::Jobs(std::string program, std::string file) : program_(std::move(program)), file_(std::move(file)) {
    for (const char* name : {"age", "cut", "choice", "sensitivity"}) {
        auto job = std::make_unique<Job>();
        std::ifstream kept(results_folder(file_) + "/" + name + ".json");
        if (kept) {
            job->result = nlohmann::json::parse(kept, nullptr, false);
            const bool fits =
                job->result.is_object() && (std::string_view(name) != "age" || age_problem(job->result).empty());
            if (!fits) { job->result = nullptr; }
        }
        jobs_[name] = std::move(job);
    }
}

Jobs::~Jobs() {
    for (auto& [name, job] : jobs_) { job->cancel = true; }
    for (auto& [name, job] : jobs_) {
        if (job->thread.joinable()) { job->thread.join(); }
    }
}

std::string Jobs::start(const std::string& name, unsigned seconds) {
    const std::lock_guard lock(mutex_);
    const auto found = jobs_.find(name);
    if (found == jobs_.end()) { return fmt::format("no job \"{}\"", name); }
    Job& job = *found->second;
    if (job.state == "running") { return "it is running already"; }
    if (job.thread.joinable()) { job.thread.join(); }
    job.state = "running";
    job.error.clear();
    job.progress = -1;
    job.seconds = 0;
    job.cancel = false;
    job.thread = std::thread([this, name, &job, seconds] { run(name, job, seconds); });
    return {};
}

void Jobs::cancel(const std::string& name) {
    const std::lock_guard lock(mutex_);
    const auto found = jobs_.find(name);
    if (found != jobs_.end()) { found->second->cancel = true; }
}

void Jobs::run(const std::string& name, Job& job, unsigned seconds) {
    std::vector<std::string> words = words_of(name, file_, seconds);
    words.insert(words.begin(), program_);
    const std::string before = load_project_file(file_).sha256;
    const auto begin = std::chrono::steady_clock::now();
    const ChildResult child = run_child(words, job.cancel, [&](double share) {
        const std::lock_guard lock(mutex_);
        job.progress = share;
    });
    nlohmann::json result = nlohmann::json::parse(child.out, nullptr, false);
    const bool readable = child.started && result.is_object() && (child.code == 0 || child.code == 1);
    // Those commands that do not say which state they read: the one before, if it is the one after, too.
    if (readable && !result.contains("sha256")) {
        result["sha256"] = load_project_file(file_).sha256 == before ? before : "";
    }
    const std::lock_guard lock(mutex_);
    job.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
    if (job.cancel) {
        job.state = "cancelled";
    } else if (readable) {
        job.state = "done";
        job.result = std::move(result);
        keep(name, job.result);
    } else {
        job.state = "failed";
        job.error = "it ended without a result";
        if (!child.started) { job.error = "it could not be started"; }
        if (result.is_object() && result.contains("errors") && !result["errors"].empty()) {
            job.error = result["errors"][0].value("message", job.error);
        }
    }
}

void Jobs::keep(const std::string& name, const nlohmann::json& result) const {
    std::error_code error;
    std::filesystem::create_directory(results_folder(file_), error);
    // Where it cannot be written it is kept for this run of the program only.
    std::ofstream(results_folder(file_) + "/" + name + ".json") << result.dump(1) << '\n';
}

nlohmann::json Jobs::states() const {
    const std::lock_guard lock(mutex_);
    nlohmann::json out = nlohmann::json::object();
    for (const auto& [name, job] : jobs_) {
        out[name] = {{"state", job->state},
                     {"progress", job->progress < 0 ? nlohmann::json(nullptr) : nlohmann::json(job->progress)},
                     {"seconds", job->seconds},
                     {"error", job->error}};
    }
    return out;
}

nlohmann::json Jobs::result(const std::string& name) const {
    const std::lock_guard lock(mutex_);
    const auto found = jobs_.find(name);
    return found == jobs_.end() ? nlohmann::json(nullptr) : found->second->result;
}

} // namespace perdure
