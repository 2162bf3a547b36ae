// The worked examples of store/format.md, as they stand there.
#pragma once

#include <map>
#include <string>
#include <vector>

namespace perdure::format_examples {

using Lines = std::vector<std::string>;

/// The examples of the document: after a line "Example NAME:" the lines of the next fenced block, without what follows
/// ';'.
std::map<std::string, Lines> read_document();

} // namespace perdure::format_examples
