// The lines that a product on the bench sends while its supply is cut (docs/bench.md): one text line, read and checked.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

namespace perdure {

/// CRC-16/XMODEM of the bytes: polynomial 0x1021, from 0, nothing reflected.
uint16_t line_check(std::string_view bytes);

enum class LineState {
    whole,     ///< its check code is right
    damaged,   ///< begins as a line of the bench, and its check code is not right or not there
    other_text ///< none of the bench's: what else the product prints
};

/// One line of a log.
struct BenchLine {
    LineState state = LineState::other_text;
    size_t place = 0;    ///< line of the file, from 1
    uint32_t number = 0; ///< of the line since the product's start
    std::string word;    ///< "put", "done" ...
    std::vector<std::string> arguments;
};

/// Reads one line, without its end. Never fails: what is no whole line of the bench says so in its state.
BenchLine read_bench_line(std::string_view text, size_t place);

/// All lines of a log. A last line without an end counts as a line. Carriage returns at the ends go.
std::vector<BenchLine> read_bench_log(std::string_view text);

} // namespace perdure
