// Memories: how they are put together, and how their files are told apart.
#include <algorithm>
#include <array>
#include <cctype>

#include "hex/hex.hpp"

namespace perdure {

uint64_t Memory::byte_count() const {
    uint64_t count = 0;
    for (const Segment& segment : segments) { count += segment.bytes.size(); }
    return count;
}

std::vector<uint8_t> write_binary(const Memory& memory, uint8_t fill, uint64_t bytes_max) {
    if (memory.segments.empty()) { return {}; }
    const uint64_t begin = memory.segments.front().address;
    const uint64_t bytes = memory.segments.back().end() - begin;
    if (bytes > bytes_max) { return {}; }
    std::vector<uint8_t> out(bytes, fill);
    for (const Segment& segment : memory.segments) {
        std::copy(segment.bytes.begin(), segment.bytes.end(),
                  out.begin() + static_cast<std::ptrdiff_t>(segment.address - begin));
    }
    return out;
}

std::optional<Overlap> merge(Memory& memory, const Memory& other) {
    std::vector<Segment> all = memory.segments;
    all.insert(all.end(), other.segments.begin(), other.segments.end());
    std::stable_sort(all.begin(), all.end(), [](const Segment& a, const Segment& b) { return a.address < b.address; });
    std::vector<Segment> joined;
    for (Segment& segment : all) {
        if (!joined.empty() && segment.address < joined.back().end()) {
            return Overlap{segment.address, std::min(segment.end(), joined.back().end()) - 1};
        }
        if (!joined.empty() && segment.address == joined.back().end()) {
            joined.back().bytes.insert(joined.back().bytes.end(), segment.bytes.begin(), segment.bytes.end());
        } else {
            joined.push_back(std::move(segment));
        }
    }
    memory.segments = std::move(joined);
    if (!memory.start_address) { memory.start_address = other.start_address; }
    if (!memory.start_segment_offset) { memory.start_segment_offset = other.start_segment_offset; }
    if (memory.header.empty()) { memory.header = other.header; }
    return std::nullopt;
}

uint64_t copy_known(const Memory& memory, uint64_t address, std::span<uint8_t> to, std::span<uint8_t> known) {
    uint64_t count = 0;
    for (const Segment& segment : memory.segments) {
        const uint64_t from = std::max(segment.address, address);
        const uint64_t end = std::min(segment.end(), address + to.size());
        if (from >= end) { continue; }
        const auto bytes = std::span(segment.bytes).subspan(from - segment.address, end - from);
        std::ranges::copy(bytes, to.subspan(from - address).begin());
        std::ranges::fill(known.subspan(from - address, end - from), uint8_t{1});
        count += end - from;
    }
    return count;
}

std::optional<HexFormat> format_of_name(std::string_view name) {
    constexpr std::array intel{".hex", ".ihex", ".ihx"};
    constexpr std::array motorola{".s19", ".s28", ".s37", ".srec", ".mot"};
    std::string lower(name);
    std::ranges::transform(lower, lower.begin(), [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    const auto ends = [&](const char* with) { return lower.ends_with(with); };
    if (std::ranges::any_of(intel, ends)) { return HexFormat::intel_hex; }
    if (std::ranges::any_of(motorola, ends)) { return HexFormat::s_records; }
    if (ends(".bin")) { return HexFormat::binary; }
    return std::nullopt;
}

std::optional<HexFormat> format_of_word(std::string_view word) {
    if (word == "hex") { return HexFormat::intel_hex; }
    if (word == "srec") { return HexFormat::s_records; }
    if (word == "bin") { return HexFormat::binary; }
    return std::nullopt;
}

HexFormat format_of_contents(std::string_view contents) {
    const size_t first = contents.find_first_not_of(" \t\r\n");
    if (first == std::string_view::npos) { return HexFormat::binary; }
    const std::string_view line = contents.substr(first, contents.substr(first, 600).find_first_of("\r\n"));
    const auto digits = [&](size_t from, size_t to) {
        for (size_t i = from; i < to; i++) {
            if (i >= line.size() || std::isxdigit(static_cast<unsigned char>(line[i])) == 0) { return false; }
        }
        return true;
    };
    if (line.front() == ':' && digits(1, 9)) { return HexFormat::intel_hex; }
    if (line.front() == 'S' && line.size() > 1 && line[1] >= '0' && line[1] <= '9' && digits(2, 8)) {
        return HexFormat::s_records;
    }
    return HexFormat::binary;
}

std::string_view name_of(HexFormat format) {
    switch (format) {
    case HexFormat::intel_hex:
        return "Intel HEX";
    case HexFormat::s_records:
        return "S-records";
    default:
        return "binary";
    }
}

} // namespace perdure
