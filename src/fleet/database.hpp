// A fleet's rows in an SQLite file. docs/fleet.md describes its tables.
#pragma once

#include <memory>
#include <string>

#include <tl/expected.hpp>

#include "fleet/summary.hpp"

struct sqlite3;
struct sqlite3_stmt;

namespace perdure {

/// Filled beside its place and put there whole by finish(); without that nothing is left. For one thread at a time.
class FleetDatabase {
public:
    /// A file that is there already is replaced if a fleet is what it holds; otherwise this is refused. `project`: the
    /// product's name, kept in the file.
    static tl::expected<std::unique_ptr<FleetDatabase>, std::string> create(const std::string& path,
                                                                            const std::string& project);
    ~FleetDatabase();
    FleetDatabase(const FleetDatabase&) = delete;
    FleetDatabase& operator=(const FleetDatabase&) = delete;

    /// Empty, or what SQLite says. After an error nothing more is taken.
    std::string add(const UnitRow& row);
    std::string finish();

private:
    FleetDatabase() = default;
    struct Statement;
    void run(const char* sql);
    void prepare(const char* sql, sqlite3_stmt*& to);
    void add_area(size_t unit, const AreaRow& row);

    std::string path_, beside_, error_;
    sqlite3* database_ = nullptr;
    sqlite3_stmt *unit_ = nullptr, *area_ = nullptr, *block_ = nullptr, *field_ = nullptr, *damage_ = nullptr;
    size_t rows_ = 0;
};

} // namespace perdure
