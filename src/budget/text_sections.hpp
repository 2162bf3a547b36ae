// Parts of the budget's text and JSON. Only src/budget/text*.cpp include this.
#pragma once

#include <cmath>
#include <optional>
#include <string>

#include <nlohmann/json.hpp>

#include "budget/findings.hpp"

namespace perdure {

/// A figure in at most nine characters or so: whole numbers with separators, others to three digits.
std::string figure(double value);

/// Appends words in lines of 80 columns, each indented.
void add_wrapped(std::string& out, const std::string& words, size_t indent);

/// Every save with its cost, and what a sudden cut takes.
void add_saves(std::string& out, const Budget& budget);

/// How often the supply trips, what that costs, and the cautions.
void add_supply(std::string& out, const HoldUp& hold_up);

/// A log's bytes, blocks and wear, in batches and one by one.
void add_log(std::string& out, const LogBudget& log);

nlohmann::json json_of(const SavePart& save);
nlohmann::json json_of(const RecordLoss& loss);
nlohmann::json json_of(const HoldUp& hold_up);
nlohmann::json json_of(const LogBudget& log);

inline nlohmann::json number(double value) {
    return std::isfinite(value) ? nlohmann::json(value) : nlohmann::json(nullptr);
}

template <typename T> nlohmann::json maybe(const std::optional<T>& value) {
    return value ? nlohmann::json(*value) : nlohmann::json(nullptr);
}

} // namespace perdure
