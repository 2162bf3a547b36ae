#include "dossier/project_json.hpp"

#include <nlohmann/json.hpp>

namespace perdure {

std::string_view kind_word(const Record& record) {
    return record.kind == RecordKind::total ? "total" : record.kind == RecordKind::log ? "log" : "value";
}

std::string columns_from_memory(const Device& part) {
    std::string out;
    for (const auto& [column, source] : part.provenance) {
        if (source.from_memory) { out += (out.empty() ? "" : ", ") + column; }
    }
    return out;
}

namespace {

nlohmann::json json_of(const Record& record) {
    nlohmann::json out{{"name", record.name},
                       {"id", record.id},
                       {"kind", kind_word(record)},
                       {"area", record.area},
                       {"bytes", record.payload_bytes()},
                       {"heavy_user", record.heavy_user_factor},
                       {"line", record.place.line}};
    if (record.log) {
        out["log"] = {{"depth_samples", record.log->depth_samples},
                      {"batch", record.log->batch},
                      {"batch_found", record.log->batch_found},
                      {"among_values", record.log->short_log}};
    }
    if (record.loss_time_max_s) { out["loss_time_s"] = *record.loss_time_max_s; }
    for (const Field& field : record.fields) {
        out["fields"].push_back({{"name", field.name}, {"bytes", field.bytes}, {"movement", field.movement_max}});
    }
    for (const SavePolicy& save : record.saves) {
        nlohmann::json policy{{"changed", save.changed_share}};
        if (save.when == SaveWhen::periodic) { policy["every_s"] = save.every_s; }
        if (save.when == SaveWhen::events) { policy["events_per_day"] = save.events_per_day; }
        if (save.when == SaveWhen::at_start) { policy["at_start"] = true; }
        if (save.when == SaveWhen::at_power_fail) { policy["at_power_fail"] = true; }
        if (save.when == SaveWhen::moved) {
            policy["moved_by"] = save.moved_by;
            policy["field"] = record.fields.at(save.field).name;
        }
        if (save.when == SaveWhen::settled) {
            policy["settled_s"] = save.settle_s;
            policy["events_per_day"] = save.events_per_day;
            if (save.latest_s) { policy["latest_s"] = *save.latest_s; }
        }
        if (save.confidence) { policy["confidence"] = *save.confidence; }
        out["saves"].push_back(policy);
    }
    return out;
}

} // namespace

nlohmann::json project_json(const Project& project) {
    nlohmann::json out;
    const Product& product = project.product;
    out["product"] = {{"name", product.name},
                      {"life_years", product.life_years},
                      {"year_days", product.year_days},
                      {"starts_per_day", product.starts_per_day},
                      {"lazy_start", product.lazy_start},
                      {"fleet_units", product.fleet_units}};
    out["part"] = {{"id", project.part.id},
                   {"program_bytes", *project.part.program_bytes},
                   {"endurance_cycles", *project.part.endurance_cycles},
                   {"erased_value", project.part.erased_value},
                   {"program_us_max", *project.part.program_us_max},
                   {"erase_ms_max", project.part.erase_ms_max}};
    if (project.supply) {
        const Supply& supply = *project.supply;
        out["supply"] = {{"load_ma", supply.load_ma},         {"load_mw", supply.load_mw},
                         {"trips_at_v", supply.trips_at_v},   {"cpu_min_v", supply.cpu_min_v},
                         {"detection_s", supply.detection_s}, {"trips_per_day", supply.trips_per_day()}};
        if (supply.capacitance_uf) { out["supply"]["capacitance_uf"] = *supply.capacitance_uf; }
    }
    for (const BlockRun& run : project.part.runs) {
        out["part"]["runs"].push_back({{"count", run.count}, {"erase_bytes", run.erase_bytes}});
    }
    out["part"]["from_memory"] = columns_from_memory(project.part);
    for (const Area& area : project.areas) {
        nlohmann::json entry{{"name", area.name}, {"check_bits", area.check_bits}};
        if (area.size_bytes) { entry["size_bytes"] = *area.size_bytes; }
        if (area.start_address) { entry["start_address"] = *area.start_address; }
        out["areas"].push_back(entry);
    }
    for (const Record& record : project.records) { out["records"].push_back(json_of(record)); }
    return out;
}

nlohmann::json diagnostics_json(const std::vector<Diagnostic>& errors) {
    nlohmann::json out = nlohmann::json::array();
    for (const Diagnostic& error : errors) {
        out.push_back({{"file", error.path},
                       {"line", error.span.place.line},
                       {"column", error.span.place.column},
                       {"message", error.message},
                       {"expected", error.expected},
                       {"nearest", error.nearest}});
    }
    return out;
}

} // namespace perdure
