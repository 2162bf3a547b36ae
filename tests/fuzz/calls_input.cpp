#include "tests/fuzz/calls_input.hpp"

#include <array>
#include <cstring>
#include <optional>
#include <random>

#include <fmt/format.h>

#include "unit/unit.hpp"

namespace perdure::fuzz {
namespace {

using Bytes = std::vector<uint8_t>;

constexpr size_t steps_max = 400;

struct Known {
    Bytes value; ///< acknowledged, or read after a start
    bool stored = false;
    std::optional<Bytes> in_flight;
};

std::vector<Record> make_records() {
    const auto field = [](uint32_t bytes, uint64_t movement) {
        Field made;
        made.bytes = bytes;
        made.movement_max = movement;
        return made;
    };
    std::vector<Record> records(3);
    records[0].id = 1;
    records[0].fields = {field(4, 0)};
    records[1].id = 2;
    records[1].kind = RecordKind::total;
    records[1].fields = {field(4, 300), field(2, 20)};
    records[2].id = 100;
    records[2].fields = {field(8, 0), field(1, 0)};
    return records;
}

/// The smallest ring block that the records fit, and `more` units.
AreaLayout make_layout(uint8_t sizes, uint8_t more, const std::vector<const Record*>& records) {
    constexpr std::array<uint32_t, 8> unit_bytes{1, 2, 3, 4, 6, 8, 16, 32};
    FlashGeometry geometry;
    geometry.ring_blocks = (sizes & 3U) + 2;
    geometry.unit_bytes = unit_bytes[sizes >> 2 & 7];
    geometry.blank = (sizes & 0x20) != 0 ? 0x00 : 0xFF;
    geometry.ecc = (sizes & 0x40) != 0;
    geometry.rule = (sizes & 0x80) != 0 ? ProgramRule::once_or_full : ProgramRule::once;
    for (uint32_t units = 8;; units++) {
        geometry.erase_block_bytes = units * geometry.unit_bytes;
        if (lay_out_ring(geometry, 32, records)) {
            geometry.erase_block_bytes += (more & 31U) * geometry.unit_bytes;
            return *lay_out_ring(geometry, 32, records);
        }
    }
}

class Run {
public:
    Run(std::span<const uint8_t> from, Answers* to)
        : input(from), seen(to), records(make_records()), pointers{&records[0], &records[1], &records[2]} {
        const uint8_t sizes = next();
        const uint8_t more = next();
        unit.emplace(make_layout(sizes, more, pointers), pointers, FlashCosts{});
        weak.seed(next() * 256U + next());
        for (const Record& record : records) { known.push_back({Bytes(record.payload_bytes()), false, {}}); }
    }

    std::string play() {
        if (format() && !unit->flash().is_cut()) {
            for (size_t steps = 0; !input.empty() && steps < steps_max; steps++) {
                if (!step() || (unit->flash().is_cut() && !start())) { return wrong; }
            }
        }
        unit->flash().disarm();
        if (wrong.empty() && start() && unit->flash().geometry().rule == ProgramRule::once_or_full &&
            unit->flash().counters().refused != 0) {
            fail("programs against promise 8: " + unit->flash().refusal());
        }
        return wrong;
    }

private:
    std::span<const uint8_t> input;
    Answers* seen;
    std::vector<Record> records;
    std::vector<const Record*> pointers;
    std::optional<Unit> unit;
    std::mt19937_64 weak; ///< what weak units read
    std::vector<Known> known;
    std::string wrong;
    bool formatting = false; ///< a format was cut: the records are as before or fresh
    bool formatted = false;  ///< one has been completed
    uint64_t format_erases = 0;
    uint32_t formats_cut = 0;
    uint32_t puts = 0;

    uint8_t next() {
        const uint8_t byte = input.empty() ? 0 : input[0];
        input = input.subspan(input.empty() ? 0 : 1);
        return byte;
    }
    bool fail(std::string what) {
        if (wrong.empty()) { wrong = std::move(what); }
        return false;
    }
    bool note(const char* what) {
        const bool cut = unit->flash().is_cut();
        if (seen != nullptr) { seen->insert(fmt::format("{}{}", cut ? "cut " : "", what)); }
        return cut;
    }

    /// One step: what (lower three bits; of which record, the next two), and how much.
    bool step() {
        const uint8_t what = next();
        const uint8_t much = next();
        switch (what & 7) {
        case 0:
        case 1:
        case 2:
            return put((what >> 3 & 3) % 3, much);
        case 3:
            for (uint32_t i = 0; i <= much % 8U; i++) { put(i % 3, what); }
            return wrong.empty();
        case 4:
            return service();
        case 5:
            unit->flash().cut_after(what < 128 ? much % 16U : much);
            return true;
        case 6:
            return much < 16 ? format() : put_backward();
        default:
            return much < 128 ? start() : read_only();
        }
    }

    bool put(uint32_t index, uint8_t much) {
        if (unit->flash().is_cut()) { return true; }
        Bytes value = known[index].value;
        puts++;
        if (index == 1) {
            uint32_t first = 0;
            std::memcpy(&first, value.data(), 4);
            first += (much & 1) != 0 ? much * 100U : much; // beyond the declared movement too
            std::memcpy(value.data(), &first, 4);
            if (value[4] < 0xE0) { value[4] = static_cast<uint8_t>(value[4] + much % 32); }
        } else {
            std::fill(value.begin(), value.end(), much);
            std::memcpy(value.data(), &puts, 3); // no two puts alike, so that an old value shows
        }
        const perdure_status status = unit->put(static_cast<uint16_t>(index), value.data());
        if (note("put")) {
            known[index].in_flight = value;
            return true;
        }
        if (status != PERDURE_OK) { return fail(fmt::format("put gives status {}", static_cast<int>(status))); }
        known[index] = {value, true, {}};
        Bytes got(value.size());
        return (unit->get(static_cast<uint16_t>(index), got.data()) == PERDURE_OK && got == value) ||
               fail(fmt::format("record {} reads otherwise right after its put", index));
    }

    bool put_backward() {
        Bytes value = known[1].value;
        if (unit->flash().is_cut() || value[0] == 0) { return true; }
        value[0]--;
        note("put backward");
        return unit->put(1, value.data()) == PERDURE_BACKWARD || fail("a total may go backward");
    }

    bool service() {
        bool more = true;
        for (uint32_t steps = 0; more && !unit->flash().is_cut(); steps++) {
            if (steps > 100) { return fail("service never comes to an end"); }
            more = unit->service();
        }
        note("service");
        return true;
    }

    bool format() {
        if (unit->flash().is_cut()) { return true; }
        const uint64_t erases = unit->flash().counters().erases;
        const perdure_status status = unit->format();
        formatting = true;
        format_erases = unit->flash().counters().erases - erases;
        if (note("format")) {
            formats_cut++;
            return true;
        }
        if (status != PERDURE_OK) { return fail(fmt::format("format gives status {}", static_cast<int>(status))); }
        formatting = false;
        formatted = true;
        formats_cut = 0;
        begin_afresh();
        return true;
    }

    void begin_afresh() {
        for (Known& one : known) { one = {Bytes(one.value.size()), false, {}}; }
    }

    /// May open say this, so that a format is due? store.h says when a format that was cut leaves a foreign area.
    [[nodiscard]] bool is_format_due(perdure_status status) const {
        const bool no_stamp_yet = !formatted && format_erases <= 1;
        const bool again_on_two = unit->config().blocks == 2 && formats_cut >= 2;
        return formatting && (status == PERDURE_BLANK || (status == PERDURE_FOREIGN && (no_stamp_yet || again_on_two)));
    }

    /// Power up and open, cut again as often as promise 1 allows; formats where one is due; then every record is read.
    bool start() {
        const uint32_t cuts_max = unit->config().blocks <= 3 ? 1 : 2;
        uint32_t formats = 0;
        for (uint32_t cuts = 0;; cuts++) {
            if (unit->flash().is_cut()) { unit->flash().power_up(weak); }
            unit->flash().disarm();
            const uint8_t when = cuts < cuts_max ? next() : 0;
            if (when >= 128) { unit->flash().cut_after(when & 31U); }
            const perdure_status status = unit->open();
            if (note("open")) { continue; }
            if (is_format_due(status)) {
                if (++formats >= 3) { unit->flash().disarm(); }
                if (!format()) { return false; }
                if (unit->flash().is_cut()) { continue; }
            } else if (status != PERDURE_OK) {
                return fail(fmt::format("open gives status {}", static_cast<int>(status)));
            }
            unit->flash().disarm();
            return check(true);
        }
    }

    bool read_only() {
        if (unit->flash().is_cut()) { return true; }
        const std::vector<uint8_t> before = unit->flash().image();
        const perdure_status status = unit->open(true);
        note("open read-only");
        if (unit->flash().image() != before) { return fail("a read-only open changed the flash"); }
        if (status != PERDURE_READ_ONLY) {
            return fail(fmt::format("read-only open gives status {}", static_cast<int>(status)));
        }
        return check(false) && start();
    }

    bool check(bool settle) {
        bool all_old = true;
        bool all_fresh = true;
        for (uint16_t i = 0; i < known.size(); i++) {
            Known& one = known[i];
            Bytes got(one.value.size());
            const perdure_status status = unit->get(i, got.data());
            if (status != PERDURE_OK && status != PERDURE_DEFAULT) {
                return fail(fmt::format("get of record {} gives status {}", i, static_cast<int>(status)));
            }
            all_old = all_old && got == one.value;
            all_fresh = all_fresh && status == PERDURE_DEFAULT;
            if (formatting) { continue; }
            if (got != one.value && got != one.in_flight) {
                return fail(fmt::format("record {} reads neither as acknowledged nor as in flight", i));
            }
            if (one.stored && status == PERDURE_DEFAULT) { return fail(fmt::format("record {} is gone", i)); }
            if (settle) { one = {got, status == PERDURE_OK, {}}; }
        }
        if (formatting) {
            if (!all_old && !all_fresh) { return fail("after a format that was cut: neither as before nor fresh"); }
            if (settle) {
                formatting = false;
                formats_cut = 0;
                if (all_fresh) { begin_afresh(); }
            }
        }
        return true;
    }
};

} // namespace

std::string try_calls(std::span<const uint8_t> input, Answers* seen) {
    return Run(input, seen).play();
}

} // namespace perdure::fuzz
