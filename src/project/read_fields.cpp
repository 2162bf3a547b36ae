#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "project/read_sections.hpp"

namespace perdure {
namespace {

constexpr uint32_t field_bytes_max = 4096;

struct TypeWord {
    std::string_view word;
    FieldType type;
    uint32_t bytes;
    bool is_signed;
};

constexpr std::array type_words{
    TypeWord{"u8", FieldType::u8, 1, false},   TypeWord{"u16", FieldType::u16, 2, false},
    TypeWord{"u32", FieldType::u32, 4, false}, TypeWord{"u64", FieldType::u64, 8, false},
    TypeWord{"i8", FieldType::i8, 1, true},    TypeWord{"i16", FieldType::i16, 2, true},
    TypeWord{"i32", FieldType::i32, 4, true},  TypeWord{"i64", FieldType::i64, 8, true},
    TypeWord{"f32", FieldType::f32, 4, true},  TypeWord{"f64", FieldType::f64, 8, true},
};

struct OtherSpelling {
    std::string_view written, meant;
};

constexpr std::array other_spellings{
    OtherSpelling{"uint8_t", "u8"},   OtherSpelling{"uint16_t", "u16"},    OtherSpelling{"uint32_t", "u32"},
    OtherSpelling{"uint64_t", "u64"}, OtherSpelling{"int8_t", "i8"},       OtherSpelling{"int16_t", "i16"},
    OtherSpelling{"int32_t", "i32"},  OtherSpelling{"int64_t", "i64"},     OtherSpelling{"uint8", "u8"},
    OtherSpelling{"uint16", "u16"},   OtherSpelling{"uint32", "u32"},      OtherSpelling{"uint64", "u64"},
    OtherSpelling{"int", "i32"},      OtherSpelling{"float", "f32"},       OtherSpelling{"double", "f64"},
    OtherSpelling{"bool", "u8"},      OtherSpelling{"string", "bytes:16"}, OtherSpelling{"bytes", "bytes:16"},
};

const TypeWord* find_type(std::string_view word) {
    for (const TypeWord& type : type_words) {
        if (type.word == word) { return &type; }
    }
    return nullptr;
}

std::string meant_type(std::string_view word) {
    for (const OtherSpelling& other : other_spellings) {
        if (other.written == word) { return std::string(other.meant); }
    }
    std::vector<std::string> words;
    for (const TypeWord& type : type_words) { words.emplace_back(type.word); }
    return nearest(word, words);
}

/// Sets type and size of the field; false after an error.
bool read_type(const Section& section, Field& field) {
    constexpr std::string_view expected = "u8, u16, u32, u64, i8, i16, i32, i64, f32, f64 or bytes:N";
    if (!section.table.contains("type")) {
        complain_missing(section, "type", "type = \"u32\"");
        return false;
    }
    const auto word = get_text(section, "type", expected);
    if (!word) { return false; }
    if (const TypeWord* type = find_type(*word)) {
        field.type = type->type;
        field.bytes = type->bytes;
        return true;
    }
    const std::string_view prefix = "bytes:";
    if (word->rfind(prefix, 0) != 0) {
        section.source.complain(span_of_value(section, "type"), fmt::format("\"{}\" is no type of a field", *word),
                                std::string(expected), meant_type(*word));
        return false;
    }
    const char* end = word->data() + word->size();
    const auto [stop, error] = std::from_chars(word->data() + prefix.size(), end, field.bytes);
    field.type = FieldType::bytes;
    if (error == std::errc{} && stop == end && field.bytes >= 1 && field.bytes <= field_bytes_max) { return true; }
    section.source.complain(span_of_value(section, "type"), fmt::format("\"{}\" has no usable size", *word),
                            fmt::format("bytes:1 to bytes:{}", field_bytes_max));
    field.bytes = 1;
    return false;
}

bool is_whole(FieldType type) {
    return type != FieldType::f32 && type != FieldType::f64 && type != FieldType::bytes;
}

bool is_signed_whole(FieldType type) {
    return type == FieldType::i8 || type == FieldType::i16 || type == FieldType::i32 || type == FieldType::i64;
}

uint64_t largest(const Field& field) {
    const uint32_t bits = field.bytes * 8 - (is_signed_whole(field.type) ? 1 : 0);
    return bits >= 64 ? std::numeric_limits<uint64_t>::max() : (uint64_t{1} << bits) - 1;
}

void read_default(const Section& section, Field& field) {
    if (!section.table.contains("default")) { return; }
    if (field.type == FieldType::bytes) {
        section.source.complain(span_of_key(section, "default"), "bytes begin as zeros and take no default",
                                "no \"default\" for this field");
        return;
    }
    if (field.type == FieldType::f32 || field.type == FieldType::f64) {
        const double most = field.type == FieldType::f32 ? double{std::numeric_limits<float>::max()}
                                                         : std::numeric_limits<double>::max();
        field.default_value =
            get_number(section, "default", {-most, most, false, false, "a finite number that the type can hold"});
        return;
    }
    constexpr double exact_max =
        9007199254740992.0; // 2^53: beyond it a default could change on its way into the firmware
    const double most = std::min(static_cast<double>(largest(field)), exact_max);
    const double least =
        is_signed_whole(field.type) ? std::max(-static_cast<double>(largest(field)) - 1, -exact_max) : 0;
    const std::string said = fmt::format("a whole number from {:.0f} to {:.0f}", least, most);
    const auto value = get_number(section, "default", {least, most, false, false, said});
    if (value && *value != std::floor(*value)) {
        section.source.complain(span_of_value(section, "default"), "\"default\" is not whole", said);
        return;
    }
    field.default_value = value;
}

void read_movement(const Section& section, RecordKind kind, bool type_known, Field& field) {
    if (kind != RecordKind::total) {
        if (section.table.contains("movement")) {
            section.source.complain(span_of_key(section, "movement"),
                                    fmt::format("\"movement\" is for totals, and this record is a {}",
                                                kind == RecordKind::log ? "log" : "value"),
                                    "kind = \"total\" in the record, or no \"movement\"");
        }
        return;
    }
    if (type_known && (!is_whole(field.type) || is_signed_whole(field.type))) {
        section.source.complain(span_of_value(section, "type"),
                                fmt::format("a total only grows, so field \"{}\" cannot be of this type", field.name),
                                "u8, u16, u32 or u64");
        return;
    }
    if (!section.table.contains("movement")) {
        complain_missing(section, "movement", "movement = 1000", "the most it grows between two saves");
        return;
    }
    const auto movement = get_whole(section, "movement", 1, std::numeric_limits<int64_t>::max());
    if (!movement) { return; }
    field.movement_max = *movement;
    if (type_known && *movement > largest(field)) {
        section.source.complain(span_of_value(section, "movement"),
                                fmt::format("\"movement\" is {}, more than the field can hold", *movement),
                                fmt::format("at most {}, or a wider type", largest(field)));
    }
}

/// How far it moves, and how much of that a cut may take: both are for numbers.
void read_amounts(const Section& section, double year_days, Field& field) {
    field.rate_per_day = get_rate_per_day(section, "rate", year_days, {0, 1e15, false, false, "from 0 to 1e15 a day"});
    field.loss_amount_max = get_number(section, "loss_amount", {0, 1e18, true, false, "above 0 and at most 1e18"});
    field.rate_place = span_of_value(section, "rate").place;
    field.loss_place = span_of_value(section, "loss_amount").place;
    for (const char* key : {"rate", "loss_amount"}) {
        if (field.type != FieldType::bytes || !section.table.contains(key)) { continue; }
        section.source.complain(span_of_key(section, key), fmt::format("\"{}\" is for numbers, not for bytes", key),
                                fmt::format("no \"{}\" for this field", key));
    }
}

/// Any short text: it is only shown.
void read_unit(const Section& section, Field& field) {
    constexpr size_t characters_max = 16;
    if (!section.table.contains("unit")) { return; }
    const auto unit = get_text(section, "unit", "a text such as \"l\"");
    if (!unit) { return; }
    const bool shown = !unit->empty() && unit->size() <= characters_max &&
                       std::none_of(unit->begin(), unit->end(), [](unsigned char c) { return c < 0x20 || c == 0x7F; });
    if (!shown) {
        section.source.complain(span_of_value(section, "unit"), "\"unit\" cannot be shown",
                                fmt::format("1 to {} bytes of text", characters_max));
        return;
    }
    field.unit = *unit;
}

Field read_field(const Section& section, std::optional<RecordKind> kind, double year_days) {
    Field field;
    field.place = section.span.place;
    check_keys(section, {"name", "type", "unit", "default", "movement", "rate", "loss_amount"});
    if (!section.table.contains("name")) { complain_missing(section, "name", "name = \"litres\""); }
    if (const auto name = get_text(section, "name", "a name")) {
        field.name = *name;
        check_c_name(section.source, span_of_value(section, "name"), "field", *name);
    }
    read_unit(section, field);
    const bool type_known = read_type(section, field);
    if (type_known) { read_default(section, field); }
    if (kind) { read_movement(section, *kind, type_known, field); }
    if (type_known) { read_amounts(section, year_days, field); }
    return field;
}

} // namespace

std::vector<Field> read_fields(const Section& record, std::optional<RecordKind> kind, double year_days) {
    const toml::node* node = record.table.get("fields");
    constexpr std::string_view expected = "fields = [ { name = \"litres\", type = \"u32\" } ]";
    std::vector<Field> fields;
    if (node == nullptr) {
        complain_missing(record, "fields", expected);
        return fields;
    }
    if (!node->is_array() || node->as_array()->empty()) {
        record.source.complain(span_of_key(record, "fields"), fmt::format("{} has no fields", record.title),
                               std::string(expected));
        return fields;
    }
    std::vector<Span> name_spans;
    for (const toml::node& element : *node->as_array()) {
        if (!element.is_table()) {
            record.source.complain(span_of(element), "a field is a table with name and type", std::string(expected));
            continue;
        }
        const Section section{record.source, *element.as_table(),
                              fmt::format("field {} of {}", fields.size() + 1, record.title), span_of(element)};
        Field field = read_field(section, kind, year_days);
        const Span name_span = span_of_value(section, "name");
        for (size_t i = 0; i < fields.size(); ++i) {
            if (field.name.empty() || fields[i].name != field.name) { continue; }
            Diagnostic& said = record.source.complain(
                name_span, fmt::format("{} has two fields named \"{}\"", record.title, field.name),
                "a name of its own for each field");
            record.source.see_also(said, name_spans[i], "the first one");
            break;
        }
        fields.push_back(std::move(field));
        name_spans.push_back(name_span);
    }
    return fields;
}

} // namespace perdure
