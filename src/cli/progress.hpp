// A bar on stderr while a command goes through many files.
#pragma once

#include <chrono>
#include <cstddef>
#include <iosfwd>
#include <string_view>

namespace perdure {

/// Shown on a terminal only, at most five times a second, and wiped at the end. Not safe for threads by itself.
class Progress {
public:
    Progress(bool on, std::ostream& err);
    ~Progress();
    Progress(const Progress&) = delete;
    Progress& operator=(const Progress&) = delete;
    void show(size_t done, size_t all, std::string_view what);

private:
    bool on_, shown_ = false;
    std::ostream& err_;
    std::chrono::steady_clock::time_point begun_, last_;
};

/// "progress 0.42" on a line of its own, each time another per cent is done. For programs that follow this one.
class ProgressLines {
public:
    ProgressLines(bool on, std::ostream& err) : on_(on), err_(err) {}
    void show(double share);

private:
    bool on_;
    std::ostream& err_;
    int shown_ = -1;
};

} // namespace perdure
