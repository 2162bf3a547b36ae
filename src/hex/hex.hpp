// Memory contents as files: Intel HEX, Motorola S-records, and plain binary. The text formats are read and written as
// their makers describe them (Intel, Hexadecimal Object File Format Specification, Rev. A, 1988; Motorola, M68000
// Family Programmer's Reference Manual, appendix C; both from memory: tests/outside holds them against worked
// examples).
#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

namespace perdure {

/// Bytes that stand one after the other from an address on.
struct Segment {
    uint64_t address = 0;
    std::vector<uint8_t> bytes;
    [[nodiscard]] uint64_t end() const { return address + bytes.size(); }
};

/// What is known of a memory, with gaps where nothing is.
struct Memory {
    std::vector<Segment> segments;                ///< ascending, none touching the next
    std::optional<uint32_t> start_address;        ///< where execution starts (type 05 of Intel HEX; S7, S8, S9)
    std::optional<uint32_t> start_segment_offset; ///< the same as CS:IP (type 03), CS in the upper half
    std::string header;                           ///< S0: its bytes
    [[nodiscard]] uint64_t byte_count() const;
};

/// Something wrong in a line of a file. Lines and columns count from 1.
struct HexError {
    uint32_t line = 0;
    uint32_t column = 0;
    uint32_t length = 1; ///< characters that it is about
    std::string message;
    std::string expected;    ///< what would be right
    uint32_t other_line = 0; ///< an earlier line that it is about too; 0: none
};

/// What could be read. Every line that is in order is in `memory`, whatever the others hold.
struct HexRead {
    Memory memory;
    std::vector<HexError> errors; ///< by line; of more than errors_kept only the first
    size_t error_count = 0;
    static constexpr size_t errors_kept = 20;
};

/// Any text is safe to pass in. A file whose last record does not say that it ends is an error, too; S5 or S6 with the
/// right count is taken for an end.
HexRead read_intel_hex(std::string_view text);
HexRead read_s_records(std::string_view text);

/// Intel HEX with linear addresses, `data_bytes` (1 to 255) a line. Every address is below 2^32.
std::string write_intel_hex(const Memory& memory, uint32_t data_bytes = 16);

/// S1, S2 or S3 for all, the shortest that holds the last address; `data_bytes` 1 to 250 a line. Begins with S0 and
/// counts the records before the end. Every address is below 2^32.
std::string write_s_records(const Memory& memory, uint32_t data_bytes = 16);

/// The bytes from the first to the last, gaps filled with `fill`. Empty if they span more than `bytes_max`.
std::vector<uint8_t> write_binary(const Memory& memory, uint8_t fill, uint64_t bytes_max = 1U << 28U);

/// Adds `other` to `memory`, start addresses and header where there are none yet. Where both hold a byte nothing is
/// changed and the first such stretch is returned.
struct Overlap {
    uint64_t from = 0, to = 0; ///< `to` is its last byte
};
std::optional<Overlap> merge(Memory& memory, const Memory& other);

/// Copies what is known of [address, address + to.size()) to `to`; `known` (as long) becomes 1 where it is. Gives how
/// many bytes are known. Others are left as they were.
uint64_t copy_known(const Memory& memory, uint64_t address, std::span<uint8_t> to, std::span<uint8_t> known);

enum class HexFormat : uint8_t { intel_hex, s_records, binary };

/// By what a name ends in: .hex .ihex .ihx, .s19 .s28 .s37 .srec .mot, .bin; absent for others.
std::optional<HexFormat> format_of_name(std::string_view name);
/// "hex", "srec" or "bin".
std::optional<HexFormat> format_of_word(std::string_view word);
/// By the first line that is not empty.
HexFormat format_of_contents(std::string_view contents);
/// "Intel HEX", "S-records", "binary".
std::string_view name_of(HexFormat format);

} // namespace perdure
