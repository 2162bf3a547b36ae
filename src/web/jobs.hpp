// Work that takes longer than a keystroke: the life run, the power-cut proof, the comparison of parts, what kills the
// margin first. Each runs as the program's own command beside the server, over the file on disk; its result is kept
// with that file's hash, beside the file.
#pragma once

#include <atomic>
#include <map>
#include <memory>
#include <mutex>
#include <string>
#include <string_view>
#include <thread>

#include <nlohmann/json.hpp>

namespace perdure {

/// Safe to use from several threads.
class Jobs {
public:
    /// `program` is run for each job; `file` is the project file. Results of earlier days are read from
    /// results_folder(file).
    Jobs(std::string program, std::string file);
    /// Ends what still runs.
    ~Jobs();
    Jobs(const Jobs&) = delete;
    Jobs& operator=(const Jobs&) = delete;

    /// "age", "cut", "choice" or "sensitivity". `seconds`: of a cut, how long it may take at most. Empty, or why it was
    /// not started.
    std::string start(const std::string& name, unsigned seconds);
    void cancel(const std::string& name);
    /// By name: state ("idle", "running", "done", "failed", "cancelled"), progress 0..1 or null, seconds, error.
    [[nodiscard]] nlohmann::json states() const;
    /// The newest result, or null.
    [[nodiscard]] nlohmann::json result(const std::string& name) const;

    /// "pump.results" beside "pump.toml".
    static std::string results_folder(const std::string& file);

private:
    struct Job {
        std::string state = "idle", error;
        double progress = -1, seconds = 0;
        nlohmann::json result;
        std::atomic<bool> cancel{false};
        std::thread thread;
    };
    void run(const std::string& name, Job& job, unsigned seconds);
    void keep(const std::string& name, const nlohmann::json& result) const;

    std::string program_, file_;
    mutable std::mutex mutex_;
    std::map<std::string, std::unique_ptr<Job>> jobs_;
};

} // namespace perdure
