#include "cli/progress.hpp"

#include <ostream>
#include <string>

#include <fmt/format.h>
#include <unistd.h>

namespace perdure {

Progress::Progress(bool on, std::ostream& err)
    : on_(on && isatty(STDERR_FILENO) == 1), err_(err), begun_(std::chrono::steady_clock::now()), last_(begun_) {}

Progress::~Progress() {
    if (shown_) { err_ << '\r' << std::string(79, ' ') << '\r' << std::flush; }
}

void Progress::show(size_t done, size_t all, std::string_view what) {
    const auto now = std::chrono::steady_clock::now();
    if (!on_ || all == 0 || now - last_ < std::chrono::milliseconds(200)) { return; }
    last_ = now;
    shown_ = true;
    const double spent = std::chrono::duration<double>(now - begun_).count();
    const double share = static_cast<double>(done) / static_cast<double>(all);
    const std::string bar(static_cast<size_t>(share * 30), '#');
    err_ << fmt::format("\r[{:<30}] {} of {} {}, {:.0f} s left   ", bar, done, all, what,
                        share > 0 ? spent / share - spent : 0)
         << std::flush;
}

void ProgressLines::show(double share) {
    const int per_cent = static_cast<int>(share * 100);
    if (!on_ || per_cent <= shown_) { return; }
    shown_ = per_cent;
    err_ << fmt::format("progress {:.2f}\n", per_cent / 100.0) << std::flush;
}

} // namespace perdure
