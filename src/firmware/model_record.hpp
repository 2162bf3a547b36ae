// One record as the values that the templates name, and the small pieces all of them are made of.
#pragma once

#include <string>
#include <vector>

#include <fmt/format.h>
#include <kainjow/mustache.hpp>

#include "firmware/firmware.hpp"

namespace perdure {

template <class Number> std::string number(Number value) {
    return fmt::format("{}", value);
}

/// A section's condition.
kainjow::mustache::data flag(bool on);

/// A list of objects that each hold one text by the name `key`.
kainjow::mustache::data texts(const std::string& key, const std::vector<std::string>& lines);

/// A text that its section is left out for when it is empty.
kainjow::mustache::data optional_text(const std::string& text);

/// The record at `index` of the area's. `total_offset`: where a total, or a log's state, lies among the area's totals.
kainjow::mustache::data record_values(const Project& project, const PlannedArea& area, size_t index,
                                      uint32_t total_offset, const EmitOptions& options);

} // namespace perdure
