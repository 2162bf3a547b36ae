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

/// The target that a column's heading names: "Cortex-M0+" is "Cortex-M0+, gcc 12.2.1".
TargetSize* named(std::vector<TargetSize>& targets, const std::string& heading) {
    const auto found = std::find_if(targets.begin(), targets.end(), [&](const TargetSize& target) {
        return target.target.rfind(heading + ",", 0) == 0;
    });
    return found == targets.end() ? nullptr : &*found;
}

/// A row of the stack's or the features' table under these headings: a name, a number a target.
void read_row(const std::vector<std::string>& headings, const std::vector<std::string>& cells,
              std::vector<TargetSize>& targets) {
    if (headings.empty() || cells.size() != headings.size()) { return; }
    for (size_t i = 1; i < cells.size(); ++i) {
        TargetSize* target = named(targets, headings[i]);
        uint32_t bytes = 0;
        if (target == nullptr || !read_number(cells[i], bytes)) { continue; }
        (headings[0] == "macro" ? target->feature_bytes : target->stack_bytes)[cells[0]] = bytes;
    }
}

uint32_t value_or_0(const std::map<std::string, uint32_t>& from, const std::string& name) {
    const auto found = from.find(name);
    return found == from.end() ? 0 : found->second;
}

} // namespace

std::vector<TargetSize> read_size_table(std::string_view text) {
    std::vector<TargetSize> out;
    std::vector<std::string> headings; // of the stack's or the features' table, while in it
    while (!text.empty()) {
        const size_t end = std::min(text.find('\n'), text.size());
        const std::vector<std::string> cells = cells_of(text.substr(0, end));
        text.remove_prefix(std::min(end + 1, text.size()));
        if (cells.empty()) { headings.clear(); }
        if (!cells.empty() && (cells[0] == "call" || cells[0] == "macro")) {
            headings = cells;
            continue;
        }
        read_row(headings, cells, out);
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
    uint32_t out = plan.payload_bytes_max + (plan.areas.size() > 1 ? 1 : 0); // whose step service takes next
    for (const PlannedArea& area : plan.areas) {
        out += target.state_bytes + area.ram_bytes + area.urgent_bytes + area.waiting_bytes;
    }
    return out;
}

uint32_t store_code_bytes(const FirmwarePlan& plan, const TargetSize& target) {
    const bool saves_now = std::any_of(plan.areas.begin(), plan.areas.end(),
                                       [](const PlannedArea& area) { return area.urgent.has_value(); });
    return target.code_bytes - (saves_now ? 0 : value_or_0(target.feature_bytes, "PERDURE_PUT_NOW"));
}

uint32_t stack_bytes(const FirmwarePlan& plan, const TargetSize& target) {
    uint32_t out = 0;
    bool logs = false;
    bool saves_now = false;
    for (const PlannedArea& area : plan.areas) {
        saves_now = saves_now || area.urgent.has_value();
        logs = logs || std::any_of(area.records.begin(), area.records.end(),
                                   [](const Record* record) { return record->has_log_entries(); });
    }
    for (const auto& [call, bytes] : target.stack_bytes) {
        const bool of_logs = call == "perdure_append" || call == "perdure_read_log" || call == "perdure_log_next";
        if ((of_logs && !logs) || call == "perdure_put_now") { continue; }
        out = std::max(out, bytes);
    }
    // The save may come on top of any of them.
    return out + (saves_now ? value_or_0(target.stack_bytes, "perdure_put_now") : 0);
}

} // namespace perdure
