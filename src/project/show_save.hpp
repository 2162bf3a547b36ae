// A reason to save in words.
#pragma once

#include <string>

#include "project/project.hpp"

namespace perdure {

/// "every 45 s", "6 a year (events, 99 % sure)", "at each start, 20 % of them changed", "when litres moved by 500".
/// `save` is one of the record's; `year_days` is the length of the year.
std::string show_save(const Record& record, const SavePolicy& save, double year_days);

} // namespace perdure
