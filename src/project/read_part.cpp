#include <algorithm>
#include <array>
#include <limits>

#include <fmt/format.h>

#include "project/read.hpp"
#include "project/read_sections.hpp"

namespace perdure {
namespace {

// The figures without which nothing can be computed, and how to give them.
constexpr std::array needed_figures{
    NeededFigure{"erase_layout", "erase_block", "erase_block = \"2 KiB\" and blocks = 64"},
    NeededFigure{"program_bytes", "program_unit", "program_unit = \"8 B\""},
    NeededFigure{"erased_value", "blank", "blank = 0xFF"},
    NeededFigure{"endurance_cycles", "endurance", "endurance = 10000"},
    NeededFigure{"erase_ms_max", "erase_max", "erase_max = \"40 ms\""},
    NeededFigure{"program_us_max", "program_max", "program_max = \"125 us\""},
};

// Words of the file for the rules as they are catalogued.
struct RuleWord {
    std::string_view word, catalogued;
};
constexpr std::array rule_words{
    RuleWord{"bits-one-way", "no"},           RuleWord{"once", "once-noecc"},        RuleWord{"once-ecc", "ecc"},
    RuleWord{"once-ecc-or-zero", "ecc-zero"}, RuleWord{"once-or-zero", "zero-only"},
};

const std::vector<std::string> part_keys{
    "catalog",         "name",        "flash_start",      "erase_block",  "blocks",    "program_unit",
    "program_rule",    "blank",       "read_while_write", "endurance",    "erase_max", "erase_typ",
    "program_max",     "program_typ", "retention",        "retention_at", "vdd_min",   "vdd_max",
    "program_current", "erase_abort", "protected"};

/// Notes that a column's figure comes from the file.
void from_file(const Section& part, Device& device, std::string_view column, std::string_view key) {
    const size_t slash = part.source.path.find_last_of('/');
    const std::string file = slash == std::string::npos ? part.source.path : part.source.path.substr(slash + 1);
    device.provenance[std::string(column)] =
        Provenance{fmt::format("{} line {}", file, span_of_key(part, key).place.line), false};
}

void read_layout(const Section& part, Device& device) {
    const auto erase_block = get_size(part, "erase_block", 1, 16U << 20U);
    const auto blocks = get_whole(part, "blocks", 1, 1U << 20U);
    const bool has_block = part.table.contains("erase_block");
    const bool has_count = part.table.contains("blocks");
    if (has_block != has_count) {
        complain_missing(part, has_block ? "blocks" : "erase_block",
                         has_block ? "blocks = 64" : "erase_block = \"2 KiB\"",
                         "the size and the number of erase blocks are given together");
    }
    if (!erase_block || !blocks) { return; }
    device.runs = {BlockRun{static_cast<uint32_t>(*blocks), static_cast<uint32_t>(*erase_block), 0}};
    device.flash_bytes = device.runs.front().bytes();
    for (const std::string_view column : {"erase_layout", "erase_bytes", "flash_bytes"}) {
        from_file(part, device, column, "erase_block");
    }
}

void read_program_rules(const Section& part, Device& device) {
    if (const auto unit = get_size(part, "program_unit", 1, 4096)) {
        device.program_bytes = static_cast<uint32_t>(*unit);
        from_file(part, device, "program_bytes", "program_unit");
    }
    std::vector<std::string> words;
    for (const RuleWord& rule : rule_words) { words.emplace_back(rule.word); }
    if (const auto word = get_choice(part, "program_rule", words)) {
        const auto rule =
            std::find_if(rule_words.begin(), rule_words.end(), [&](const RuleWord& r) { return r.word == *word; });
        device.program_rule = rule->catalogued;
        from_file(part, device, "program_once_ecc", "program_rule");
    }
    if (const auto blank = get_whole(part, "blank", 0, 255)) {
        if (*blank != 0 && *blank != 255) {
            part.source.complain(span_of_value(part, "blank"), fmt::format("\"blank\" is 0x{:02X}", *blank),
                                 "0xFF or 0x00, what an erased byte reads as");
        }
        device.erased_value = *blank == 0 ? "0x00" : "0xFF";
        from_file(part, device, "erased_value", "blank");
    }
    if (const auto rww = get_choice(part, "read_while_write",
                                    {"stall", "dual-bank", "data-bank", "sector", "boot-section", "yes", "unknown"})) {
        device.read_while_write = *rww;
        from_file(part, device, "read_while_write", "read_while_write");
    }
}

void read_quantity(const Section& part, Device& device, std::string_view key, std::string_view column,
                   Dimension dimension, double factor, const Bounds& bounds, std::optional<double>& figure) {
    if (const auto value = get_quantity(part, key, dimension, bounds)) {
        figure = *value * factor;
        from_file(part, device, column, key);
    }
}

void read_times(const Section& part, Device& device) {
    const Bounds time{0, 100, true, false, "above 0 and at most 100 s"};
    std::optional<double> erase_ms_max, erase_ms_typ;
    read_quantity(part, device, "erase_max", "erase_ms_max", Dimension::time_s, 1e3, time, erase_ms_max);
    read_quantity(part, device, "erase_typ", "erase_ms_typ", Dimension::time_s, 1e3, time, erase_ms_typ);
    if (erase_ms_max) { device.erase_ms_max = {*erase_ms_max}; }
    if (erase_ms_typ) { device.erase_ms_typ = {*erase_ms_typ}; }
    read_quantity(part, device, "erase_abort", "erase_abort_us", Dimension::time_s, 1e6, time, device.erase_abort_us);
    read_quantity(part, device, "program_max", "program_us_max", Dimension::time_s, 1e6, time, device.program_us_max);
    read_quantity(part, device, "program_typ", "program_us_typ", Dimension::time_s, 1e6, time, device.program_us_typ);
}

void read_limits(const Section& part, Device& device) {
    if (const auto cycles = get_number(part, "endurance", {1, 1e15, false, false, "from 1 to 1e15 erases"})) {
        device.endurance_cycles = *cycles;
        from_file(part, device, "endurance_cycles", "endurance");
    }
    const Bounds volts{0, 20, true, false, "above 0 and at most 20 V"};
    read_quantity(part, device, "retention", "retention_years", Dimension::life_y, 1,
                  {0, 1000, true, false, "above 0 and at most 1000 y"}, device.retention_years);
    read_quantity(part, device, "retention_at", "retention_temp_c", Dimension::temperature_c, 1,
                  {-273, 300, false, false, "from -273 C to 300 C"}, device.retention_temp_c);
    read_quantity(part, device, "vdd_min", "vdd_min", Dimension::voltage_v, 1, volts, device.vdd_min_v);
    read_quantity(part, device, "vdd_max", "vdd_max", Dimension::voltage_v, 1, volts, device.vdd_max_v);
    read_quantity(part, device, "program_current", "program_ma", Dimension::current_ma, 1,
                  {0, 1e5, true, false, "above 0 and at most 100 A"}, device.program_ma);
    if (device.vdd_min_v && device.vdd_max_v && *device.vdd_min_v > *device.vdd_max_v) {
        part.source.complain(span_of_value(part, part.table.contains("vdd_min") ? "vdd_min" : "vdd_max"),
                             "\"vdd_min\" is above \"vdd_max\"",
                             fmt::format("a range; now it is {} V to {} V", *device.vdd_min_v, *device.vdd_max_v));
    }
}

bool has_figure(const Device& device, std::string_view column) {
    if (column == "erase_layout") { return !device.runs.empty(); }
    if (column == "program_bytes") { return device.program_bytes.has_value(); }
    if (column == "erased_value") { return !device.erased_value.empty(); }
    if (column == "endurance_cycles") { return device.endurance_cycles.has_value(); }
    if (column == "erase_ms_max") { return !device.erase_ms_max.empty(); }
    if (column == "program_us_max") { return device.program_us_max.has_value(); }
    return false;
}

/// True when every figure is there or was tried and refused already.
bool ask_for_missing(const Section& part, const Device& device) {
    bool complete = true;
    for (const NeededFigure& figure : figures_to_give(device)) {
        complete = false;
        if (part.table.contains(figure.key)) { continue; } // refused above, with its own message
        const bool catalogued = part.table.contains("catalog");
        const std::string message = catalogued
                                        ? fmt::format("the catalogue has no \"{}\" for {}", figure.key, device.id)
                                        : fmt::format("[part] has no \"{}\"", figure.key);
        part.source.complain(catalogued ? span_of_value(part, "catalog") : part.span, message,
                             fmt::format("{} in [part], as the data sheet guarantees it", figure.example));
    }
    return complete;
}

/// Finds the part in the catalogue; false after an error.
bool start_from_catalogue(const Section& part, const Catalog& catalog, Device& device) {
    const auto id = get_text(part, "catalog", "the id of a part in the catalogue, such as \"stm32g071\"");
    if (!id) { return false; }
    if (const Device* known = catalog.find(*id)) {
        device = *known;
        return true;
    }
    std::vector<std::string> ids;
    for (const Device& known : catalog.devices) { ids.push_back(known.id); }
    part.source.complain(span_of_value(part, "catalog"), fmt::format("no part \"{}\" in the catalogue", *id),
                         "an id that \"perdure parts\" lists, or no \"catalog\" and all figures in [part]",
                         nearest(*id, ids));
    return false;
}

void check_whole_units(const Section& part, const Device& device) {
    if (!device.program_bytes) { return; }
    for (const BlockRun& run : device.runs) {
        if (run.erase_bytes % *device.program_bytes == 0) { continue; }
        part.source.complain(
            span_of_value(part, part.table.contains("program_unit") ? "program_unit" : "erase_block"),
            fmt::format("an erase block of {} bytes is not a whole number of program units of {} bytes",
                        run.erase_bytes, *device.program_bytes));
        return;
    }
}

/// "protected" -> project.protected_ranges.
void read_protected(const Section& part, Project& project) {
    constexpr std::string_view example =
        "protected = [ { name = \"bootloader\", start = \"0x08000000\", size = \"16 KiB\" } ]";
    const toml::node* node = part.table.get("protected");
    if (node == nullptr) { return; }
    if (!node->is_array()) {
        part.source.complain(span_of_value(part, "protected"), "\"protected\" is no list of ranges",
                             std::string(example));
        return;
    }
    if (!part.table.contains("flash_start")) {
        part.source.complain(span_of_key(part, "protected"),
                             "\"protected\" gives addresses, but [part] does not say where flash starts",
                             "a line such as flash_start = \"0x08000000\" in [part], from the data sheet");
    }
    for (const toml::node& element : *node->as_array()) {
        if (!element.is_table()) {
            part.source.complain(span_of(element), "a protected range is a table", std::string(example));
            continue;
        }
        const Section section{part.source, *element.as_table(),
                              fmt::format("protected range {}", project.protected_ranges.size() + 1), span_of(element)};
        check_keys(section, {"name", "start", "size"});
        for (const auto& [key, line] :
             {std::pair{"name", "name = \"bootloader\""}, std::pair{"start", "start = \"0x08000000\""},
              std::pair{"size", "size = \"16 KiB\""}}) {
            if (!section.table.contains(key)) { complain_missing(section, key, line); }
        }
        project.protected_ranges.push_back({get_text(section, "name", "a name such as \"bootloader\"").value_or(""),
                                            get_address(section, "start").value_or(0),
                                            get_size(section, "size", 1, 1ULL << 32U).value_or(0), section.span.place});
    }
}

} // namespace

std::vector<NeededFigure> figures_to_give(const Device& part) {
    std::vector<NeededFigure> out;
    for (const NeededFigure& figure : needed_figures) {
        if (!has_figure(part, figure.column)) { out.push_back(figure); }
    }
    return out;
}

void read_part(Source& source, const toml::table& file, const Catalog& catalog, Project& project) {
    const Section root{source, file, "the file", {}};
    if (!file.contains("part")) {
        if (has_misspelled(root, "part")) { return; }
        complain_missing(root, "[part]", "[part] with catalog = \"stm32g071\"");
        return;
    }
    const toml::table* table = get_table(root, "part");
    if (table == nullptr) { return; }
    const Section part{source, *table, "[part]", span_of_key(root, "part")};
    project.part_place = part.span.place;
    check_keys(part, part_keys);

    Device device;
    bool known = true;
    if (table->contains("catalog")) {
        known = start_from_catalogue(part, catalog, device);
    } else {
        // The strictest rules, so that a part given in place is never treated as more forgiving than it is.
        device.id = "own part";
        device.program_rule = "ecc";
        device.read_while_write = "stall";
    }
    if (const auto name = get_text(part, "name", "a name")) {
        (known && table->contains("catalog") ? device.example_part : device.id) = *name;
    }
    read_layout(part, device);
    read_program_rules(part, device);
    read_times(part, device);
    read_limits(part, device);
    project.flash_start_address = get_address(part, "flash_start");
    read_protected(part, project);
    if (!known) { return; } // what the catalogue would have given is unknown: asking for it would mislead

    // A figure that the file can give is asked for; what no figure can mend is said as the catalogue says it.
    const Usable use = usable(device);
    const bool complete = (!use.ok && use.missing.empty()) || ask_for_missing(part, device);
    if (complete && !use.ok) {
        source.complain(span_of_value(part, "catalog"),
                        fmt::format("{} cannot carry a store: {}", device.id, use.why_not), "another part");
        return;
    }
    if (complete) { check_whole_units(part, device); }
    project.part = std::move(device);
}

} // namespace perdure
