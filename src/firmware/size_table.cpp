#include "firmware/size_table.hpp"

#include <algorithm>
#include <charconv>

#include "firmware/embedded.hpp"

namespace perdure {
namespace {

std::string trimmed(std::string_view text) {
    const size_t begin = text.find_first_not_of(' ');
    if (begin == std::string_view::npos) { return ""; }
    return std::string(text.substr(begin, text.find_last_not_of(' ') - begin + 1));
}

/// "| a | b |" -> {"a", "b"}; empty for another line.
std::vector<std::string> cells_of(std::string_view line) {
    std::vector<std::string> out;
    if (line.size() < 2 || line.front() != '|' || line.back() != '|') { return out; }
    line.remove_prefix(1);
    while (!line.empty()) {
        const size_t end = line.find('|');
        out.push_back(trimmed(line.substr(0, end)));
        line.remove_prefix(end + 1);
    }
    return out;
}

bool read_number(const std::string& text, uint32_t& to) {
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), to);
    return error == std::errc{} && end == text.data() + text.size();
}

} // namespace

std::vector<TargetSize> read_size_table(std::string_view text) {
    std::vector<TargetSize> out;
    while (!text.empty()) {
        const size_t end = std::min(text.find('\n'), text.size());
        const std::vector<std::string> cells = cells_of(text.substr(0, end));
        text.remove_prefix(std::min(end + 1, text.size()));
        TargetSize row;
        // target, code, leanest, data, bss, largest frame, state
        if (cells.size() != 7 || !read_number(cells[1], row.code_bytes) || !read_number(cells[2], row.leanest_bytes) ||
            !read_number(cells[6], row.state_bytes)) {
            continue;
        }
        row.target = cells[0];
        row.largest_frame = cells[5];
        out.push_back(row);
    }
    return out;
}

std::vector<TargetSize> store_sizes() {
    return read_size_table(firmware_file("SIZE.md"));
}

uint32_t ram_bytes(const FirmwarePlan& plan, const TargetSize& target) {
    uint32_t out = plan.payload_bytes_max;
    for (const PlannedArea& area : plan.areas) { out += target.state_bytes + area.ram_bytes + area.urgent_bytes; }
    return out;
}

} // namespace perdure
