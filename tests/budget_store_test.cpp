// The budget's wear against the real store on a plain array: the same saves and starts through store.c, erases counted.
// The formulas must agree within 0.5 %.
#include <algorithm>
#include <cstring>
#include <queue>
#include <random>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "budget/count_walk.hpp"
#include "budget/wear.hpp"
#include "store.h"

namespace perdure {
namespace {

/// Flash without faults: an array of bytes and erase counts.
struct Array {
    uint32_t unit_bytes = 0, block_bytes = 0;
    std::vector<uint8_t> bytes;
    uint64_t erases = 0;
};

bool read_array(void* context, uint32_t address, void* to, uint32_t bytes) {
    std::memcpy(to, &static_cast<Array*>(context)->bytes[address], bytes);
    return true;
}

bool program_array(void* context, uint32_t address, const void* unit) {
    auto* array = static_cast<Array*>(context);
    std::memcpy(&array->bytes[address], unit, array->unit_bytes);
    return true;
}

bool erase_array(void* context, uint32_t block) {
    auto* array = static_cast<Array*>(context);
    std::fill_n(array->bytes.begin() + static_cast<std::ptrdiff_t>(size_t{block} * array->block_bytes),
                array->block_bytes, uint8_t{0xFF});
    ++array->erases;
    return true;
}

Record record_of(uint16_t id, uint32_t fields, uint32_t bytes, uint64_t movement_max) {
    Record out;
    out.id = id;
    out.kind = movement_max > 0 ? RecordKind::total : RecordKind::value;
    out.fields.resize(fields);
    for (Field& field : out.fields) {
        field.bytes = bytes;
        field.movement_max = movement_max;
    }
    return out;
}

AreaLayout ring(uint32_t unit_bytes, uint32_t block_bytes, uint32_t blocks, const std::vector<Record>& records) {
    FlashGeometry geometry;
    geometry.unit_bytes = unit_bytes;
    geometry.erase_block_bytes = block_bytes;
    geometry.ring_blocks = blocks;
    std::vector<const Record*> pointers;
    for (const Record& record : records) { pointers.push_back(&record); }
    const auto out = lay_out_ring(geometry, 16, pointers);
    if (!out) { throw std::runtime_error(out.error().text); }
    return *out;
}

/// The store on an array, set up from a layout.
class Unit {
public:
    Unit(const AreaLayout& layout, const std::vector<Record>& records) {
        const FlashGeometry& geometry = layout.geometry;
        array_.unit_bytes = geometry.unit_bytes;
        array_.block_bytes = geometry.ring_block_bytes();
        array_.bytes.assign(geometry.area_bytes(), 0xFF);
        port_ = {read_array, program_array, erase_array, nullptr, &array_};
        fields_.resize(records.size());
        uint16_t totals = 0;
        for (size_t i = 0; i < records.size(); ++i) {
            perdure_record entry{};
            entry.id = records[i].id;
            entry.bytes = static_cast<uint16_t>(records[i].payload_bytes());
            if (records[i].kind == RecordKind::total) {
                for (size_t k = 0; k < records[i].fields.size(); ++k) {
                    const std::vector<uint8_t>& bits = layout.records[i].short_bits;
                    fields_[i].push_back(PERDURE_FIELD(3, bits.empty() ? 0 : bits[k]));
                }
                entry.fields = fields_[i].data();
                entry.field_count = static_cast<uint8_t>(fields_[i].size());
                entry.total_offset = totals;
                totals = static_cast<uint16_t>(totals + entry.bytes);
            }
            records_.push_back(entry);
            values_.emplace_back(entry.bytes / 8 + 1, 0);
        }
        newest_.resize(records.size() + 1);
        totals_.resize(totals + 1U);
        flags_.resize(geometry.ring_blocks);
        buffer_.resize(geometry.unit_bytes);
        config_ = {&port_,
                   records_.data(),
                   newest_.data(),
                   nullptr,
                   totals_.data(),
                   flags_.data(),
                   buffer_.data(),
                   static_cast<uint16_t>(records.size()),
                   0,
                   static_cast<uint16_t>(geometry.ring_blocks),
                   static_cast<uint16_t>(geometry.units_per_ring_block()),
                   static_cast<uint16_t>(geometry.unit_bytes),
                   16,
                   0xFF};
        formatted = perdure_format(&store_, &config_);
        array_.erases = 0;
    }
    Unit(const Unit&) = delete;
    Unit& operator=(const Unit&) = delete;

    perdure_status put(size_t record, bool service) {
        for (uint64_t& word : values_[record]) { ++word; }
        const perdure_status status = perdure_put(&store_, static_cast<uint16_t>(record), values_[record].data());
        while (service && perdure_service(&store_)) {}
        return status;
    }
    perdure_status start() { return perdure_open(&store_, &config_, false); }
    [[nodiscard]] uint64_t erases() const { return array_.erases; }

    perdure_status formatted = PERDURE_CONFIG;

private:
    Array array_;
    perdure_port port_{};
    std::vector<std::vector<uint8_t>> fields_;
    std::vector<perdure_record> records_;
    std::vector<std::vector<uint64_t>> values_;
    std::vector<uint32_t> newest_;
    std::vector<uint8_t> totals_, flags_, buffer_;
    perdure_config config_{};
    perdure_store store_{};
};

struct Due {
    double at_s = 0;
    size_t record = 0;
    bool even = false;
    bool operator>(const Due& other) const { return at_s > other.at_s; }
};

/// Blocks that the store emptied, in percent of what the formulas expect, over some thousand blocks.
double store_in_percent(const AreaLayout& layout, const std::vector<Record>& records, const Traffic& traffic) {
    const double life_s = ring_wear(layout, traffic).block_s * 1500;
    std::vector<uint64_t> saves_of(records.size(), 0);
    std::mt19937_64 engine(7);
    std::uniform_real_distribution<double> phase(0, 1);
    std::exponential_distribution<double> gap(1);
    std::priority_queue<Due, std::vector<Due>, std::greater<>> due;
    for (size_t i = 0; i < records.size(); ++i) {
        const RecordTraffic& record = traffic.records[i];
        if (record.period_s > 0) { due.push({phase(engine) * record.period_s, i, true}); }
        if (record.random_per_s > 0) { due.push({gap(engine) / record.random_per_s, i, false}); }
    }
    if (traffic.starts_per_s > 0) { due.push({phase(engine) / traffic.starts_per_s, records.size(), true}); }
    Unit unit(layout, records);
    if (unit.formatted != PERDURE_OK) { throw std::runtime_error("the store refuses what the layout allows"); }
    for (size_t i = 0; i < records.size(); ++i) { unit.put(i, traffic.service_in_time); }
    while (due.top().at_s < life_s) {
        Due next = due.top();
        due.pop();
        const bool start = next.record == records.size();
        const perdure_status status = start ? unit.start() : unit.put(next.record, traffic.service_in_time);
        if (status != PERDURE_OK) {
            throw std::runtime_error(fmt::format("the store answers {}", static_cast<int>(status)));
        }
        if (!start) { ++saves_of[next.record]; }
        const double period_s = start ? 1 / traffic.starts_per_s : traffic.records[next.record].period_s;
        next.at_s += next.even ? period_s : gap(engine) / traffic.records[next.record].random_per_s;
        due.push(next);
    }
    const RingWear wear = ring_wear(layout, as_drawn(traffic, saves_of, life_s));
    return 100 * double(unit.erases()) / erases_over(wear, layout.geometry.ring_blocks, life_s).blocks_emptied;
}

TEST(BudgetAgainstTheStore, OneTotalOn24BitWords) {
    const std::vector<Record> records{record_of(1, 2, 8, 1023)};
    for (const bool service : {true, false}) {
        for (const uint32_t blocks : {2U, 3U, 5U}) {
            EXPECT_NEAR(store_in_percent(ring(6, 1536, blocks, records), records, {1.0 / 86'400, {{45, 0}}, service}),
                        100, 0.5)
                << blocks << " blocks, service " << service;
        }
    }
}

TEST(BudgetAgainstTheStore, MixOfRecordsWithStarts) {
    const std::vector<Record> records{record_of(1, 2, 8, 1000), record_of(2, 1, 40, 0), record_of(3, 1, 24, 0),
                                      record_of(4, 1, 90, 0), record_of(5, 1, 8, 50)};
    for (const bool service : {true, false}) {
        for (const uint32_t blocks : {2U, 3U, 4U, 7U}) {
            const Traffic traffic{
                2.0 / 86'400, {{60, 0}, {86'400, 0}, {0, 3.0 / 86'400}, {0, 0}, {7000, 1e-5}}, service};
            EXPECT_NEAR(store_in_percent(ring(8, 2048, blocks, records), records, traffic), 100, 0.5)
                << blocks << " blocks, service " << service;
        }
    }
}

TEST(BudgetAgainstTheStore, ManyValuesMostOfThemCopied) {
    std::vector<Record> records;
    Traffic traffic{1e-4, {}, true};
    for (uint16_t id = 1; id <= 30; ++id) {
        records.push_back(record_of(id, 1, 20, 0));
        traffic.records.push_back({0, 1.0 / (100.0 * id)});
    }
    for (const bool service : {true, false}) {
        traffic.service_in_time = service;
        for (const uint32_t blocks : {2U, 3U, 4U, 6U}) {
            EXPECT_NEAR(store_in_percent(ring(8, 2048, blocks, records), records, traffic), 100, 0.5)
                << blocks << " blocks, service " << service;
        }
    }
}

} // namespace
} // namespace perdure
