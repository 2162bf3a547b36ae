// Documents that are run as they stand: their files are written, their commands run one after another, and what these
// print is what the document shows.
#pragma once

#include <cstddef>
#include <string>

namespace perdure {

/// Blocks of a document, by the word behind their fence:
///
///     ```toml NAME       a file NAME, written where the commands run; text NAME too
///     ```console         lines "$ COMMAND", each with the lines that it prints; a line "..." stands for any lines
///     ```console slow    the same, but run only with `slow`
///
/// A block without a word behind its fence is only read. A failure of the test where something else is printed, or
/// where a block is of another kind. With PERDURE_WRITE_TRANSCRIPTS set, what a command prints is written into the
/// document instead, in place of what does not stand for it. Gives the number of commands run.
size_t hold_document(const std::string& document, bool slow);

} // namespace perdure
