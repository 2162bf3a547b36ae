#include "tests/returned/returned_unit.hpp"

#include <algorithm>
#include <stdexcept>

#include <fmt/format.h>
#include <gtest/gtest.h>

namespace perdure::returned {

std::string project_text(uint32_t blocks, uint32_t block_bytes, std::string_view blank,
                         std::string_view settings_fields) {
    return fmt::format(R"([product]
name = "door counter"
life = "10 y"

[part]
name = "own"
erase_block = "{1} B"
blocks = 16
program_unit = "8 B"
blank = {2}
endurance = 10000
erase_max = "40 ms"
program_max = "100 us"
flash_start = "0x08000000"

[area.store]
size = "{0} B"

[record.people]
id = 1
kind = "total"
fields = [ {{ name = "entered", type = "u32", movement = 120 }}, {{ name = "left", type = "u32", movement = 120 }} ]
saves = [ {{ every = "1 h" }} ]

[record.settings]
id = 2
kind = "value"
fields = [ {3} ]
saves = [ {{ events = "1/week" }} ]

[record.calibration]
id = 70
kind = "value"
fields = [ {{ name = "gain", type = "f32", default = 1.0, unit = "V/V" }}, {{ name = "zero", type = "i16" }} ]
saves = [ {{ events = "1/year" }} ]
)",
                       blocks * block_bytes, block_bytes, blank, settings_fields);
}

Product::Product(const std::string& text) {
    auto read = read_project(text, "test.toml", catalog());
    if (!read) { throw std::runtime_error(render(read.error())); }
    project = std::move(*read);
    auto planned = make_image_plan(project, std::nullopt);
    auto awaited = make_expected(project, std::nullopt);
    if (!planned || !awaited) { throw std::runtime_error(planned ? awaited.error().text : planned.error().text); }
    plan = std::move(*planned);
    expected = std::move(*awaited);
}

UsedUnit::UsedUnit(const Product& product, uint64_t seed)
    : product_(product), unit_(std::make_unique<Unit>(product.area().layout, product.area().records, FlashCosts{})),
      random_(seed) {
    for (const Record* record : product.area().records) {
        values_.emplace_back();
        for (const Field& field : record->fields) {
            const std::vector<uint8_t> bytes = default_bytes(field);
            values_.back().insert(values_.back().end(), bytes.begin(), bytes.end());
        }
    }
    if (unit_->format() != PERDURE_OK) { throw std::runtime_error("format"); }
}

bool UsedUnit::put(size_t record) {
    std::vector<uint8_t> next = values_[record];
    if (record == 0) {
        for (size_t field = 0; field < 2; field++) {
            uint32_t value = 0;
            for (size_t i = 4; i-- > 0;) { value = value << 8U | next[4 * field + i]; }
            value += static_cast<uint32_t>(random_() % 120);
            for (size_t i = 0; i < 4; i++) { next[4 * field + i] = static_cast<uint8_t>(value >> (8 * i)); }
        }
    } else {
        for (uint8_t& byte : next) { byte = static_cast<uint8_t>(random_()); }
    }
    const bool done = unit_->put(static_cast<uint16_t>(record), next.data()) == PERDURE_OK;
    if (done) { values_[record] = next; }
    return done;
}

void UsedUnit::service() {
    while (unit_->service()) {}
}

void UsedUnit::use(int saves) {
    for (int i = 0; i < saves; i++) {
        const uint64_t draw = random_() % 16;
        ASSERT_TRUE(put(draw == 0 ? 2 : draw < 3 ? 1 : 0));
        service();
    }
}

bool UsedUnit::start() {
    unit_->flash().power_up(random_);
    if (unit_->open() != PERDURE_OK) { return false; }
    for (size_t i = 0; i < values_.size(); i++) { unit_->get(static_cast<uint16_t>(i), values_[i].data()); }
    return true;
}

void UsedUnit::cut(uint64_t operations, int starts, bool end) {
    unit_->flash().cut_after(operations);
    if (put(random_() % 3)) { service(); }
    for (int i = 0; i < starts; i++) {
        unit_->flash().power_up(random_);
        unit_->flash().cut_after(random_() % 30);
        unit_->open();
    }
    unit_->flash().disarm();
    if (end) { ASSERT_TRUE(start()); }
}

DumpFile dump_of(const std::vector<uint8_t>& area, size_t skip, size_t bytes) {
    std::string contents(area.begin() + static_cast<std::ptrdiff_t>(skip), area.end());
    contents.resize(std::min(contents.size(), bytes));
    return read_dump("dump.bin", contents, std::nullopt, std::nullopt);
}

Inspection inspected(const Product& product, const DumpFile& dump, const InspectOptions& options) {
    Inspection inspection = inspect(product.expected, dump, options);
    for (const InspectedArea& area : inspection.areas) {
        uint64_t at = 0;
        for (const ByteRange& range : area.ranges) {
            EXPECT_EQ(range.offset, at);
            EXPECT_GT(range.bytes, 0U);
            at += range.bytes;
        }
        EXPECT_EQ(at, area.bytes.size());
        uint64_t sum = 0;
        for (const uint64_t bytes : byte_totals(area.ranges)) { sum += bytes; }
        EXPECT_EQ(sum, area.bytes.size());
        EXPECT_EQ(area.known + byte_totals(area.ranges)[static_cast<size_t>(ByteKind::missing)] >= area.bytes.size(),
                  true);
    }
    return inspection;
}

std::vector<Cause> causes(const Inspection& inspection) {
    std::vector<Cause> out;
    for (const InspectedArea& area : inspection.areas) {
        for (const Damage& damage : area.damage) {
            if (!damage.harmless && std::ranges::find(out, damage.cause) == out.end()) { out.push_back(damage.cause); }
        }
    }
    std::ranges::sort(out);
    return out;
}

} // namespace perdure::returned
