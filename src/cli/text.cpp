#include "cli/text.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include <fmt/format.h>

namespace perdure {

std::string show_bytes(uint64_t bytes) {
    constexpr uint64_t kib = 1024;
    if (bytes >= kib * kib && bytes % (kib * kib) == 0) { return fmt::format("{} MiB", bytes / (kib * kib)); }
    if (bytes >= kib && bytes % kib == 0) { return fmt::format("{} KiB", bytes / kib); }
    return fmt::format("{} B", bytes);
}

std::string show_seconds(double seconds) {
    struct Step {
        double factor;
        std::string_view unit;
    };
    constexpr std::array steps{Step{86400, "d"}, Step{3600, "h"}, Step{60, "min"}, Step{1, "s"}, Step{1e-3, "ms"}};
    for (const Step& step : steps) {
        const double value = seconds / step.factor;
        const bool whole = std::abs(value - std::round(value)) < 1e-9;
        if (value >= 1 && (whole || step.factor <= 1)) { return fmt::format("{:.6g} {}", value, step.unit); }
    }
    return fmt::format("{:.6g} us", seconds * 1e6);
}

std::string wrapped(std::string_view words, size_t indent, size_t used) {
    std::string out;
    size_t column = used;
    bool first = true;
    while (!words.empty()) {
        const size_t end = std::min(words.find(' '), words.size());
        const std::string_view word = words.substr(0, end);
        words.remove_prefix(std::min(end + 1, words.size()));
        if (word.empty()) { continue; }
        if (!first && column + 1 + word.size() > text_columns) {
            out += "\n" + std::string(indent, ' ');
            column = indent;
        } else if (!first) {
            out += ' ';
            ++column;
        }
        out += word;
        column += word.size();
        first = false;
    }
    return out;
}

} // namespace perdure
