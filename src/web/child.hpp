// A program run beside this one: its output read whole, its progress followed, ended when asked.
#pragma once

#include <atomic>
#include <functional>
#include <string>
#include <vector>

#include <sys/types.h>

namespace perdure {

struct ChildResult {
    bool started = false;
    bool ended_by_signal = false;
    int code = -1; ///< its exit code
    std::string out;
};

/// Runs `words` (the program's path first) and gives what it wrote to its standard output, at most `bytes_max`; more
/// ends it. Each line "progress 0.42" on its standard error is passed on. While `cancel` is set it is told to end, and
/// after `seconds_max` (0: no limit).
ChildResult run_child(const std::vector<std::string>& words, const std::atomic<bool>& cancel,
                      const std::function<void(double)>& progress, size_t bytes_max = size_t{64} << 20,
                      double seconds_max = 0);

} // namespace perdure
