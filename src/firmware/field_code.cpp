#include "firmware/field_code.hpp"

#include <algorithm>
#include <bit>

#include <fmt/format.h>

#include "firmware/names.hpp"
#include "project/default_bytes.hpp"

namespace perdure {
namespace {

// Contents number n of a value are n times these, so that every byte of it differs.
constexpr uint64_t fill_step = 0x0103'0507'090B'0D0FULL;
constexpr uint64_t fill_step_32 = 0x0103'0507ULL;

bool is_signed(FieldType type) {
    return type == FieldType::i8 || type == FieldType::i16 || type == FieldType::i32 || type == FieldType::i64;
}

bool is_float(FieldType type) {
    return type == FieldType::f32 || type == FieldType::f64;
}

bool is_bytes(FieldType type) {
    return type == FieldType::bytes;
}

std::string c_type(const Field& field) {
    switch (field.type) {
    case FieldType::f32:
        return "float";
    case FieldType::f64:
        return "double";
    case FieldType::bytes:
        return "uint8_t";
    default:
        return fmt::format("{}int{}_t", is_signed(field.type) ? "" : "u", field.bytes * 8);
    }
}

std::string unsigned_type(const Field& field) {
    return fmt::format("uint{}_t", field.bytes * 8);
}

std::string at(uint32_t offset, std::string_view payload = "payload") {
    return offset == 0 ? std::string(payload) : fmt::format("{} + {}", payload, offset);
}

/// "16", "f32": which of the emitted put and get functions the field uses.
std::string width_name(const Field& field) {
    return is_float(field.type) ? fmt::format("_f{}", field.bytes * 8) : fmt::format("{}", field.bytes * 8);
}

uint64_t largest(const Field& field) {
    return field.bytes >= 8 ? UINT64_MAX : (uint64_t{1} << (field.bytes * 8)) - 1;
}

/// What a total holds before the first save.
uint64_t first_of(const Field& field) {
    return static_cast<uint64_t>(field.default_value.value_or(0));
}

uint64_t fill_add(size_t place) {
    return 0x11 * (place % 12 + 1);
}

} // namespace

std::string declaration(const Field& field) {
    return is_bytes(field.type) ? fmt::format("uint8_t {}[{}]", field.name, field.bytes)
                                : fmt::format("{} {}", c_type(field), field.name);
}

std::string field_comment(const Field& field) {
    std::vector<std::string> parts;
    if (!field.unit.empty()) { parts.push_back("in " + for_comment(field.unit)); }
    if (field.movement_max != 0) {
        parts.push_back(fmt::format("grows by at most {} between two saves", field.movement_max));
    }
    const std::string literal = default_literal(field);
    if (!literal.empty()) { parts.push_back("default " + fmt::format("{}", *field.default_value)); }
    return fmt::format("{}", fmt::join(parts, "; "));
}

std::string pack_statement(const Field& field, uint32_t offset, std::string_view payload) {
    if (is_bytes(field.type)) {
        return fmt::format("memcpy({}, from->{}, sizeof from->{});", at(offset, payload), field.name, field.name);
    }
    const std::string value =
        is_signed(field.type) ? fmt::format("({})from->{}", unsigned_type(field), field.name) : "from->" + field.name;
    if (field.bytes == 1) { return fmt::format("{}[{}] = {};", payload, offset, value); }
    return fmt::format("put{}({}, {});", width_name(field), at(offset, payload), value);
}

std::string unpack_statement(const Field& field, uint32_t offset, std::string_view payload) {
    if (is_bytes(field.type)) {
        return fmt::format("memcpy(to->{}, {}, sizeof to->{});", field.name, at(offset, payload), field.name);
    }
    const std::string value = field.bytes == 1 ? fmt::format("{}[{}]", payload, offset)
                                               : fmt::format("get{}({})", width_name(field), at(offset, payload));
    return is_signed(field.type) ? fmt::format("to->{} = ({}){};", field.name, c_type(field), value)
                                 : fmt::format("to->{} = {};", field.name, value);
}

std::string default_literal(const Field& field) {
    const std::vector<uint8_t> bytes = default_bytes(field);
    if (!field.default_value || std::all_of(bytes.begin(), bytes.end(), [](uint8_t b) { return b == 0; })) {
        return "";
    }
    const double value = *field.default_value;
    if (is_float(field.type)) {
        std::string text =
            field.type == FieldType::f32 ? fmt::format("{}", static_cast<float>(value)) : fmt::format("{}", value);
        if (text.find_first_of(".en") == std::string::npos) { text += ".0"; }
        return field.type == FieldType::f32 ? text + "f" : text;
    }
    if (is_signed(field.type)) {
        const auto whole = static_cast<int64_t>(value);
        if (whole == INT32_MIN) { return "(-2147483647l - 1)"; }
        return fmt::format("{}{}", whole, field.bytes == 8 ? "ll" : field.bytes == 4 ? "l" : "");
    }
    return fmt::format("{}{}", static_cast<uint64_t>(value), field.bytes == 8 ? "ull" : field.bytes == 4 ? "ul" : "u");
}

std::string fill_statement(const Field& field, size_t place) {
    const uint64_t add = fill_add(place);
    if (field.movement_max != 0) {
        const uint64_t first = first_of(field);
        return fmt::format("to->{} = ({})({}grown(n, {}ull, {}ull));", field.name, c_type(field),
                           first == 0 ? "" : fmt::format("{}ull + ", first), field.movement_max,
                           largest(field) - first);
    }
    if (is_bytes(field.type)) {
        return fmt::format("memset(to->{}, (int)((n + {}u) & 0xFFu), sizeof to->{});", field.name, add, field.name);
    }
    if (is_float(field.type)) {
        return fmt::format("to->{} = ({})n * 0.5{} + {}.0{};", field.name, c_type(field), field.bytes == 4 ? "f" : "",
                           add, field.bytes == 4 ? "f" : "");
    }
    const std::string number = field.bytes == 8 ? fmt::format("(uint64_t)n * {:#x}ull + {}u", fill_step, add)
                                                : fmt::format("n * {:#x}ul + {}u", fill_step_32, add);
    return is_signed(field.type)
               ? fmt::format("to->{} = ({})({})({});", field.name, c_type(field), unsigned_type(field), number)
               : fmt::format("to->{} = ({})({});", field.name, c_type(field), number);
}

std::vector<uint8_t> filled_bytes(const Field& field, size_t place) {
    const uint64_t add = fill_add(place);
    if (is_bytes(field.type)) { return std::vector<uint8_t>(field.bytes, static_cast<uint8_t>(1 + add)); }
    uint64_t bits = (field.bytes == 8 ? fill_step : fill_step_32) + add;
    if (field.movement_max != 0) {
        bits = first_of(field) + std::min(field.movement_max, largest(field) - first_of(field));
    }
    const double half = 0.5 + static_cast<double>(add);
    if (field.type == FieldType::f32) { bits = std::bit_cast<uint32_t>(static_cast<float>(half)); }
    if (field.type == FieldType::f64) { bits = std::bit_cast<uint64_t>(half); }
    std::vector<uint8_t> out;
    for (uint32_t i = 0; i < field.bytes; ++i) { out.push_back(static_cast<uint8_t>(bits >> (8 * i))); }
    return out;
}

std::string same_expression(const Field& field) {
    return is_bytes(field.type)
               ? fmt::format("memcmp(a->{}, b->{}, sizeof a->{}) == 0", field.name, field.name, field.name)
               : fmt::format("a->{} == b->{}", field.name, field.name);
}

std::vector<std::string> byte_lines(const std::vector<uint8_t>& bytes) {
    std::vector<std::string> out;
    for (size_t i = 0; i < bytes.size(); ++i) {
        if (i % 12 == 0) { out.emplace_back(); }
        out.back() += fmt::format("{}0x{:02X},", i % 12 == 0 ? "" : " ", bytes[i]);
    }
    return out;
}

} // namespace perdure
