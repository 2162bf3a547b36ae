// The contents of logs.
#include <fmt/format.h>

#include "inspect/samples.hpp"

namespace perdure {

void collect_samples(InspectedRecord& of, const Decoded& decoded, bool with_bytes) {
    for (const DumpRecord& record : decoded.records) {
        if (record.id == of.id && record.present) { of.log_next = record.log_next; }
    }
    if (!of.log_next) { return; }
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
                       record.samples.front().bytes.size() == record.record->payload_bytes();
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
