// Intel HEX: ":" length, address, type, data, and a byte that makes the sum of all bytes 0 modulo 256.
#include <algorithm>
#include <array>
#include <numeric>

#include <fmt/format.h>

#include "hex/lines.hpp"

namespace perdure {
namespace {

constexpr uint8_t type_data = 0, type_end = 1, type_segment = 2, type_start_segment = 3, type_linear = 4,
                  type_start_linear = 5;

struct Reader {
    HexCollector to;
    uint64_t base = 0;
    bool segmented = false; ///< addresses wrap within 64 KiB of the segment, else at 4 GiB
    bool ended = false;

    [[nodiscard]] bool complete() const { return ended; }

    void take_data(uint32_t offset, std::span<const uint8_t> data) {
        const uint64_t wrap = segmented ? 0x10000 : uint64_t{1} << 32U;
        const uint64_t at = segmented ? offset : base + offset;
        const size_t first = static_cast<size_t>(std::min<uint64_t>(data.size(), wrap - std::min(at, wrap)));
        const uint64_t from = segmented ? base : 0;
        to.pieces.push_back({from + at, {data.begin(), data.begin() + static_cast<std::ptrdiff_t>(first)}, to.line});
        if (first < data.size()) {
            to.pieces.push_back({from, {data.begin() + static_cast<std::ptrdiff_t>(first), data.end()}, to.line});
        }
    }

    /// False if the record's type is not known or its length is not the type's.
    bool check_type(uint8_t type, size_t length) {
        constexpr std::array<size_t, 6> lengths{0, 0, 2, 4, 2, 4};
        if (type > type_start_linear) {
            to.complain(8, 2, fmt::format("record type {:02X} is not known", type), "00 to 05");
            return false;
        }
        if (type != type_data && length != lengths[type]) {
            to.complain(2, 2, fmt::format("a record of type {:02X} holds {} bytes", type, length),
                        fmt::format("{:02X}", lengths[type]));
            return false;
        }
        return true;
    }

    void take(std::string_view text) {
        if (text.empty()) { return; }
        if (ended) {
            to.complain(1, 1, "this line follows the record that ends the file", "nothing behind a record of type 01");
            return;
        }
        if (text.front() != ':') {
            to.complain(1, 1, "this line does not begin with a colon", "':' and hexadecimal digits");
            return;
        }
        const auto bytes = digits_of(to, text, 2);
        if (!bytes) { return; }
        const size_t length = bytes->empty() ? 0 : bytes->front();
        const size_t wanted = length + 5;
        if (bytes->size() < wanted) {
            to.complain(static_cast<uint32_t>(text.size() + 1), 1,
                        fmt::format("the line ends after {} of {} bytes", bytes->size(), wanted),
                        fmt::format("{} digits more", 2 * (wanted - bytes->size())));
            return;
        }
        if (bytes->size() > wanted) {
            to.complain(static_cast<uint32_t>(2 * wanted + 2), static_cast<uint32_t>(2 * (bytes->size() - wanted)),
                        fmt::format("the line goes on behind its checksum: its length says {} bytes of data", length),
                        "the line's end");
            return;
        }
        const unsigned sum = std::accumulate(bytes->begin(), bytes->end() - 1, 0U);
        const auto right = static_cast<uint8_t>(0U - sum);
        if (bytes->back() != right) {
            to.complain(static_cast<uint32_t>(text.size() - 1), 2,
                        fmt::format("the checksum {:02X} is wrong", bytes->back()), fmt::format("{:02X}", right));
            return;
        }
        const std::span<const uint8_t> data(bytes->data() + 4, length);
        const uint8_t type = (*bytes)[3];
        if (!check_type(type, length)) { return; }
        uint32_t number = 0; // of the other types, the upper byte first
        if (type != type_data) {
            number = std::accumulate(data.begin(), data.end(), 0U, [](uint32_t n, uint8_t b) { return n << 8U | b; });
        }
        switch (type) {
        case type_data:
            take_data(static_cast<uint32_t>((*bytes)[1] << 8U | (*bytes)[2]), data);
            break;
        case type_end:
            ended = true;
            break;
        case type_start_segment:
            to.read.memory.start_segment_offset = number;
            break;
        case type_start_linear:
            to.read.memory.start_address = number;
            break;
        default:
            segmented = type == type_segment;
            base = uint64_t{number} << (segmented ? 4U : 16U);
        }
    }
};

void put_record(std::string& text, uint8_t type, uint32_t address, std::span<const uint8_t> data) {
    const std::array<uint8_t, 4> head{static_cast<uint8_t>(data.size()), static_cast<uint8_t>(address >> 8U),
                                      static_cast<uint8_t>(address), type};
    const unsigned sum = std::accumulate(data.begin(), data.end(), std::accumulate(head.begin(), head.end(), 0U));
    const std::array<uint8_t, 1> check{static_cast<uint8_t>(0U - sum)};
    text += ':';
    put_hex(text, head);
    put_hex(text, data);
    put_hex(text, check);
    text += '\n';
}

std::array<uint8_t, 4> upper_first(uint32_t number) {
    return {static_cast<uint8_t>(number >> 24U), static_cast<uint8_t>(number >> 16U),
            static_cast<uint8_t>(number >> 8U), static_cast<uint8_t>(number)};
}

} // namespace

HexRead read_intel_hex(std::string_view text) {
    return read_lines(Reader{}, text, ":00000001FF");
}

std::string write_intel_hex(const Memory& memory, uint32_t data_bytes) {
    std::string text;
    uint32_t upper = 0;
    for (const Segment& segment : memory.segments) {
        for (size_t at = 0; at < segment.bytes.size();) {
            const auto address = static_cast<uint32_t>(segment.address + at);
            if (address >> 16U != upper) {
                upper = address >> 16U;
                const std::array<uint8_t, 4> number = upper_first(upper);
                put_record(text, type_linear, 0, std::span(number).last(2));
            }
            const size_t count =
                std::min<size_t>({data_bytes, segment.bytes.size() - at, 0x10000U - (address & 0xFFFFU)});
            put_record(text, type_data, address, std::span(segment.bytes).subspan(at, count));
            at += count;
        }
    }
    if (memory.start_segment_offset) {
        put_record(text, type_start_segment, 0, upper_first(*memory.start_segment_offset));
    }
    if (memory.start_address) { put_record(text, type_start_linear, 0, upper_first(*memory.start_address)); }
    put_record(text, type_end, 0, {});
    return text;
}

} // namespace perdure
