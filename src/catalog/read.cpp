#include "catalog/read.hpp"

#include <algorithm>
#include <charconv>
#include <limits>

#include <fmt/format.h>

#include "catalog/csv.hpp"

namespace perdure {
namespace {

using Records = std::vector<std::vector<std::string>>;

/// One row under reading. The first error is kept; the readers below then give nothing.
struct Row {
    const std::vector<std::string>& columns;
    const std::vector<std::string>& cells;
    std::string error;

    [[nodiscard]] std::string_view cell(std::string_view column) {
        const auto it = std::find(columns.begin(), columns.end(), column);
        if (it == columns.end()) {
            complain(column, "no such column");
            return {};
        }
        return cells[static_cast<size_t>(it - columns.begin())];
    }
    [[nodiscard]] std::string text(std::string_view column) { return std::string(cell(column)); }
    void complain(std::string_view column, std::string_view why) {
        if (error.empty()) { error = fmt::format("{}, {}: {}", cells[0], column, why); }
    }
};

std::vector<std::string_view> split(std::string_view text, std::string_view between) {
    std::vector<std::string_view> parts;
    while (true) {
        const size_t at = text.find(between);
        parts.push_back(text.substr(0, at));
        if (at == std::string_view::npos) { return parts; }
        text.remove_prefix(at + between.size());
    }
}

template <typename Number> std::optional<Number> to_number(std::string_view text) {
    Number value{};
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error != std::errc{} || end != text.data() + text.size()) { return std::nullopt; }
    return value;
}

template <typename Number> std::optional<Number> number(Row& row, std::string_view column) {
    const std::string_view text = row.cell(column);
    if (text.empty()) { return std::nullopt; }
    const std::optional<Number> value = to_number<Number>(text);
    if (!value) { row.complain(column, fmt::format("\"{}\" is not a number", text)); }
    return value;
}

/// Numbers with slashes between them.
std::vector<double> numbers(Row& row, std::string_view column) {
    std::vector<double> out;
    const std::string_view cell = row.cell(column);
    if (cell.empty()) { return out; }
    for (const std::string_view text : split(cell, "/")) {
        const std::optional<double> value = to_number<double>(text);
        if (!value) { row.complain(column, fmt::format("\"{}\" is not a number", text)); }
        out.push_back(value.value_or(0));
    }
    return out;
}

/// "4*16384+1*65536": runs of equal blocks from the start of flash; "none" where there is no erase.
std::vector<BlockRun> block_runs(Row& row) {
    std::vector<BlockRun> runs;
    const std::string_view cell = row.cell("erase_layout");
    if (cell.empty() || cell == "none") { return runs; }
    uint64_t offset = 0;
    for (const std::string_view text : split(cell, "+")) {
        const std::vector<std::string_view> factors = split(text, "*");
        const uint32_t count = to_number<uint32_t>(factors[0]).value_or(0);
        const uint32_t bytes = to_number<uint32_t>(factors.back()).value_or(0);
        if (factors.size() != 2 || count == 0 || bytes == 0) {
            row.complain("erase_layout", fmt::format("\"{}\" is not count*bytes", text));
            return {};
        }
        runs.push_back({count, bytes, offset});
        offset += runs.back().bytes();
    }
    return runs;
}

/// Times stand in the table by block size (as in erase_bytes); a device has them by run.
std::vector<double> times_by_run(Row& row, std::string_view column, const std::vector<BlockRun>& runs) {
    std::vector<double> by_size = numbers(row, column);
    const std::vector<double> sizes = numbers(row, "erase_bytes");
    if (by_size.size() <= 1) { return by_size; }
    std::vector<double> out;
    for (const BlockRun& run : runs) {
        const auto it = std::find(sizes.begin(), sizes.end(), double(run.erase_bytes));
        const auto index = static_cast<size_t>(it - sizes.begin());
        if (index >= by_size.size()) {
            row.complain(column, fmt::format("no time for blocks of {} bytes", run.erase_bytes));
            return {};
        }
        out.push_back(by_size[index]);
    }
    return out;
}

/// Columns that are labels or say where things come from, and need no source themselves.
bool is_label(std::string_view column) {
    constexpr std::string_view labels[] = {"id",   "kind", "maker", "family", "example_part",
                                           "core", "part", "bus",   "source", "from_memory_columns",
                                           "note"};
    return std::find(std::begin(labels), std::end(labels), column) != std::end(labels);
}

/// Sources by column. In devices.csv the source names its columns ("a,b = where | c = where"), in externals.csv it
/// stands for every filled column that is not from memory.
std::map<std::string, Provenance, std::less<>> provenance(Row& row, bool by_column) {
    std::map<std::string, Provenance, std::less<>> out;
    const auto claim_column = [&](std::string_view column, Provenance where) {
        if (is_label(column) || std::find(row.columns.begin(), row.columns.end(), column) == row.columns.end()) {
            row.complain(column, "claimed, but no column of figures");
        }
        if (!out.emplace(column, std::move(where)).second) { row.complain(column, "claimed twice"); }
    };
    const std::string_view memory = row.cell("from_memory_columns");
    if (!memory.empty()) {
        for (const std::string_view column : split(memory, ",")) { claim_column(column, {"from memory", true}); }
    }
    const std::string_view source = row.cell("source");
    if (by_column && !source.empty()) {
        for (const std::string_view claim : split(source, " | ")) {
            const size_t equals = claim.find(" = ");
            if (equals == std::string_view::npos) {
                row.complain("source", fmt::format("\"{}\" names no columns", claim));
                return out;
            }
            for (const std::string_view column : split(claim.substr(0, equals), ",")) {
                claim_column(column, {std::string(claim.substr(equals + 3)), false});
            }
        }
    }
    for (size_t i = 0; i < row.columns.size(); i++) {
        const std::string& column = row.columns[i];
        if (is_label(column)) { continue; }
        if (!by_column && !row.cells[i].empty()) { out.emplace(column, Provenance{std::string(source), false}); }
        if (out.contains(column) == row.cells[i].empty()) {
            row.complain(column, row.cells[i].empty() ? "a source for an empty cell" : "a figure without a source");
        }
    }
    return out;
}

void read_device_figures(Row& row, Device& device) {
    device.erase_ms_typ = times_by_run(row, "erase_ms_typ", device.runs);
    device.erase_ms_max = times_by_run(row, "erase_ms_max", device.runs);
    device.program_us_typ = number<double>(row, "program_us_typ");
    device.program_us_max = number<double>(row, "program_us_max");
    device.endurance_cycles = number<double>(row, "endurance_cycles");
    device.endurance_temp_c = row.text("endurance_temp_c");
    device.retention_years = number<double>(row, "retention_years");
    device.retention_temp_c = number<double>(row, "retention_temp_c");
    device.vdd_min_v = number<double>(row, "vdd_min");
    device.vdd_max_v = number<double>(row, "vdd_max");
    device.program_ma = number<double>(row, "program_ma");
    device.data_eeprom_bytes = number<uint64_t>(row, "data_eeprom_bytes");
}

Device read_device(Row& row) {
    Device device;
    device.id = row.text("id");
    device.maker = row.text("maker");
    device.family = row.text("family");
    device.example_part = row.text("example_part");
    device.core = row.text("core");
    device.flash_bytes = number<uint64_t>(row, "flash_bytes");
    device.runs = block_runs(row);
    device.program_bytes = number<uint32_t>(row, "program_bytes");
    device.program_rule = row.text("program_once_ecc");
    device.erased_value = row.text("erased_value");
    device.read_while_write = row.text("read_while_write");
    read_device_figures(row, device);
    device.note = row.text("note");
    device.provenance = provenance(row, true);
    uint64_t bytes = 0;
    for (const BlockRun& run : device.runs) { bytes += run.bytes(); }
    if (!device.runs.empty() && device.flash_bytes && bytes != *device.flash_bytes) {
        row.complain("erase_layout", fmt::format("the runs have {} bytes, the flash {}", bytes, *device.flash_bytes));
    }
    return device;
}

/// The least of several guaranteed figures; infinite for "unlimited".
std::optional<double> least_endurance(Row& row) {
    if (row.cell("endurance_cycles") == "unlimited") { return std::numeric_limits<double>::infinity(); }
    const std::vector<double> all = numbers(row, "endurance_cycles");
    return all.empty() ? std::nullopt : std::optional(*std::min_element(all.begin(), all.end()));
}

ExternalMemory read_external(Row& row) {
    ExternalMemory memory;
    memory.id = row.text("id");
    memory.kind = row.text("kind");
    memory.maker = row.text("maker");
    memory.part = row.text("part");
    memory.bus = row.text("bus");
    memory.size_bytes = number<uint64_t>(row, "size_bytes");
    memory.erase_bytes = number<uint32_t>(row, "erase_bytes");
    memory.page_bytes = number<uint32_t>(row, "page_bytes");
    memory.write_ms_max = number<double>(row, "write_ms_max");
    memory.erase_ms_max = number<double>(row, "erase_ms_max");
    memory.write_ma = number<double>(row, "write_ma");
    memory.endurance_cycles = least_endurance(row);
    memory.note = row.text("note");
    memory.provenance = provenance(row, false);
    return memory;
}

template <typename Item, typename ReadRow>
tl::expected<std::vector<Item>, std::string> read_table(std::string_view name, std::string_view text,
                                                        ReadRow read_row) {
    const auto records = parse_csv(text);
    if (!records) { return tl::unexpected(fmt::format("{}: {}", name, records.error())); }
    if (records->empty()) { return tl::unexpected(fmt::format("{}: no columns", name)); }
    std::vector<Item> items;
    for (size_t i = 1; i < records->size(); i++) {
        const std::vector<std::string>& cells = (*records)[i];
        if (cells.size() != records->front().size()) {
            return tl::unexpected(fmt::format("{}: record {} has {} cells for {} columns", name, i, cells.size(),
                                              records->front().size()));
        }
        Row row{records->front(), cells, {}};
        items.push_back(read_row(row));
        if (!row.error.empty()) { return tl::unexpected(fmt::format("{}: {}", name, row.error)); }
    }
    return items;
}

} // namespace

tl::expected<Catalog, std::string> read_catalog(std::string_view devices_csv, std::string_view externals_csv) {
    auto devices = read_table<Device>("devices.csv", devices_csv, read_device);
    if (!devices) { return tl::unexpected(devices.error()); }
    auto externals = read_table<ExternalMemory>("externals.csv", externals_csv, read_external);
    if (!externals) { return tl::unexpected(externals.error()); }
    return Catalog{std::move(*devices), std::move(*externals)};
}

} // namespace perdure
