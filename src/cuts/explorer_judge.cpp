// What a start reads, held against the model and the reader of dumps.
#include <algorithm>
#include <array>
#include <cstring>

#include <fmt/format.h>

#include "cuts/check_codes.hpp"
#include "cuts/explorer.hpp"

namespace perdure {

std::string_view Explorer::status_name(perdure_status status) {
    constexpr std::array<std::string_view, 8> names{"OK",        "DEFAULT",  "BLANK", "FOREIGN",
                                                    "READ_ONLY", "BACKWARD", "FAULT", "CONFIG"};
    return names[static_cast<size_t>(status)];
}

AreaView Explorer::view() const {
    const FlashGeometry& geometry = search_.layout.geometry;
    const uint32_t check_bits = search_.layout.check_bytes * 8;
    AreaView view{
        {geometry.ring_blocks, geometry.units_per_ring_block(), geometry.unit_bytes, check_bits, geometry.blank},
        flash_.image(),
        {},
        dump_check(check_bits, search_.check_code)};
    if (flash_.any_fault()) { view.faulting = flash_.faulting(); }
    return view;
}

bool Explorer::read_all(Level& l) {
    if (!read_whole_log(l)) { return false; }
    for (size_t i = 0; i < model_.records(); i++) {
        if (i == log_) { continue; }
        uint8_t* to = l.values.data() + model_.offset_of(i);
        const perdure_status status = perdure_get(&l.memory.store, static_cast<uint16_t>(i), to);
        if (status != PERDURE_OK && status != PERDURE_DEFAULT) {
            fail(fmt::format("get of record '{}' gives {}", search_.records[i]->name, status_name(status)));
            return false;
        }
        l.stored[i] = status == PERDURE_OK ? 1 : 0;
    }
    return true;
}

/// What the dump's reader made of the flash before this start, against what the store reads.
bool Explorer::agrees_with_dump(const Level& l) {
    if (!log_agrees_with_dump(l)) { return false; }
    for (size_t i = 0; i < model_.records(); i++) {
        if (i == log_) { continue; }
        const std::vector<uint8_t>* payload = decoded_.find(search_.records[i]->id);
        const bool same =
            payload ? l.stored[i] != 0 && payload->size() == model_.bytes_of(i) &&
                          std::memcmp(payload->data(), l.values.data() + model_.offset_of(i), payload->size()) == 0
                    : l.stored[i] == 0;
        if (!same) {
            fail(fmt::format("record '{}': the reader of dumps and the store do not agree", search_.records[i]->name));
            return false;
        }
    }
    return true;
}

/// Is what was read what the model allows? `pending`: a block whose erase may be unfinished.
bool Explorer::judge_all(Level& l, uint32_t pending) {
    for (size_t i = 0; i < model_.records(); i++) {
        const std::string wrong = i == log_ ? log_model_.judge(l.log, pending)
                                            : model_.judge(i, l.values.data() + model_.offset_of(i), l.stored[i] != 0);
        if (!wrong.empty()) {
            fail(fmt::format("record '{}' {}", search_.records[i]->name, wrong));
            return false;
        }
    }
    return true;
}

/// Opened read-only, the store changes nothing and reads what the reader of dumps makes of the flash.
bool Explorer::read_only_start(Level& l) {
    const uint64_t done = flash_.programs() + flash_.erases();
    const perdure_status status = perdure_open(&l.memory.store, &l.memory.config, PERDURE_READ);
    if (status != PERDURE_READ_ONLY && status != PERDURE_OK) {
        fail(fmt::format("a read-only open gives {}", status_name(status)));
        return false;
    }
    if (flash_.programs() + flash_.erases() != done) {
        fail("a read-only open programs or erases");
        return false;
    }
    if (!read_all(l)) { return false; }
    l.kept = l.values;
    l.kept_log = l.log;
    if (search_.device.undecided) { return true; }
    decoder_.decode(view(), decoded_);
    return agrees_with_dump(l);
}

} // namespace perdure
