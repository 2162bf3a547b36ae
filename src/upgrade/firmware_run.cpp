#include "upgrade/firmware_run.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace perdure {
namespace {

const store_release& release_of(const ProductVersion& version) {
    const store_release* release = find_release(version.store_release);
    return release != nullptr ? *release : *store_releases().back();
}

} // namespace

FirmwareRun::FirmwareRun(const ProductVersion& version, const ImageArea& area, const FlashCalls& flash)
    : store_(release_of(version), area.layout, area.records, unknown_max, flash),
      lazy_(version.project.product.lazy_start), blocks_(area.layout.geometry.ring_blocks),
      block_units_(area.layout.geometry.units_per_ring_block()) {
    for (size_t i = 0; i < area.records.size(); i++) {
        if (area.records[i]->saved_at_power_fail()) { urgent_ = i; }
    }
}

Payload stand_in_conversion(const Record& record, const std::vector<Payload>& sources) {
    Payload all;
    for (const Payload& source : sources) { all.insert(all.end(), source.begin(), source.end()); }
    Payload out(record.payload_bytes());
    for (size_t i = 0; i < out.size(); i++) { out[i] = static_cast<uint8_t>(all[i % all.size()] ^ i); }
    if (record.kind == RecordKind::total) { // room to grow
        size_t end = 0;
        for (const Field& field : record.fields) { out[(end += field.bytes) - 1] = 0; }
    }
    return out;
}

std::string FirmwareRun::put(size_t record, const Payload& payload, HeldData& contents) {
    const Record& what = *store_.records()[record];
    contents.begin_put(what, payload);
    const release_status status = store_.put(record, payload);
    if (status == RELEASE_OK) {
        contents.end_put(what, payload);
        return {};
    }
    return fmt::format("a put of record {} gives {}", what.name, name_of(status));
}

std::string FirmwareRun::save(size_t record, HeldData& contents, std::mt19937_64& random) {
    const Record& what = *store_.records()[record];
    if (!what.has_log_entries()) { return put(record, contents.next_value(what, random), contents); }
    Payload samples(size_t{what.log->batch} * what.payload_bytes());
    for (uint8_t& byte : samples) { byte = static_cast<uint8_t>(random()); }
    const uint32_t number = store_.log_next(record);
    contents.begin_append(what.id, number, samples, what.payload_bytes());
    const release_status status = store_.append(record, samples);
    if (status != RELEASE_OK) { return fmt::format("an append to log {} gives {}", what.name, name_of(status)); }
    contents.end_append(what.id, number, samples, what.payload_bytes());
    return {};
}

std::string FirmwareRun::convert(HeldData& contents) {
    for (size_t i = 0; i < store_.records().size(); i++) {
        const Record& record = *store_.records()[i];
        Payload now;
        if (record.from.empty() || store_.get(i, now) != RELEASE_DEFAULT) { continue; }
        std::vector<Payload> sources;
        bool stored = false;
        for (const std::string& name : record.from) {
            for (size_t j = 0; j < store_.records().size(); j++) {
                if (store_.records()[j]->name != name) { continue; }
                stored = store_.get(j, now) == RELEASE_OK || stored;
                sources.push_back(now);
            }
        }
        if (!stored) { continue; }
        std::string wrong = put(i, stand_in_conversion(record, sources), contents);
        if (!wrong.empty()) { return wrong; }
    }
    return {};
}

std::string FirmwareRun::save_all(HeldData& contents, std::mt19937_64& random) {
    for (size_t i = 0; i < store_.records().size(); i++) {
        if (store_.records()[i]->retired) { continue; }
        std::string wrong = save(i, contents, random);
        if (!wrong.empty()) { return wrong; }
    }
    return {};
}

std::string FirmwareRun::go_on(HeldData& contents, std::mt19937_64& random, uint32_t blocks) {
    std::vector<size_t> in_use;
    for (size_t i = 0; i < store_.records().size(); i++) {
        if (!store_.records()[i]->retired) { in_use.push_back(i); }
    }
    if (in_use.empty()) { return {}; }
    // Mostly one record, the others now and then, so that they are copied as well.
    constexpr uint64_t now_and_then = 40;
    const uint64_t aim = uint64_t{store_.sequence()} + blocks;
    for (uint64_t saves = 0; store_.sequence() < aim; saves++) {
        if (saves > block_units_ * (blocks + 1)) { return "the ring does not turn"; }
        const size_t which = saves % now_and_then == 0 ? in_use[saves / now_and_then % in_use.size()] : in_use.front();
        std::string wrong = save(which, contents, random);
        if (!wrong.empty()) { return wrong; }
        service();
    }
    return {};
}

std::string FirmwareRun::save_one(HeldData& contents, std::mt19937_64& random) {
    std::optional<size_t> which;
    for (size_t i = 0; i < store_.records().size(); i++) {
        const bool in_use = !store_.records()[i]->retired;
        if (in_use && (!which || which == urgent_)) { which = i; }
    }
    return which ? save(*which, contents, random) : std::string();
}

std::string FirmwareRun::supply_fails(HeldData& contents, std::mt19937_64& random) {
    const Record& what = *store_.records()[*urgent_];
    const Payload payload = contents.next_value(what, random);
    const release_status status = store_.put_now(*urgent_, payload);
    if (status == RELEASE_READ_ONLY && lazy_) { return {}; }
    if (status != RELEASE_OK) {
        return fmt::format("the save of record {} when the supply fails gives {}", what.name, name_of(status));
    }
    contents.begin_put(what, payload);
    contents.end_put(what, payload);
    return {};
}

void FirmwareRun::service() {
    for (int steps = 0; steps < 10'000 && store_.service();) { steps++; }
}

} // namespace perdure
