#include "upgrade/releases.hpp"

#include <array>
#include <bit>
#include <new>

#include "project/default_bytes.hpp"
#include "unit/unit.hpp"

namespace perdure {
namespace {

struct LogReader {
    std::vector<ReleaseStore::Sample>& to;
    size_t bytes;
};

bool see(void* context, uint32_t number, const void* sample) {
    auto& reader = *static_cast<LogReader*>(context);
    const auto* from = static_cast<const uint8_t*>(sample);
    reader.to.push_back({number, {from, from + reader.bytes}});
    return true;
}

std::vector<uint8_t> descriptors(const Record& record, const RecordLayout& layout) {
    std::vector<uint8_t> out;
    for (size_t i = 0; record.kind == RecordKind::total && i < record.fields.size(); i++) {
        const auto size_log2 = static_cast<unsigned>(std::countr_zero(record.fields[i].bytes));
        const unsigned bits = i < layout.short_bits.size() ? layout.short_bits[i] : 0U;
        out.push_back(static_cast<uint8_t>(size_log2 << 6 | bits));
    }
    return out;
}

} // namespace

const std::vector<const store_release*>& store_releases() {
    static const std::vector<const store_release*> all{&perdure_release_1, &perdure_release_2};
    return all;
}

const store_release* find_release(int version) {
    for (const store_release* release : store_releases()) {
        if (release->version == version) { return release; }
    }
    return nullptr;
}

std::string name_of(release_status status) {
    constexpr std::array names{"PERDURE_OK",        "PERDURE_DEFAULT",  "PERDURE_BLANK", "PERDURE_FOREIGN",
                               "PERDURE_READ_ONLY", "PERDURE_BACKWARD", "PERDURE_FAULT", "PERDURE_CONFIG"};
    return names.at(static_cast<size_t>(status));
}

ReleaseStore::ReleaseStore(const store_release& release, const AreaLayout& layout, std::vector<const Record*> records,
                           uint16_t unknown_max, const FlashCalls& flash)
    : release_(release), records_(std::move(records)), table_(records_.size()) {
    release_setup setup{};
    for (size_t i = 0; i < records_.size(); i++) {
        const Record& record = *records_[i];
        defaults_.push_back(default_payload(record));
        fields_.push_back(descriptors(record, layout.records[i]));
        if (record.saved_at_power_fail()) { setup.urgent = static_cast<uint16_t>(i + 1); }
    }
    for (size_t i = 0; i < records_.size(); i++) {
        const Record& record = *records_[i];
        table_[i].defaults = defaults_[i].data();
        table_[i].fields = fields_[i].empty() ? nullptr : fields_[i].data();
        table_[i].id = record.id;
        table_[i].bytes = static_cast<uint16_t>(record.payload_bytes());
        table_[i].field_count = static_cast<uint8_t>(fields_[i].size());
        table_[i].batch = record.has_log_entries() ? static_cast<uint8_t>(record.log->batch) : uint8_t{0};
    }
    setup.context = flash.context;
    setup.read = flash.read;
    setup.program = flash.program;
    setup.erase = flash.erase;
    setup.check = check_hook(layout.check_bytes * 8);
    setup.records = table_.data();
    setup.record_count = static_cast<uint16_t>(table_.size());
    setup.unknown_max = unknown_max;
    setup.blocks = static_cast<uint16_t>(layout.geometry.ring_blocks);
    setup.block_units = static_cast<uint16_t>(layout.geometry.units_per_ring_block());
    setup.unit_bytes = static_cast<uint16_t>(layout.geometry.unit_bytes);
    setup.check_bits = static_cast<uint8_t>(layout.check_bytes * 8);
    setup.blank = layout.geometry.blank;
    store_ = release_.create(&setup);
    if (store_ == nullptr) { throw std::bad_alloc(); }
}

ReleaseStore::~ReleaseStore() {
    release_.destroy(store_);
}

release_status ReleaseStore::get(size_t record, std::vector<uint8_t>& to) const {
    to.assign(table_[record].bytes, 0);
    return release_.get(store_, static_cast<uint16_t>(record), to.data());
}

release_status ReleaseStore::put(size_t record, const std::vector<uint8_t>& payload) {
    return release_.put(store_, static_cast<uint16_t>(record), payload.data());
}

release_status ReleaseStore::put_now(size_t record, const std::vector<uint8_t>& payload) {
    return release_.put_now(store_, static_cast<uint16_t>(record), payload.data());
}

release_status ReleaseStore::append(size_t record, const std::vector<uint8_t>& samples) {
    return release_.append(store_, static_cast<uint16_t>(record), samples.data(),
                           static_cast<uint8_t>(samples.size() / table_[record].bytes));
}

std::vector<ReleaseStore::Sample> ReleaseStore::log(size_t record) const {
    std::vector<Sample> out;
    std::vector<uint8_t> room(table_[record].bytes);
    LogReader reader{out, room.size()};
    release_.read_log(store_, static_cast<uint16_t>(record), see, &reader, room.data());
    return out;
}

} // namespace perdure
