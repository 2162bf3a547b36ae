// The contents of logs.
#include <fmt/format.h>

#include "inspect/samples.hpp"

namespace perdure {
namespace {

/// Of a log kept as one value.
void collect_short_log(InspectedRecord& of, bool with_bytes) {
    if (of.record == nullptr || !of.record->log || !of.record->log->short_log || !of.stored) { return; }
    const auto log = short_log_in(of.payload, of.record->log->depth_samples, of.record->fields_bytes());
    if (!log) { return; }
    of.log_next = log->next;
    of.sample_count = log->count;
    const HistoryEntry at = of.newest.value_or(HistoryEntry{});
    for (uint32_t number = log->next - log->count; with_bytes && number != log->next; number++) {
        const auto sample = log->sample(number);
        of.samples.push_back({number, at.block, at.unit, {sample.begin(), sample.end()}});
    }
}

} // namespace

void collect_samples(InspectedRecord& of, const Decoded& decoded, bool with_bytes) {
    for (const DumpRecord& record : decoded.records) {
        if (record.id == of.id && record.present) { of.log_next = record.log_next; }
    }
    if (!of.log_next) { return collect_short_log(of, with_bytes); }
    for (const DumpEntry* entry : decoded.log_entries(of.id)) {
        of.sample_count += entry->log->count;
        const size_t bytes = entry->payload.size() / entry->log->count;
        for (uint32_t i = 0; with_bytes && i < entry->log->count; i++) {
            const auto sample = entry->payload.subspan(i * bytes, bytes);
            of.samples.push_back({entry->log->number + i, entry->block, entry->unit, {sample.begin(), sample.end()}});
        }
    }
}

std::string samples_csv(const InspectedRecord& record) {
    const bool known = record.record != nullptr && !record.samples.empty() &&
                       record.samples.front().bytes.size() == record.record->fields_bytes();
    std::string out = "number";
    if (known) {
        for (const Field& field : record.record->fields) { out += "," + field.name; }
    } else {
        out += ",bytes";
    }
    out += ",block,unit\n";
    for (const LogSample& sample : record.samples) {
        out += fmt::format("{}", sample.number);
        size_t at = 0;
        for (size_t i = 0; known && i < record.record->fields.size(); i++) {
            const Field& field = record.record->fields[i];
            const std::string text = show_value(value_of(field, std::span(sample.bytes).subspan(at, field.bytes)));
            out += "," + (text.find(',') == std::string::npos ? text : "\"\"" + text + "\"\"");
            at += field.bytes;
        }
        if (!known) {
            out += ",";
            for (const uint8_t byte : sample.bytes) { out += fmt::format("{:02X}", byte); }
        }
        out += fmt::format(",{},{}\n", sample.block, sample.unit);
    }
    return out;
}

} // namespace perdure
