#include "budget/text.hpp"
#include "budget/text_sections.hpp"

#include <cmath>
#include <set>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

namespace perdure {

std::string figure(double value) {
    if (!std::isfinite(value)) { return "-"; }
    if (value >= 1e9 || (value != 0 && std::abs(value) < 1e-3)) { return fmt::format("{:.2e}", value); }
    if (value < 100 && value != std::floor(value)) { return fmt::format("{:.3g}", value); }
    std::string digits = fmt::format("{:.0f}", value);
    for (size_t at = digits.size(); at > 3;) {
        at -= 3;
        digits.insert(at, ",");
    }
    return digits;
}

void add_wrapped(std::string& out, const std::string& words, size_t indent) {
    constexpr size_t columns = 80;
    std::string line(indent, ' ');
    size_t at = 0;
    while (at < words.size()) {
        size_t end = words.find(' ', at);
        if (end == std::string::npos) { end = words.size(); }
        const std::string word = words.substr(at, end - at);
        if (line.size() > indent && line.size() + 1 + word.size() > columns) {
            out += line + '\n';
            line.assign(indent, ' ');
        }
        if (line.size() > indent) { line += ' '; }
        line += word;
        at = end + 1;
    }
    out += line + '\n';
}

namespace {

std::string margin_text(const Finding& finding) {
    if (finding.status == FindingStatus::informs) { return "-"; }
    return finding.margin > 1000 ? ">1000" : fmt::format("{:.2f}", finding.margin);
}

const char* status_word(FindingStatus status) {
    switch (status) {
    case FindingStatus::holds:
        return "holds";
    case FindingStatus::fails:
        return "FAILS";
    case FindingStatus::unknown:
        return "unknown";
    case FindingStatus::informs:
        return "not asked";
    }
    return "";
}

std::string title(const Finding& finding, bool many) {
    return many && !finding.area.empty() ? fmt::format("{} ({})", finding.name, finding.area) : finding.name;
}

/// At most `length` characters, the last a tilde where some are left out.
std::string shortened(const std::string& name, size_t length) {
    return name.size() > length ? name.substr(0, length - 1) + "~" : name;
}

void add_verdict(std::string& out, const Budget& budget, bool many) {
    const bool holds = budget.holds();
    add_wrapped(out,
                fmt::format("{}: {} over {} years.", budget.project,
                            holds ? "every requirement holds" : "does NOT hold", figure(budget.life_years)),
                0);
    for (const Finding& finding : budget.findings) {
        if (finding.holds()) { continue; }
        if (finding.status == FindingStatus::unknown || finding.name == "layout") {
            add_wrapped(out, fmt::format("{}: {}", title(finding, many), finding.note), 2);
        } else {
            add_wrapped(out,
                        fmt::format("{}: needs {} {}, has {}; margin {}, asked {:.2f}", title(finding, many),
                                    figure(finding.need), finding.unit, figure(finding.have), margin_text(finding),
                                    finding.margin_min),
                        2);
        }
    }
    bool memory = false;
    for (const Finding& finding : budget.findings) { memory = memory || finding.from_memory(); }
    if (memory) {
        add_wrapped(out, "Some figures of the part are FROM MEMORY: check them against its data sheet before use.", 2);
    }
}

void add_findings(std::string& out, const Budget& budget, bool many) {
    out += fmt::format("\n{:<22}{:>11}{:>11}{:>9}  {:<13}{}\n", "finding", "need", "have", "margin", "unit", "status");
    for (const Finding& finding : budget.findings) {
        const bool asked = finding.status != FindingStatus::informs;
        const bool known = finding.status != FindingStatus::unknown && (asked || !finding.from.empty());
        const std::string unit = finding.unit.size() > 12 ? "in the fleet" : finding.unit;
        out += fmt::format("{:<22}{:>11}{:>11}{:>9}  {:<13}{}\n", shortened(title(finding, many), 21),
                           known ? figure(finding.need) : "-", asked && known ? figure(finding.have) : "-",
                           known ? margin_text(finding) : "-", unit, status_word(finding.status));
        if (!finding.note.empty()) { add_wrapped(out, finding.note, 2); }
    }
}

void add_sources(std::string& out, const Budget& budget, bool many) {
    out += "\nwhere the numbers come from\n";
    std::set<std::string> told;
    for (const Finding& finding : budget.findings) {
        bool first = true;
        for (const Source& source : finding.from) {
            const char* kind = source.kind == SourceKind::assumption ? "assumed: "
                               : source.kind == SourceKind::formula  ? "= "
                                                                     : "";
            const std::string line = fmt::format("{} {} {}: {}{}{}", source.what, figure(source.value), source.unit,
                                                 kind, source.from_memory ? "FROM MEMORY: " : "", source.text);
            if (!told.insert(line).second) { continue; }
            if (first) { out += "  " + title(finding, many) + '\n'; }
            first = false;
            add_wrapped(out, line, 4);
        }
    }
}

void add_records(std::string& out, const AreaBudget& area) {
    const FlashGeometry& geometry = area.layout.geometry;
    out += '\n';
    add_wrapped(out,
                fmt::format("area {}: {} ring blocks of {} bytes{}{}, units of {}; {}", area.name, geometry.ring_blocks,
                            figure(geometry.ring_block_bytes()),
                            geometry.erase_blocks_per_ring_block > 1
                                ? fmt::format(" ({} erase blocks each)", geometry.erase_blocks_per_ring_block)
                                : "",
                            area.found == RingFound::given ? "" : fmt::format(" ({})", words_of(area.found)),
                            geometry.unit_bytes,
                            std::isfinite(area.wear.block_s)
                                ? fmt::format("a block fills in {} h; {:.3f} units programmed a unit saved",
                                              figure(area.wear.block_s / 3600), area.wear.amplification())
                                : "nothing is ever saved"),
                0);
    out += fmt::format("{:<18}{:>13}{:>14}{:>8}{:>7}{:>11}{:>9}\n", "record", "saves", "bytes", "full", "short",
                       "copies", "wear");
    for (const RecordBudget& record : area.records) {
        const std::string name = record.name.size() > 17 ? record.name.substr(0, 16) + "~" : record.name;
        out += fmt::format("{:<18}{:>13}{:>14}{:>8}{:>7}{:>11}{:>8.2f}%\n", name, figure(record.saves),
                           figure(record.payload_bytes), record.layout.full_units,
                           record.layout.short_units > 0 ? std::to_string(record.layout.short_units) : "-",
                           figure(std::round(record.copies)), record.wear_share * 100);
    }
    const double capacity = area.layout.capacity_units;
    const auto overhead = [&](const char* name, double units) {
        out += fmt::format("{:<71}{:>8.2f}%\n", name, units / capacity * 100);
    };
    overhead("starts", area.wear.start_units);
    overhead("marks", area.wear.mark_units);
    overhead("left blank at a block's end", area.wear.waste_units);
    out += "full, short: units of an entry; saves, bytes, copies: over life\n";
}

void add_inverse(std::string& out, const AreaBudget& area) {
    out += '\n';
    add_wrapped(out,
                fmt::format("longest life: {}", area.longest_life_years
                                                    ? figure(*area.longest_life_years) + " years at these rates"
                                                    : "nothing wears out"),
                0);
    if (area.fastest_periodic) {
        add_wrapped(
            out,
            fmt::format("fastest saves: periodic ones could come {} times as often", figure(*area.fastest_periodic)),
            0);
    } else {
        add_wrapped(out, "fastest saves: no periodic saves, or none of them would be few enough", 0);
    }
    if (area.other_start_erases &&
        (area.lazy_start || std::ceil(*area.other_start_erases) < std::ceil(area.erases.per_block_mean))) {
        const char* now = area.lazy_start ? "lazy" : "ordinary";
        const char* other = area.lazy_start ? "ordinary" : "lazy";
        add_wrapped(out,
                    fmt::format("starts: {}, {} erases a block; {} ones would make it {}", now,
                                figure(std::ceil(area.erases.per_block_mean)), other,
                                figure(std::ceil(*area.other_start_erases))),
                    0);
    }
    add_wrapped(out,
                area.fewest_blocks ? fmt::format("fewest blocks: {} ring blocks", *area.fewest_blocks)
                                   : "fewest blocks: no number of blocks on this part holds",
                0);
}

nlohmann::json json_of(const Finding& finding) {
    static constexpr const char* kinds[] = {"part", "file", "formula", "assumption"};
    static constexpr const char* states[] = {"holds", "fails", "unknown", "informs"};
    nlohmann::json out;
    out["name"] = finding.name;
    out["area"] = finding.area;
    out["need"] = number(finding.need);
    out["have"] = number(finding.have);
    out["margin"] = number(finding.margin);
    out["margin_min"] = finding.margin_min;
    out["unit"] = finding.unit;
    out["status"] = states[static_cast<size_t>(finding.status)];
    out["holds"] = finding.holds();
    out["note"] = finding.note;
    out["from_memory"] = finding.from_memory();
    out["assumed"] = finding.assumed();
    out["from"] = nlohmann::json::array();
    for (const Source& source : finding.from) {
        nlohmann::json item;
        item["what"] = source.what;
        item["value"] = number(source.value);
        item["unit"] = source.unit;
        item["kind"] = kinds[static_cast<size_t>(source.kind)];
        item["source"] = source.text;
        item["from_memory"] = source.from_memory;
        out["from"].push_back(item);
    }
    return out;
}

nlohmann::json json_of(const RecordBudget& record) {
    nlohmann::json out;
    out["id"] = record.id;
    out["name"] = record.name;
    out["saves"] = record.saves;
    out["saves_nominal"] = record.demand.nominal_saves;
    out["copies"] = number(record.copies);
    out["payload_bytes"] = record.payload_bytes;
    out["units"] = number(record.units);
    out["wear_share"] = record.wear_share;
    out["full_bytes"] = record.layout.full_bytes;
    out["full_units"] = record.layout.full_units;
    out["short_bytes"] = record.layout.short_bytes;
    out["short_units"] = record.layout.short_units;
    out["short_bits"] = record.layout.short_bits;
    out["formulas"] = nlohmann::json::array();
    for (const PolicyDemand& policy : record.demand.policies) { out["formulas"].push_back(policy.formula); }
    return out;
}

nlohmann::json json_of(const AreaBudget& area) {
    nlohmann::json out;
    out["name"] = area.name;
    out["laid_out"] = area.laid_out;
    out["fewest_blocks"] = maybe(area.fewest_blocks);
    if (!area.laid_out) { return out; }
    const FlashGeometry& geometry = area.layout.geometry;
    out["size_found"] = area.found != RingFound::given;
    out["size_words"] = words_of(area.found);
    out["ring_blocks"] = geometry.ring_blocks;
    out["ring_block_bytes"] = geometry.ring_block_bytes();
    out["erase_blocks_per_ring_block"] = geometry.erase_blocks_per_ring_block;
    out["unit_bytes"] = geometry.unit_bytes;
    out["area_bytes"] = geometry.area_bytes();
    out["spare_blocks"] = area.layout.spare_blocks;
    out["block_s"] = number(area.wear.block_s);
    out["erases_per_block"] = area.erases.per_block_mean;
    out["erases_per_block_nominal"] = area.nominal_erases.per_block_mean;
    out["amplification"] = area.wear.amplification();
    out["start_share"] = area.wear.start_units / area.layout.capacity_units;
    out["mark_share"] = area.wear.mark_units / area.layout.capacity_units;
    out["waste_share"] = area.wear.waste_units / area.layout.capacity_units;
    if (area.log) { out["log"] = json_of(*area.log); }
    out["lazy_start"] = area.lazy_start;
    out["erases_per_block_other_start"] = maybe(area.other_start_erases);
    out["longest_life_years"] = maybe(area.longest_life_years);
    out["fastest_periodic"] = maybe(area.fastest_periodic);
    if (area.latency) {
        const Latency& latency = *area.latency;
        out["latency"] = {{"put_serviced_ms", latency.put_serviced_ms},
                          {"put_alone_ms", latency.put_alone_ms},
                          {"put_later_ms", latency.put_later_ms},
                          {"service_step_ms", latency.service_step_ms},
                          {"service_every_s", number(latency.service_every_s)},
                          {"open_ms", latency.open_ms},
                          {"open_read_ms", latency.open_read_ms}};
    }
    out["records"] = nlohmann::json::array();
    for (const RecordBudget& record : area.records) { out["records"].push_back(json_of(record)); }
    return out;
}

} // namespace

std::string budget_text(const Budget& budget) {
    const bool many = budget.areas.size() > 1;
    std::string out;
    add_verdict(out, budget, many);
    add_findings(out, budget, many);
    for (const AreaBudget& area : budget.areas) {
        if (!area.laid_out) { continue; }
        add_records(out, area);
        if (area.log) { add_log(out, *area.log); }
        add_inverse(out, area);
    }
    add_saves(out, budget);
    if (budget.hold_up) { add_supply(out, *budget.hold_up); }
    add_sources(out, budget, many);
    if (!budget.caution.empty()) {
        out += '\n';
        add_wrapped(out, budget.caution, 0);
    }
    return out;
}

nlohmann::json budget_json(const Budget& budget) {
    nlohmann::json out;
    out["project"] = budget.project;
    out["holds"] = budget.holds();
    out["life_years"] = budget.life_years;
    out["findings"] = nlohmann::json::array();
    for (const Finding& finding : budget.findings) { out["findings"].push_back(json_of(finding)); }
    out["caution"] = budget.caution;
    out["areas"] = nlohmann::json::array();
    for (const AreaBudget& area : budget.areas) { out["areas"].push_back(json_of(area)); }
    out["saves"] = nlohmann::json::array();
    for (const SavePart& save : budget.saves) { out["saves"].push_back(json_of(save)); }
    out["losses"] = nlohmann::json::array();
    for (const RecordLoss& loss : budget.losses) { out["losses"].push_back(json_of(loss)); }
    out["hold_up"] = budget.hold_up ? json_of(*budget.hold_up) : nlohmann::json(nullptr);
    return out;
}

} // namespace perdure
