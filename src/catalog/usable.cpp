// Which parts can carry a store. It needs separate erase and program, a known blank value, and a unit programmed once
// between erases.
#include "catalog/catalog.hpp"

#include <charconv>
#include <string_view>

#include <fmt/format.h>

namespace perdure {
namespace {

/// The number at the start of `text`, which is moved behind it.
std::optional<double> take_number(std::string_view& text) {
    double value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{}) { return std::nullopt; }
    text.remove_prefix(static_cast<size_t>(end - text.data()));
    return value;
}

bool take(std::string_view& text, std::string_view word) {
    if (text.substr(0, word.size()) != word) { return false; }
    text.remove_prefix(word.size());
    return true;
}

// Largest row or word line of the parts in the catalogue that count writes by row (from memory of their technical
// references).
constexpr double row_bytes = 256;

/// A part that caps the writes within a row between two erases: the store fills each unit once, so what counts is units
/// a row.
std::string why_too_many_writes(const Device& device) {
    std::string_view rule = device.program_rule;
    if (!take(rule, "limited:") || !device.program_bytes || *device.program_bytes == 0) { return ""; }
    const double unit_bytes = *device.program_bytes;
    const std::optional<double> limit = take_number(rule);
    if (!limit) { return ""; }
    if ((rule == "-per-row" || rule == "-per-wordline") && row_bytes / unit_bytes > *limit) {
        return fmt::format(
            "it allows {} writes a row between erases, and a row of {} bytes (from memory) filled {} bytes at a time "
            "takes {}; give a larger program unit",
            *limit, row_bytes, unit_bytes, row_bytes / unit_bytes);
    }
    if (take(rule, "ms-per-") && device.program_us_max) {
        const std::optional<double> bytes = take_number(rule);
        const double needed_ms = bytes.value_or(0) / unit_bytes * *device.program_us_max / 1000;
        if (needed_ms > *limit) {
            return fmt::format(
                "it allows {} ms of programming in {} bytes between erases, and filling them takes {:.1f} ms", *limit,
                *bytes, needed_ms);
        }
    }
    return "";
}

/// What no figure of the user's can mend, or nothing.
std::string why_never(const Device& device) {
    if (device.erased_value == "none") {
        return "its memory has no erase: each value can be written in place, and a ring would gain nothing";
    }
    if (!device.erased_value.empty() && device.erased_value != "0xFF" && device.erased_value != "0x00") {
        return fmt::format("it reads {} after an erase, and the store tells blank units by bytes 0xFF or 0x00",
                           device.erased_value);
    }
    if (device.program_rule == "auto-erase" || device.program_rule == "row") {
        return "a write erases by itself, so each save would cost an erase cycle and could, when cut, take with it "
               "what stood there";
    }
    if (!device.runs.empty() && !best_run(device)) {
        return "it has no two erase blocks of the same size next to each other";
    }
    return why_too_many_writes(device);
}

} // namespace

Usable usable(const Device& device) {
    Usable out;
    out.why_not = why_never(device);
    if (!out.why_not.empty()) { return out; }
    if (device.runs.empty()) { out.missing.emplace_back("erase_layout"); }
    if (!device.program_bytes) { out.missing.emplace_back("program_bytes"); }
    if (device.erased_value.empty()) { out.missing.emplace_back("erased_value"); }
    if (!device.endurance_cycles) { out.missing.emplace_back("endurance_cycles"); }
    out.ok = out.missing.empty();
    if (out.ok) { return out; }
    for (const std::string& column : out.missing) { out.why_not += (out.why_not.empty() ? "" : ", ") + column; }
    out.why_not += out.missing.size() == 1 ? " is not known" : " are not known";
    return out;
}

} // namespace perdure
