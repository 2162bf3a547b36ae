#include "image/unit_data.hpp"

#include <algorithm>
#include <cctype>
#include <set>

#include <fmt/format.h>

#include "catalog/csv.hpp"
#include "project/diagnostic.hpp"

namespace perdure {
namespace {

constexpr size_t errors_max = 20;

struct FieldPlace {
    const Record* record = nullptr;
    size_t field = 0;
};

/// The field that "record.field" names, or what is wrong with it.
tl::expected<FieldPlace, std::string> find_field(std::string_view name, const Project& project) {
    std::vector<std::string> known;
    for (const Record& record : project.records) {
        if (record.log) { continue; } // begins empty
        for (size_t i = 0; i < record.fields.size(); i++) {
            known.push_back(record.name + "." + record.fields[i].name);
            if (known.back() == name) { return FieldPlace{&record, i}; }
        }
    }
    const std::string near = nearest(name, known);
    return tl::unexpected(fmt::format("\"{}\" is no field of the project; expected record.field{}", name,
                                      near.empty() ? "" : fmt::format("; nearest: {}", near)));
}

/// Reads the rows behind the first.
struct TableReader {
    const std::string& path;
    std::vector<std::string> names;
    std::vector<FieldPlace> columns; ///< without a record: the serial
    size_t serial_column = 0;
    std::set<std::string> serials;
    std::vector<UnitData> units;
    std::string errors;
    size_t error_count = 0;

    void complain(size_t row, size_t column, std::string_view text) {
        if (++error_count > errors_max) { return; }
        errors += fmt::format("{}: row {}, column {}", path, row, column + 1);
        if (column < names.size()) { errors += fmt::format(" ({})", names[column]); }
        errors += fmt::format(": {}\n", text);
    }

    void take_names(const std::vector<std::string>& row, const Project& project) {
        names = row;
        std::set<std::string> seen;
        bool has_serial = false;
        for (size_t i = 0; i < row.size(); i++) {
            columns.emplace_back();
            if (!seen.insert(row[i]).second) { complain(1, i, "this column is there twice"); }
            if (row[i] == "serial") {
                serial_column = i;
                has_serial = true;
            } else if (const auto found = find_field(row[i], project)) {
                columns.back() = *found;
            } else {
                complain(1, i, found.error());
            }
        }
        if (!has_serial) { complain(1, 0, "no column \"serial\"; expected one that names each unit"); }
    }

    void take_unit(size_t number, const std::vector<std::string>& row) {
        if (row.size() == 1 && row[0].empty()) { return; } // an empty line
        if (row.size() != columns.size()) {
            complain(number, std::min(row.size(), columns.size()) - 1,
                     fmt::format("{} cells; expected {} as in the first row", row.size(), columns.size()));
            return;
        }
        UnitData unit;
        unit.serial = row[serial_column];
        if (!is_serial(unit.serial)) {
            complain(number, serial_column,
                     fmt::format("\"{}\" cannot name a file; expected 1 to 64 letters, digits, '-', '_' or '.'",
                                 unit.serial));
        } else if (!serials.insert(unit.serial).second) {
            complain(number, serial_column, fmt::format("serial \"{}\" is there twice", unit.serial));
        }
        for (size_t i = 0; i < row.size(); i++) {
            if (columns[i].record == nullptr || row[i].empty()) { continue; }
            const auto value = parse_value(columns[i].record->fields[columns[i].field], row[i]);
            if (value) {
                unit.values[{columns[i].record->id, columns[i].field}] = *value;
            } else {
                complain(number, i, fmt::format("\"{}\" does not fit; expected {}", row[i], value.error()));
            }
        }
        units.push_back(std::move(unit));
    }
};

} // namespace

bool is_serial(std::string_view text) {
    constexpr size_t length_max = 64;
    return !text.empty() && text.size() <= length_max && text.front() != '.' &&
           std::ranges::all_of(text, [](unsigned char c) {
               return c < 0x80 && (std::isalnum(c) != 0 || c == '-' || c == '_' || c == '.');
           });
}

tl::expected<std::vector<UnitData>, std::string> read_units(std::string_view text, const std::string& path,
                                                            const Project& project) {
    if (text.starts_with("\xEF\xBB\xBF")) { text.remove_prefix(3); } // the mark that spreadsheets put first
    const auto rows = parse_csv(text);
    if (!rows) { return tl::unexpected(fmt::format("{}: {}\n", path, rows.error())); }
    TableReader reader{path, {}, {}, 0, {}, {}, {}, 0};
    if (rows->empty()) {
        return tl::unexpected(fmt::format("{}: it is empty; expected a row of column names\n", path));
    }
    reader.take_names(rows->front(), project);
    if (reader.error_count == 0) {
        for (size_t i = 1; i < rows->size(); i++) { reader.take_unit(i + 1, (*rows)[i]); }
        if (reader.units.empty() && reader.error_count == 0) {
            reader.complain(2, 0, "no unit; expected a row for each");
        }
    }
    if (reader.error_count > errors_max) {
        reader.errors += fmt::format("{}: {} errors more\n", path, reader.error_count - errors_max);
    }
    if (reader.error_count != 0) { return tl::unexpected(reader.errors); }
    return std::move(reader.units);
}

std::string read_settings(std::string_view text, const Project& project, UnitData& data) {
    while (!text.empty()) {
        const std::string_view one = text.substr(0, text.find(','));
        text.remove_prefix(std::min(text.size(), one.size() + 1));
        const size_t equals = one.find('=');
        if (equals == std::string_view::npos) {
            return fmt::format("'{}' has no '='; expected record.field=value", one);
        }
        const auto field = find_field(one.substr(0, equals), project);
        if (!field) { return field.error(); }
        const auto value = parse_value(field->record->fields[field->field], one.substr(equals + 1));
        if (!value) {
            return fmt::format("'{}' does not fit {}; expected {}", one.substr(equals + 1), one.substr(0, equals),
                               value.error());
        }
        if (!data.values.emplace(std::pair{field->record->id, field->field}, *value).second) {
            return fmt::format("{} is set twice", one.substr(0, equals));
        }
    }
    return {};
}

} // namespace perdure
