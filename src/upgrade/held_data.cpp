#include "upgrade/held_data.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace perdure {
namespace {

uint64_t little_endian(const uint8_t* from, uint32_t bytes) {
    uint64_t value = 0;
    for (uint32_t i = bytes; i > 0; i--) { value = value << 8 | from[i - 1]; }
    return value;
}

std::string shown(const Payload& payload) {
    constexpr size_t most = 24;
    const std::vector<uint8_t> head(payload.begin(),
                                    payload.begin() + static_cast<ptrdiff_t>(std::min(most, payload.size())));
    return fmt::format("{:02X}{}", fmt::join(head, " "), payload.size() > most ? " ..." : "");
}

std::string wrong_value(const ReleaseStore& store, size_t index, HeldData& contents) {
    const Record& record = *store.records()[index];
    Payload read;
    const release_status status = store.get(index, read);
    const auto held = contents.values.find(record.id);
    if (held == contents.values.end()) {
        if (status == RELEASE_DEFAULT && read == default_payload(record)) { return {}; }
        return fmt::format("record {} was never stored and reads as {} ({})", record.name, shown(read),
                           name_of(status));
    }
    std::string wanted;
    for (const std::optional<Payload>& may : held->second) {
        const Payload expected = may ? fitted(*may, record) : default_payload(record);
        if (status == (may ? RELEASE_OK : RELEASE_DEFAULT) && read == expected) {
            const std::optional<Payload> is = may;
            held->second = {is};
            return {};
        }
        wanted = shown(expected);
    }
    if (contents.fell_back.contains(record.id) && status == RELEASE_OK) {
        for (const Payload& put : contents.totals_put[record.id]) {
            if (fitted(put, record) != read) { continue; }
            const Payload is = put;
            held->second = {is};
            contents.fell_back.erase(record.id);
            return {};
        }
    }
    // Release 1 leaves in a total what an earlier, longer entry held behind the end of the newest one.
    const Payload& newest = held->second.back() ? *held->second.back() : read;
    for (const Payload& put : contents.totals_put[record.id]) {
        const auto end = static_cast<ptrdiff_t>(std::min(newest.size(), read.size()));
        if (store.release() != 1 || status != RELEASE_OK || put.size() < read.size() ||
            !std::equal(read.begin(), read.begin() + end, newest.begin()) ||
            !std::equal(read.begin() + end, read.end(), put.begin() + end)) {
            continue;
        }
        held->second = {read};
        return {};
    }
    return fmt::format("record {} reads as {} ({}) instead of {}", record.name, shown(read), name_of(status), wanted);
}

/// Is `read` the newest of `samples` and of those of `tail` behind them, as a firmware with this record reads them?
bool are_newest(const HeldLog::Samples& samples, const HeldLog::Samples& tail, const HeldLog::Samples& read,
                const Record& record) {
    const size_t all = samples.size() + tail.size();
    for (size_t i = 1; i <= read.size(); i++) {
        if (i > all) { return false; }
        const size_t place = all - i;
        const ReleaseStore::Sample& held = place < samples.size() ? samples[place] : tail[place - samples.size()];
        const ReleaseStore::Sample& seen = read[read.size() - i];
        const bool same_size = held.bytes.size() == record.payload_bytes();
        const bool same = same_size ? held.bytes == seen.bytes : fitted(held.bytes, record) == seen.bytes;
        if (held.number != seen.number || !same) { return false; }
    }
    return true;
}

std::string wrong_log(const ReleaseStore& store, size_t index, HeldData& contents) {
    const Record& record = *store.records()[index];
    const std::vector<ReleaseStore::Sample> read = store.log(index);
    const uint32_t next = store.log_next(index);
    HeldLog& held = contents.logs[record.id];
    // Short of a block, a ring may have to erase the last one with samples before the head has any.
    const bool may_be_empty = store.blocks_bad() != 0;
    for (auto tail = held.may.rbegin(); tail != held.may.rend(); ++tail) {
        const uint32_t wanted = held.next + static_cast<uint32_t>(tail->size());
        const bool any = !held.samples.empty() || !tail->empty();
        if (next != wanted || !are_newest(held.samples, *tail, read, record) ||
            (read.empty() && any && !may_be_empty)) {
            continue;
        }
        // What is shown no more is gone; what stays was put in the length that it has.
        held.samples.insert(held.samples.end(), tail->begin(), tail->end());
        held.samples.erase(held.samples.begin(), held.samples.end() - static_cast<ptrdiff_t>(read.size()));
        held.may = {{}};
        held.next = wanted;
        return {};
    }
    const std::string numbers =
        read.empty() ? "" : fmt::format(" (numbers {} to {})", read.front().number, read.back().number);
    return fmt::format("log {} shows {} samples{} before number {}, and {} before {} were put", record.name,
                       read.size(), numbers, next, held.samples.size(), held.next);
}

} // namespace

Payload fitted(const Payload& payload, const Record& record) {
    Payload out = payload;
    const Payload defaults = default_payload(record);
    if (out.size() < defaults.size()) {
        out.insert(out.end(), defaults.begin() + static_cast<ptrdiff_t>(out.size()), defaults.end());
    }
    out.resize(defaults.size());
    return out;
}

Payload HeldData::next_value(const Record& record, std::mt19937_64& random) const {
    Payload out(record.payload_bytes());
    if (record.kind != RecordKind::total) {
        for (uint8_t& byte : out) { byte = static_cast<uint8_t>(random()); }
        return out;
    }
    const auto held = values.find(record.id);
    const bool stored = held != values.end() && held->second.back();
    out = stored ? fitted(*held->second.back(), record) : default_payload(record);
    size_t at = 0;
    for (const Field& field : record.fields) {
        const uint64_t now = little_endian(&out[at], field.bytes);
        const uint64_t most = field.bytes == 8 ? UINT64_MAX : (uint64_t{1} << (8 * field.bytes)) - 1;
        const uint64_t step = 1 + random() % std::max<uint64_t>(1, field.movement_max);
        uint64_t grown = now > most - step ? now : now + step;
        for (uint32_t i = 0; i < field.bytes; i++, grown >>= 8) { out[at + i] = static_cast<uint8_t>(grown); }
        at += field.bytes;
    }
    return out;
}

void HeldData::begin_put(const Record& record, const Payload& payload) {
    std::vector<std::optional<Payload>>& may = values[record.id];
    if (may.empty()) { may.emplace_back(std::nullopt); }
    may.emplace_back(payload);
    if (record.kind == RecordKind::total) { totals_put[record.id].push_back(payload); }
    puts++;
}

void HeldData::end_put(const Record& record, const Payload& payload) {
    values[record.id] = {payload};
    fell_back.erase(record.id);
}

void HeldData::begin_append(uint16_t id, uint32_t number, const Payload& samples, size_t sample_bytes) {
    HeldLog& log = logs[id];
    const size_t before = log.may.size();
    for (size_t i = 0; i < before; i++) {
        HeldLog::Samples tail = log.may[i];
        if (log.next + static_cast<uint32_t>(tail.size()) != number) { continue; } // not what the store found
        for (size_t at = 0; at < samples.size(); at += sample_bytes) {
            const auto from = samples.begin() + static_cast<ptrdiff_t>(at);
            tail.push_back(
                {log.next + static_cast<uint32_t>(tail.size()), {from, from + static_cast<ptrdiff_t>(sample_bytes)}});
        }
        log.may.push_back(std::move(tail));
    }
    puts++;
}

void HeldData::end_append(uint16_t id, uint32_t number, const Payload& samples, size_t sample_bytes) {
    HeldLog& log = logs[id];
    const uint32_t end = number + static_cast<uint32_t>(samples.size() / sample_bytes);
    const size_t last = samples.size() - sample_bytes;
    std::erase_if(log.may, [&](const HeldLog::Samples& tail) {
        return tail.empty() || log.next + tail.size() != end ||
               !std::equal(tail.back().bytes.begin(), tail.back().bytes.end(),
                           samples.begin() + static_cast<ptrdiff_t>(last));
    });
    if (log.may.size() != 1) { return; }
    log.samples.insert(log.samples.end(), log.may[0].begin(), log.may[0].end());
    log.next = end;
    log.may = {{}};
}

void HeldData::opened_by(const std::vector<const Record*>& records) {
    for (auto& entry : values) {
        const uint16_t id = entry.first;
        std::vector<std::optional<Payload>>& may = entry.second;
        const auto known = std::find_if(records.begin(), records.end(), [&](const Record* r) { return r->id == id; });
        if (known == records.end()) {
            // It copies full entries as they stand, and no short ones (store/README.md, promise 12).
            if (totals_put.contains(id)) { fell_back.insert(id); }
            continue;
        }
        if ((*known)->kind != RecordKind::total) { continue; }
        // It copies a total as it knows it: fields that only others know are gone then.
        const std::vector<std::optional<Payload>> before = may;
        std::vector<std::optional<Payload>> shortened;
        for (const std::optional<Payload>& each : before) {
            if (each && each->size() > (*known)->payload_bytes()) { shortened.emplace_back(fitted(*each, **known)); }
        }
        may.insert(may.begin(), shortened.begin(), shortened.end());
    }
}

std::string wrong_in(const ReleaseStore& store, HeldData& contents, uint64_t& read) {
    for (size_t i = 0; i < store.records().size(); i++) {
        std::string wrong =
            store.records()[i]->has_log_entries() ? wrong_log(store, i, contents) : wrong_value(store, i, contents);
        if (!wrong.empty()) { return wrong; }
        read++;
    }
    return {};
}

} // namespace perdure
