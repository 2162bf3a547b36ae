// What perdure upgrade prints.
#pragma once

#include <iosfwd>
#include <optional>
#include <vector>

#include <nlohmann/json.hpp>

#include "upgrade/trial.hpp"

namespace perdure {

/// One pair of versions, compared and tried.
struct UpgradeResult {
    const ProductVersion* from = nullptr;
    const ProductVersion* to = nullptr;
    SchemaChange change;
    std::optional<Trial> trial; ///< absent: not asked for
    [[nodiscard]] bool holds() const { return change.breaches.empty() && (!trial || trial->holds()); }
};

/// All of one pair.
void print_upgrade(const UpgradeResult& result, std::ostream& out);

/// A line a pair, then all of those that do not hold, and the warnings of those that do. `breaches`: of the whole
/// history.
void print_upgrades(const std::vector<UpgradeResult>& results, const std::vector<Breach>& breaches, std::ostream& out);

void print_warnings(const std::vector<std::string>& warnings, std::ostream& out);
void print_breaches(const std::vector<Breach>& breaches, std::ostream& out);

nlohmann::json json_of(const UpgradeResult& result);
nlohmann::json json_of(const std::vector<Breach>& breaches);

} // namespace perdure
