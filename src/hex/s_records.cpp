// Motorola S-records: "S" type, count of the bytes that follow, address, data, and the ones' complement of the sum of
// all bytes from the count on.
#include <algorithm>
#include <array>
#include <numeric>

#include <fmt/format.h>

#include "hex/lines.hpp"

namespace perdure {
namespace {

/// Bytes of the address of S0 to S9; S4 is reserved.
constexpr std::array<size_t, 10> address_bytes{2, 2, 3, 4, 0, 2, 3, 4, 3, 2};

uint8_t checksum(unsigned sum) {
    return static_cast<uint8_t>(~sum);
}

struct Reader {
    HexCollector to;
    uint32_t data_records = 0;
    bool ended = false;
    bool counted = false; ///< the last record counts all of them: some writers put nothing behind it

    [[nodiscard]] bool complete() const { return ended || counted; }

    void take(std::string_view text) {
        if (text.empty()) { return; }
        if (ended) {
            to.complain(1, 1, "this line follows the record that ends the file", "nothing behind S7, S8 or S9");
            return;
        }
        const unsigned type = text.size() < 2 ? 10U : static_cast<unsigned>(text[1] - '0');
        if (text.front() != 'S' || type > 9) {
            to.complain(text.front() == 'S' ? 2 : 1, 1, "this line does not begin as an S-record", "S0 to S9");
            return;
        }
        if (type == 4) {
            to.complain(1, 2, "S4 is reserved", "S0 to S3 or S5 to S9");
            return;
        }
        const auto bytes = digits_of(to, text, 3);
        if (!bytes) { return; }
        const size_t count = bytes->empty() ? 0 : bytes->front();
        const size_t least = address_bytes[type] + 1;
        if (!bytes->empty() && count < least) {
            to.complain(3, 2, fmt::format("the count {:02X} is too small for S{}", count, type),
                        fmt::format("{:02X} or more", least));
            return;
        }
        if (bytes->size() < count + 1 || bytes->empty()) {
            to.complain(static_cast<uint32_t>(text.size() + 1), 1,
                        fmt::format("the line ends after {} of {} bytes", bytes->size(), count + 1),
                        fmt::format("{} digits more", 2 * (std::max(count, least) + 1 - bytes->size())));
            return;
        }
        if (bytes->size() > count + 1) {
            to.complain(static_cast<uint32_t>(2 * count + 5), static_cast<uint32_t>(2 * (bytes->size() - count - 1)),
                        fmt::format("the line goes on behind its checksum: its count says {} bytes", count),
                        "the line's end");
            return;
        }
        const uint8_t right = checksum(std::accumulate(bytes->begin(), bytes->end() - 1, 0U));
        if (bytes->back() != right) {
            to.complain(static_cast<uint32_t>(text.size() - 1), 2,
                        fmt::format("the checksum {:02X} is wrong", bytes->back()), fmt::format("{:02X}", right));
            return;
        }
        take_record(type, std::span(*bytes).subspan(1, count - 1));
    }

    void take_record(unsigned type, std::span<const uint8_t> bytes) {
        const size_t width = address_bytes[type];
        const auto address = std::accumulate(bytes.begin(), bytes.begin() + static_cast<std::ptrdiff_t>(width), 0U,
                                             [](uint32_t n, uint8_t b) { return n << 8U | b; });
        const std::span<const uint8_t> data = bytes.subspan(width);
        if (type >= 5 && !data.empty()) {
            to.complain(3, 2, fmt::format("S{} holds no data", type), fmt::format("{:02X}", width + 1));
        } else if (type == 0) {
            to.read.memory.header.assign(data.begin(), data.end());
        } else if (type <= 3) {
            data_records++;
            counted = false;
            const size_t first = static_cast<size_t>(std::min<uint64_t>(data.size(), (uint64_t{1} << 32U) - address));
            if (first < data.size()) {
                to.complain(5, 2 * static_cast<uint32_t>(width), "the data go on beyond 0xFFFFFFFF",
                            "addresses of 32 bits");
            }
            to.pieces.push_back({address, {data.begin(), data.begin() + static_cast<std::ptrdiff_t>(first)}, to.line});
        } else if (type <= 6) {
            const uint32_t records = type == 5 ? data_records & 0xFFFFU : data_records & 0xFFFFFFU;
            counted = address == records;
            if (!counted) {
                to.complain(5, 2 * static_cast<uint32_t>(width),
                            fmt::format("S{} counts {} data records, {} were read", type, address, records),
                            "the number of S1, S2 and S3 lines: one may be missing");
            }
        } else {
            ended = true;
            to.read.memory.start_address = address;
        }
    }
};

void put_record(std::string& text, unsigned type, uint32_t address, std::span<const uint8_t> data) {
    const size_t width = address_bytes[type];
    std::vector<uint8_t> bytes{static_cast<uint8_t>(width + data.size() + 1)};
    for (size_t i = width; i-- > 0;) { bytes.push_back(static_cast<uint8_t>(address >> (8 * i))); }
    bytes.insert(bytes.end(), data.begin(), data.end());
    bytes.push_back(checksum(std::accumulate(bytes.begin(), bytes.end(), 0U)));
    text += 'S';
    text += static_cast<char>('0' + type);
    put_hex(text, bytes);
    text += '\n';
}

} // namespace

HexRead read_s_records(std::string_view text) {
    return read_lines(Reader{}, text, "S9, S8 or S7");
}

std::string write_s_records(const Memory& memory, uint32_t data_bytes) {
    const uint64_t last = std::max<uint64_t>(memory.segments.empty() ? 0 : memory.segments.back().end() - 1,
                                             memory.start_address.value_or(0));
    const unsigned type = last <= 0xFFFF ? 1 : last <= 0xFFFFFF ? 2 : 3;
    std::string text;
    const std::span header(reinterpret_cast<const uint8_t*>(memory.header.data()), memory.header.size());
    put_record(text, 0, 0, header.first(std::min<size_t>(header.size(), 250)));
    uint32_t records = 0;
    for (const Segment& segment : memory.segments) {
        for (size_t at = 0; at < segment.bytes.size(); records++) {
            const size_t count = std::min<size_t>(data_bytes, segment.bytes.size() - at);
            put_record(text, type, static_cast<uint32_t>(segment.address + at),
                       std::span(segment.bytes).subspan(at, count));
            at += count;
        }
    }
    if (records <= 0xFFFFFF) { put_record(text, records <= 0xFFFF ? 5 : 6, records, {}); }
    put_record(text, 10 - type, memory.start_address.value_or(0), {});
    return text;
}

} // namespace perdure
