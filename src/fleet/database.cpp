#include "fleet/database.hpp"

#include <array>
#include <filesystem>
#include <fstream>
#include <string_view>

#include <fmt/format.h>
#include <sqlite3.h>

namespace perdure {
namespace {

constexpr uint32_t application_id = 0x50524446; // "PRDF": so that a file of another kind is not replaced
constexpr size_t rows_a_transaction = 1000;

constexpr const char* schema = R"(
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE units (
    unit INTEGER PRIMARY KEY, file TEXT NOT NULL, serial TEXT NOT NULL, in_order INTEGER NOT NULL, error TEXT NOT NULL,
    file_bytes INTEGER NOT NULL, line_errors INTEGER NOT NULL, age_years REAL);
CREATE TABLE areas (
    unit INTEGER NOT NULL REFERENCES units, area TEXT NOT NULL, in_order INTEGER NOT NULL, contents TEXT NOT NULL,
    begin INTEGER NOT NULL, bytes INTEGER NOT NULL, bytes_missing INTEGER NOT NULL, sequence INTEGER NOT NULL,
    restarts INTEGER NOT NULL, erases_least INTEGER, erases_most INTEGER, erases_mean REAL, erases_left REAL,
    years_left REAL, reaches_life INTEGER, notes TEXT NOT NULL, PRIMARY KEY (unit, area)) WITHOUT ROWID;
CREATE TABLE blocks (
    unit INTEGER NOT NULL REFERENCES units, area TEXT NOT NULL, block INTEGER NOT NULL, erases INTEGER,
    PRIMARY KEY (unit, area, block)) WITHOUT ROWID;
CREATE TABLE fields (
    unit INTEGER NOT NULL REFERENCES units, area TEXT NOT NULL, record TEXT NOT NULL, field TEXT NOT NULL,
    value NOT NULL, stored INTEGER NOT NULL, unsure INTEGER NOT NULL,
    PRIMARY KEY (unit, area, record, field)) WITHOUT ROWID;
CREATE TABLE damage (
    unit INTEGER NOT NULL REFERENCES units, area TEXT NOT NULL, cause TEXT NOT NULL, block INTEGER NOT NULL,
    first_unit INTEGER NOT NULL, units INTEGER NOT NULL, harmless INTEGER NOT NULL, record INTEGER,
    what TEXT NOT NULL, why TEXT NOT NULL);
)";

/// Is it no file yet, an empty one, or one that this program made?
bool may_replace(const std::string& path) {
    if (!std::filesystem::exists(path)) { return true; }
    std::ifstream file(path, std::ios::binary);
    constexpr std::string_view magic("SQLite format 3\0", 16); // with its zero
    std::array<char, 72> head{};
    file.read(head.data(), head.size());
    if (file.gcount() == 0) { return std::filesystem::is_regular_file(path); }
    uint32_t id = 0; // of an SQLite file: bytes 68 to 71, the upper first (sqlite.org/fileformat2.html, section 1.3)
    for (size_t i = 68; i < 72; i++) { id = id << 8U | static_cast<uint8_t>(head[i]); }
    return file.gcount() == 72 && std::string_view(head.data(), magic.size()) == magic && id == application_id;
}

} // namespace

/// Binds a row's values in order, and stores it.
struct FleetDatabase::Statement {
    FleetDatabase& of;
    sqlite3_stmt* statement;
    int at = 0;

    Statement& integer(int64_t value) {
        sqlite3_bind_int64(statement, ++at, value);
        return *this;
    }
    Statement& real(double value) {
        sqlite3_bind_double(statement, ++at, value);
        return *this;
    }
    Statement& text(std::string_view value) {
        sqlite3_bind_text64(statement, ++at, value.data(), value.size(), SQLITE_TRANSIENT, SQLITE_UTF8);
        return *this;
    }
    Statement& null() {
        sqlite3_bind_null(statement, ++at);
        return *this;
    }
    Statement& optional_real(const std::optional<double>& value) { return value ? real(*value) : null(); }
    void store() {
        if (of.error_.empty() && sqlite3_step(statement) != SQLITE_DONE) { of.error_ = sqlite3_errmsg(of.database_); }
        sqlite3_reset(statement);
    }
};

tl::expected<std::unique_ptr<FleetDatabase>, std::string> FleetDatabase::create(const std::string& path,
                                                                                const std::string& project) {
    if (!may_replace(path)) {
        return tl::unexpected(fmt::format("'{}' is there and holds no fleet; name another file", path));
    }
    std::unique_ptr<FleetDatabase> out(new FleetDatabase);
    out->path_ = path;
    out->beside_ = path + ".part";
    std::error_code ignored;
    std::filesystem::remove(out->beside_, ignored);
    if (sqlite3_open(out->beside_.c_str(), &out->database_) != SQLITE_OK) {
        return tl::unexpected(fmt::format("cannot write '{}'", path));
    }
    // No journal: a file that is not finished is thrown away.
    out->run("PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;");
    out->run(fmt::format("PRAGMA application_id = {}; PRAGMA user_version = 1;", application_id).c_str());
    out->run(schema);
    out->run("BEGIN");
    out->prepare("INSERT INTO units VALUES (?,?,?,?,?,?,?,?)", out->unit_);
    out->prepare("INSERT INTO areas VALUES (?,?,?,?,?,?,?,?,?,?,?,?,?,?,?,?)", out->area_);
    out->prepare("INSERT INTO blocks VALUES (?,?,?,?)", out->block_);
    out->prepare("INSERT INTO fields VALUES (?,?,?,?,?,?,?)", out->field_);
    out->prepare("INSERT INTO damage VALUES (?,?,?,?,?,?,?,?,?,?)", out->damage_);
    sqlite3_stmt* about = nullptr;
    out->prepare("INSERT INTO about VALUES ('project', ?)", about);
    if (about != nullptr) { Statement{*out, about}.text(project).store(); }
    sqlite3_finalize(about);
    if (!out->error_.empty()) { return tl::unexpected(fmt::format("cannot write '{}': {}", path, out->error_)); }
    return out;
}

FleetDatabase::~FleetDatabase() {
    for (sqlite3_stmt* statement : {unit_, area_, block_, field_, damage_}) { sqlite3_finalize(statement); }
    sqlite3_close(database_);
    std::error_code ignored;
    std::filesystem::remove(beside_, ignored);
}

void FleetDatabase::run(const char* sql) {
    if (error_.empty() && sqlite3_exec(database_, sql, nullptr, nullptr, nullptr) != SQLITE_OK) {
        error_ = sqlite3_errmsg(database_);
    }
}

void FleetDatabase::prepare(const char* sql, sqlite3_stmt*& to) {
    if (error_.empty() && sqlite3_prepare_v2(database_, sql, -1, &to, nullptr) != SQLITE_OK) {
        error_ = sqlite3_errmsg(database_);
    }
}

std::string FleetDatabase::add(const UnitRow& row) {
    Statement unit{*this, unit_};
    unit.integer(static_cast<int64_t>(row.number)).text(row.file).text(row.serial).integer(row.holds() ? 1 : 0);
    unit.text(row.error).integer(static_cast<int64_t>(row.file_bytes)).integer(static_cast<int64_t>(row.line_errors));
    unit.optional_real(row.age_years).store();
    for (const AreaRow& area : row.areas) { add_area(row.number, area); }
    if (++rows_ % rows_a_transaction == 0) {
        run("COMMIT");
        run("BEGIN");
    }
    return error_;
}

void FleetDatabase::add_area(size_t unit, const AreaRow& row) {
    const auto number = static_cast<int64_t>(unit);
    const Wear& wear = row.wear;
    Statement area{*this, area_};
    area.integer(number).text(row.area).integer(row.holds ? 1 : 0).text(row.contents).integer(row.begin);
    area.integer(static_cast<int64_t>(row.bytes)).integer(static_cast<int64_t>(row.bytes_missing));
    area.integer(row.sequence).integer(row.restarts);
    if (wear.known != 0) {
        area.integer(wear.least).integer(wear.most).real(wear.mean).real(wear.left_allowed);
    } else {
        area.null().null().null().null();
    }
    area.optional_real(wear.years_left_seen);
    wear.reaches_life ? area.integer(*wear.reaches_life ? 1 : 0) : area.null();
    area.text(row.notes).store();
    for (size_t block = 0; block < wear.erases.size(); block++) {
        Statement one{*this, block_};
        one.integer(number).text(row.area).integer(static_cast<int64_t>(block));
        wear.erases[block] ? one.integer(*wear.erases[block]) : one.null();
        one.store();
    }
    for (const FieldRow& field : row.fields) {
        Statement one{*this, field_};
        one.integer(number).text(row.area).text(field.record).text(field.field).text(field.value);
        one.integer(field.stored ? 1 : 0).integer(field.unsure ? 1 : 0).store();
    }
    for (const Damage& damage : row.damage) {
        Statement one{*this, damage_};
        one.integer(number).text(row.area).text(name_of(damage.cause)).integer(damage.block).integer(damage.unit);
        one.integer(damage.units).integer(damage.harmless ? 1 : 0);
        damage.id ? one.integer(*damage.id) : one.null();
        one.text(damage.what).text(damage.why).store();
    }
}

std::string FleetDatabase::finish() {
    run("CREATE INDEX damage_by_cause ON damage (cause, unit)");
    run("COMMIT");
    if (!error_.empty()) { return fmt::format("cannot write '{}': {}", path_, error_); }
    for (sqlite3_stmt** statement : {&unit_, &area_, &block_, &field_, &damage_}) {
        sqlite3_finalize(*statement);
        *statement = nullptr;
    }
    sqlite3_close(database_);
    database_ = nullptr;
    std::error_code error;
    std::filesystem::rename(beside_, path_, error);
    return error ? fmt::format("cannot write '{}'", path_) : "";
}

} // namespace perdure
