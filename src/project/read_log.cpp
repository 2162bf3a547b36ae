#include <cmath>
#include <map>

#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {
namespace {

constexpr uint64_t depth_max = uint64_t{1} << 31U; // samples are numbered in 32 bits

/// The samples a day that the log's saves add up to, of an ordinary user.
double samples_per_day(const Record& record, const Product& product) {
    double sum = 0;
    for (const SavePolicy& save : record.saves) {
        double occasions = save.events_per_day;
        if (save.when == SaveWhen::periodic) { occasions = save.every_s > 0 ? 86400.0 / save.every_s : 0; }
        if (save.when == SaveWhen::at_start) { occasions = product.starts_per_day; }
        sum += occasions * save.changed_share;
    }
    return sum;
}

void read_depth(const Section& section, const Record& record, const Project& project, LogShape& log) {
    log.depth_place = span_of_value(section, "depth").place;
    const toml::node* node = section.table.get("depth");
    if (node == nullptr) {
        complain_missing(section, "depth", "depth = 1000 or depth = \"30 d\"", "how many samples are kept");
        return;
    }
    if (!node->is_string()) {
        log.depth_samples = get_whole(section, "depth", 1, depth_max).value_or(1);
        return;
    }
    const auto span_s =
        get_quantity(section, "depth", Dimension::time_s, {0, 3.2e9, true, false, "above 0 s and at most 100 years"});
    if (!span_s) { return; }
    log.depth_s = *span_s;
    const double samples =
        std::ceil(*span_s / 86400.0 * samples_per_day(record, project.product) * record.heavy_user_factor - 1e-9);
    if (samples > static_cast<double>(depth_max)) {
        section.source.complain(span_of_value(section, "depth"), fmt::format("that is {:.0f} samples", samples),
                                fmt::format("at most {} samples", depth_max));
        return;
    }
    log.depth_samples = std::max<uint64_t>(1, static_cast<uint64_t>(samples));
}

/// The largest batch whose loss window is within what is asked: a batch that waits in RAM, and the sample in flight.
uint32_t batch_within(const Section& section, const Record& record, const Project& project) {
    const auto allowed_s = record.loss_time_max_s ? record.loss_time_max_s : project.requirements.loss_time_max_s;
    if (!allowed_s) {
        section.source.complain(span_of_value(section, "batch"),
                                "how many samples a sudden cut may take is not said, so no batch can be found",
                                "loss_time = \"15 min\" in the record or in [require], or a number as \"batch\"");
        return 1;
    }
    const double samples = std::floor(*allowed_s / 86400.0 * samples_per_day(record, project.product) + 1e-9);
    const double by_length = std::floor(double(log_entry_bytes_max) / std::max(1U, record.fields_bytes()));
    return static_cast<uint32_t>(std::clamp(samples, 1.0, std::min(double(log_batch_max), std::max(1.0, by_length))));
}

void read_batch(const Section& section, const Record& record, const Project& project, LogShape& log) {
    log.batch_place = span_of_value(section, "batch").place;
    const toml::node* node = section.table.get("batch");
    if (node == nullptr) { return; }
    if (log.short_log) {
        section.source.complain(span_of_key(section, "batch"), "a log among the values has no batches",
                                "no \"batch\", or no \"among_values\"");
        return;
    }
    if (node->is_string() && node->as_string()->get() == "find it") {
        log.batch_found = true;
        log.batch = batch_within(section, record, project);
        return;
    }
    if (node->is_string()) {
        section.source.complain(span_of(*node), fmt::format("\"batch\" is \"{}\"", node->as_string()->get()),
                                "a number of samples from 1 to 255, or \"find it\"");
        return;
    }
    log.batch = static_cast<uint32_t>(get_whole(section, "batch", 1, log_batch_max).value_or(1));
    if (double(log.batch) * record.fields_bytes() > log_entry_bytes_max) {
        section.source.complain(span_of_value(section, "batch"),
                                fmt::format("a batch of {} samples of {} bytes is {} bytes", log.batch,
                                            record.fields_bytes(), uint64_t{log.batch} * record.fields_bytes()),
                                fmt::format("at most {} bytes", log_entry_bytes_max));
    }
}

void read_time_stamp(const Section& section, const Record& record, LogShape& log) {
    const auto name = get_text(section, "time_stamp", "the name of a field");
    if (!name) { return; }
    std::vector<std::string> names;
    for (size_t i = 0; i < record.fields.size(); ++i) {
        const Field& field = record.fields[i];
        if (field.type != FieldType::u32 && field.type != FieldType::u64) { continue; }
        names.push_back(field.name);
        if (field.name == *name) { log.time_stamp = i; }
    }
    if (log.time_stamp) { return; }
    section.source.complain(
        span_of_value(section, "time_stamp"), fmt::format("no field of type u32 or u64 is named \"{}\"", *name),
        names.empty() ? "a field of type u32 or u64 that never gets smaller" : listed(names), nearest(*name, names));
}

} // namespace

LogShape read_log(const Section& section, const Record& record, const Project& project) {
    LogShape log;
    log.short_log = get_yes(section, "among_values").value_or(false);
    for (const SavePolicy& save : record.saves) {
        if (save.when == SaveWhen::periodic || save.when == SaveWhen::events || save.when == SaveWhen::at_start) {
            continue;
        }
        section.source.complain({save.place, 1}, "a log's samples come by the clock, by events or at starts",
                                "every = \"1 min\", events = \"4/day\" or at_start = true");
    }
    read_depth(section, record, project, log);
    read_batch(section, record, project, log);
    read_time_stamp(section, record, log);
    return log;
}

void check_area_shares(Source& source, const Project& project, const std::vector<std::pair<Record, Span>>& records) {
    std::map<std::string, const std::pair<Record, Span>*> saved_at_fail, logs;
    for (const auto& entry : records) {
        const Record& record = entry.first;
        if (record.saved_at_power_fail()) {
            const auto [first, added] = saved_at_fail.emplace(record.area, &entry);
            if (!added) {
                Diagnostic& said = source.complain(
                    entry.second,
                    fmt::format("[record.{}] is a second record saved at power failure in its area", record.name),
                    "one such record an area: put the fields that must be saved then into one record");
                source.see_also(said, first->second->second, "the first one");
            }
        }
        if (record.has_log_entries()) {
            const auto [first, added] = logs.emplace(record.area, &entry);
            if (!added) {
                Diagnostic& said =
                    source.complain(entry.second, fmt::format("[record.{}] is a second log in its area", record.name),
                                    "an area of its own for each log: [area.NAME], and area = \"NAME\" in the record");
                source.see_also(said, first->second->second, "the first one");
            }
        }
    }
    for (const auto& entry : records) {
        const auto log = logs.find(entry.first.area);
        if (log == logs.end() || entry.first.kind != RecordKind::total) { continue; }
        Diagnostic& said =
            source.complain(entry.second, fmt::format("[record.{}] is a total in the area of a log", entry.first.name),
                            "an area of its own for the log: totals and logs do not share one");
        source.see_also(said, log->second->second, "the log");
    }
    if (!project.product.lazy_start) { return; }
    for (const auto& entry : saved_at_fail) {
        source.complain(entry.second->second,
                        fmt::format("[record.{}] is saved at power failure, but the product starts lazily",
                                    entry.second->first.name),
                        "no lazy_start in [product]: until its first put a lazy start is not ready for such a save");
    }
}

} // namespace perdure
