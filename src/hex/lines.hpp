// What the readers of both text formats share: lines, hexadecimal digits, and pieces that become a memory.
#pragma once

#include <span>
#include <string_view>

#include "hex/hex.hpp"

namespace perdure {

/// Bytes of one line, before it is known what else stands at their addresses.
struct HexPiece {
    uint64_t address = 0;
    std::vector<uint8_t> bytes;
    uint32_t line = 0;
};

/// Collects what a reader finds.
struct HexCollector {
    HexRead read;
    std::vector<HexPiece> pieces;
    uint32_t line = 0;

    void complain(uint32_t column, uint32_t length, std::string message, std::string expected, uint32_t other_line = 0);
    /// Orders the pieces and joins them; where two hold the same byte the later line is an error, and the one at the
    /// lower address is kept.
    HexRead finish();
};

/// The bytes that the digits from `column` (of `text`, from 1) to the line's end stand for; absent, and complained of,
/// if one is no digit or their number is odd.
std::optional<std::vector<uint8_t>> digits_of(HexCollector& to, std::string_view text, uint32_t column);

/// Takes the next line from `rest`, without its end and blanks before that.
std::string_view take_line(std::string_view& rest);

/// Hands each line to reader.take; complains where the file ends and reader.complete() does not hold. `last` is what
/// would end it.
template <class Reader> HexRead read_lines(Reader reader, std::string_view text, std::string last) {
    std::string_view line;
    while (!text.empty()) {
        line = take_line(text);
        reader.to.line++;
        reader.take(line);
    }
    if (!reader.complete()) {
        reader.to.complain(static_cast<uint32_t>(line.size() + 1), 1,
                           "the file ends without a record that says so: it may be cut short", std::move(last));
    }
    return reader.to.finish();
}

/// `bytes` as hexadecimal digits behind `text`.
void put_hex(std::string& text, std::span<const uint8_t> bytes);

} // namespace perdure
