#include "hex/lines.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace perdure {
namespace {

int digit_of(char c) {
    if (c >= '0' && c <= '9') { return c - '0'; }
    if (c >= 'A' && c <= 'F') { return c - 'A' + 10; }
    if (c >= 'a' && c <= 'f') { return c - 'a' + 10; }
    return -1;
}

} // namespace

void HexCollector::complain(uint32_t column, uint32_t length, std::string message, std::string expected,
                            uint32_t other_line) {
    read.error_count++;
    if (read.errors.size() < HexRead::errors_kept) {
        read.errors.push_back({line, column, length, std::move(message), std::move(expected), other_line});
    }
}

HexRead HexCollector::finish() {
    std::stable_sort(pieces.begin(), pieces.end(),
                     [](const HexPiece& a, const HexPiece& b) { return a.address < b.address; });
    std::vector<Segment>& segments = read.memory.segments;
    uint32_t last_line = 0;
    for (HexPiece& piece : pieces) {
        if (piece.bytes.empty()) { continue; }
        uint64_t from = piece.address;
        if (!segments.empty() && from < segments.back().end()) {
            line = std::max(piece.line, last_line);
            complain(1, 1, fmt::format("the byte at 0x{:08X} is given a second time", from),
                     "each address once, in one line", std::min(piece.line, last_line));
            from = std::min(segments.back().end(), piece.address + piece.bytes.size());
        }
        const auto begin = piece.bytes.begin() + static_cast<std::ptrdiff_t>(from - piece.address);
        if (begin == piece.bytes.end()) { continue; }
        last_line = piece.line;
        if (!segments.empty() && from == segments.back().end()) {
            segments.back().bytes.insert(segments.back().bytes.end(), begin, piece.bytes.end());
        } else {
            segments.push_back({from, {begin, piece.bytes.end()}});
        }
    }
    std::stable_sort(read.errors.begin(), read.errors.end(),
                     [](const HexError& a, const HexError& b) { return a.line < b.line; });
    return std::move(read);
}

std::optional<std::vector<uint8_t>> digits_of(HexCollector& to, std::string_view text, uint32_t column) {
    std::vector<uint8_t> bytes;
    bytes.reserve(text.size() / 2);
    for (size_t at = column - 1; at < text.size(); at += 2) {
        for (size_t i = at; i < std::min(at + 2, text.size()); i++) {
            if (digit_of(text[i]) < 0) {
                to.complain(static_cast<uint32_t>(i + 1), 1, "this is no hexadecimal digit", "0 to 9 or A to F");
                return std::nullopt;
            }
        }
        if (at + 1 == text.size()) {
            to.complain(static_cast<uint32_t>(at + 1), 1, "the last byte has one digit", "two digits a byte");
            return std::nullopt;
        }
        bytes.push_back(static_cast<uint8_t>(digit_of(text[at]) << 4 | digit_of(text[at + 1])));
    }
    return bytes;
}

std::string_view take_line(std::string_view& rest) {
    const size_t end = rest.find('\n');
    std::string_view line = rest.substr(0, end);
    rest.remove_prefix(end == std::string_view::npos ? rest.size() : end + 1);
    while (!line.empty() && (line.back() == '\r' || line.back() == ' ' || line.back() == '\t')) {
        line.remove_suffix(1);
    }
    return line;
}

void put_hex(std::string& text, std::span<const uint8_t> bytes) {
    constexpr std::string_view digits = "0123456789ABCDEF";
    for (const uint8_t byte : bytes) {
        text += digits[byte >> 4U];
        text += digits[byte & 0xFU];
    }
}

} // namespace perdure
