// Any values, as a factory image, as a file of each format, read back by the independent reader: the same values.
#include <gtest/gtest.h>
#include <rapidcheck/gtest.h>

#include "tests/returned/returned_unit.hpp"

namespace perdure::returned {
namespace {

const Product& product() {
    static const Product made(project_text(4));
    return made;
}

/// Values for a part of the fields, from bytes; `expected` gets every record's payload.
UnitData draw(const std::vector<std::vector<uint8_t>>& payloads, const std::vector<bool>& given,
              std::vector<std::vector<uint8_t>>& expected) {
    UnitData data;
    size_t number = 0;
    for (size_t i = 0; i < payloads.size(); i++) {
        const Record& record = *product().area().records[i];
        size_t at = 0;
        for (size_t f = 0; f < record.fields.size(); f++) {
            const Field& field = record.fields[f];
            FieldValue value = default_of(field);
            if (given[number++]) {
                value = value_of(field, std::span(payloads[i]).subspan(at, field.bytes));
                data.values[{record.id, f}] = value;
            }
            const std::vector<uint8_t> bytes = bytes_of(field, value);
            expected[i].insert(expected[i].end(), bytes.begin(), bytes.end());
            at += field.bytes;
        }
    }
    return data;
}

std::string contents_of(const Memory& memory, HexFormat format) {
    if (format == HexFormat::intel_hex) { return write_intel_hex(memory); }
    if (format == HexFormat::s_records) { return write_s_records(memory); }
    const std::vector<uint8_t> bytes = write_binary(memory, 0xFF);
    return {bytes.begin(), bytes.end()};
}

RC_GTEST_PROP(ImageRandom, WhatWasAskedForIsWhatIsRead, ()) {
    const std::vector<const Record*>& records = product().area().records;
    std::vector<std::vector<uint8_t>> payloads;
    size_t fields = 0;
    for (const Record* record : records) {
        payloads.push_back(
            *rc::gen::container<std::vector<uint8_t>>(record->fields_bytes(), rc::gen::arbitrary<uint8_t>()));
        fields += record->fields.size();
    }
    const auto given = *rc::gen::container<std::vector<bool>>(fields, rc::gen::arbitrary<bool>());
    const auto format = *rc::gen::element(HexFormat::intel_hex, HexFormat::s_records, HexFormat::binary);
    std::vector<std::vector<uint8_t>> expected(records.size());
    const UnitData data = draw(payloads, given, expected);
    const auto image = make_area_image(product().area(), data, false);
    RC_ASSERT(image.has_value());
    const std::string contents = contents_of(memory_of(product().plan, {*image}), format);
    const std::optional<uint64_t> base =
        format == HexFormat::binary ? std::optional(address_of(product().area())) : std::nullopt;
    // The file holds what was programmed; the rest of the area is blank.
    InspectOptions options;
    options.gaps_are_blank = true;
    const Inspection inspection = inspect(product().expected, read_dump("unit", contents, format, base), options);
    const InspectedArea& area = inspection.areas.at(0);
    RC_ASSERT(area.bytes == image->bytes);
    RC_ASSERT(area.records.size() == records.size());
    for (size_t i = 0; i < records.size(); i++) {
        RC_ASSERT(area.records[i].id == records[i]->id);
        RC_ASSERT(area.records[i].payload == expected[i]);
        RC_ASSERT(area.records[i].may_be_old.empty());
    }
}

} // namespace
} // namespace perdure::returned
