// What the driver of a part's flash has to mind, from the catalogue's figures.
#pragma once

#include <string>
#include <vector>

#include "catalog/catalog.hpp"

namespace perdure {

/// One sentence or two each. A figure without a document behind it says so.
std::vector<std::string> traps_of(const Device& part);

/// Whether the processor cannot read flash as data by plain pointers.
bool reads_flash_by_instruction(const Device& part);

/// "40 ms", or "a time that is not known" where the part has no figure.
std::string erase_time_text(const Device& part);
std::string program_time_text(const Device& part);

} // namespace perdure
