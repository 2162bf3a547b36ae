#include "project/field_value.hpp"

#include <algorithm>
#include <bit>
#include <charconv>
#include <cmath>

#include <fmt/format.h>

namespace perdure {
namespace {

bool is_signed(FieldType type) {
    return type == FieldType::i8 || type == FieldType::i16 || type == FieldType::i32 || type == FieldType::i64;
}

uint64_t number_of(std::span<const uint8_t> bytes) {
    uint64_t value = 0;
    for (size_t i = bytes.size(); i-- > 0;) { value = value << 8U | bytes[i]; }
    return value;
}

template <class T> bool whole(std::string_view text, T& value) {
    int base = 10;
    if (text.starts_with("0x") || text.starts_with("0X")) {
        text.remove_prefix(2);
        base = 16;
    }
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value, base);
    return error == std::errc{} && end == text.data() + text.size();
}

tl::expected<FieldValue, std::string> parse_whole(const Field& field, std::string_view text) {
    const uint32_t bits = field.bytes * 8;
    if (is_signed(field.type)) {
        const int64_t most = bits == 64 ? INT64_MAX : (int64_t{1} << (bits - 1)) - 1;
        int64_t value = 0;
        if (whole(text, value) && value <= most && value >= -most - 1) { return FieldValue(value); }
        return tl::unexpected(fmt::format("a whole number from {} to {}", -most - 1, most));
    }
    const uint64_t most = bits == 64 ? UINT64_MAX : (uint64_t{1} << bits) - 1;
    uint64_t value = 0;
    if (whole(text, value) && value <= most) { return FieldValue(value); }
    return tl::unexpected(fmt::format("a whole number from 0 to {}", most));
}

template <class T> tl::expected<FieldValue, std::string> parse_float(std::string_view text) {
    T value = 0;
    const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (error == std::errc{} && end == text.data() + text.size() && std::isfinite(value)) { return FieldValue(value); }
    return tl::unexpected(fmt::format("a number such as 20.5 that {} bytes hold", sizeof(T)));
}

tl::expected<FieldValue, std::string> parse_bytes(const Field& field, std::string_view text) {
    constexpr std::string_view prefix = "hex:";
    std::vector<uint8_t> out;
    if (!text.starts_with(prefix)) {
        if (text.size() > field.bytes) {
            return tl::unexpected(fmt::format("a text of at most {} bytes, this has {}", field.bytes, text.size()));
        }
        out.assign(text.begin(), text.end());
        out.resize(field.bytes);
        return FieldValue(std::move(out));
    }
    text.remove_prefix(prefix.size());
    const std::string said = fmt::format("\"hex:\" and {} digits", size_t{2} * field.bytes);
    if (text.size() != size_t{2} * field.bytes) { return tl::unexpected(said); }
    for (size_t i = 0; i < text.size(); i += 2) {
        uint8_t byte = 0;
        const auto [end, error] = std::from_chars(text.data() + i, text.data() + i + 2, byte, 16);
        if (error != std::errc{} || end != text.data() + i + 2) { return tl::unexpected(said); }
        out.push_back(byte);
    }
    return FieldValue(std::move(out));
}

} // namespace

FieldValue value_of(const Field& field, std::span<const uint8_t> bytes) {
    if (field.type == FieldType::bytes || bytes.size() > 8) { return std::vector<uint8_t>(bytes.begin(), bytes.end()); }
    const uint64_t value = number_of(bytes);
    if (field.type == FieldType::f32) { return std::bit_cast<float>(static_cast<uint32_t>(value)); }
    if (field.type == FieldType::f64) { return std::bit_cast<double>(value); }
    if (!is_signed(field.type) || bytes.empty()) { return value; }
    const auto shift = static_cast<unsigned>(64 - 8 * bytes.size());
    return static_cast<int64_t>(value << shift) >> shift;
}

FieldValue default_of(const Field& field) {
    const double value = field.default_value.value_or(0);
    if (field.type == FieldType::bytes) { return std::vector<uint8_t>(field.bytes, 0); }
    if (field.type == FieldType::f32) { return static_cast<float>(value); }
    if (field.type == FieldType::f64) { return value; }
    if (is_signed(field.type)) { return static_cast<int64_t>(value); }
    return static_cast<uint64_t>(value);
}

std::string show_value(const FieldValue& value) {
    const auto* bytes = std::get_if<std::vector<uint8_t>>(&value);
    if (bytes == nullptr) {
        return std::visit(
            [](const auto& number) {
                if constexpr (std::is_arithmetic_v<std::decay_t<decltype(number)>>) {
                    return fmt::format("{}", number);
                }
                return std::string();
            },
            value);
    }
    auto end = bytes->end();
    while (end != bytes->begin() && *(end - 1) == 0) { --end; }
    const auto printable = [](uint8_t byte) { return byte >= 0x20 && byte < 0x7F && byte != '"'; };
    if (std::all_of(bytes->begin(), end, printable)) { return "\"" + std::string(bytes->begin(), end) + "\""; }
    std::string out = "hex:";
    for (const uint8_t byte : *bytes) { out += fmt::format("{:02X}", byte); }
    return out;
}

std::vector<uint8_t> bytes_of(const Field& field, const FieldValue& value) {
    if (const auto* bytes = std::get_if<std::vector<uint8_t>>(&value)) { return *bytes; }
    uint64_t bits = 0;
    if (const auto* u = std::get_if<uint64_t>(&value)) { bits = *u; }
    if (const auto* i = std::get_if<int64_t>(&value)) { bits = static_cast<uint64_t>(*i); }
    if (const auto* f = std::get_if<float>(&value)) { bits = std::bit_cast<uint32_t>(*f); }
    if (const auto* d = std::get_if<double>(&value)) { bits = std::bit_cast<uint64_t>(*d); }
    std::vector<uint8_t> out(field.bytes);
    for (uint8_t& byte : out) {
        byte = static_cast<uint8_t>(bits);
        bits >>= 8U;
    }
    return out;
}

tl::expected<FieldValue, std::string> parse_value(const Field& field, std::string_view text) {
    switch (field.type) {
    case FieldType::bytes:
        return parse_bytes(field, text);
    case FieldType::f32:
        return parse_float<float>(text);
    case FieldType::f64:
        return parse_float<double>(text);
    default:
        return parse_whole(field, text);
    }
}

} // namespace perdure
