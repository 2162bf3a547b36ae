// A total and a value on the shortest ring that takes them: what the exhaustive searches of the tests work on.
#pragma once

#include "cuts/proof.hpp"

namespace perdure::tiny {

struct Shape {
    uint32_t blocks = 2;
    uint32_t unit_bytes = 8;
    bool ecc = false;
    uint8_t blank = 0xFF;
    uint32_t check_bits = 32;
};

/// The shortest blocks that take the records.
inline AreaLayout smallest(const Shape& shape, const std::vector<const Record*>& records) {
    FlashGeometry geometry;
    geometry.unit_bytes = shape.unit_bytes;
    geometry.ring_blocks = shape.blocks;
    geometry.ecc = shape.ecc;
    geometry.blank = shape.blank;
    geometry.rule = ProgramRule::once_or_full;
    for (uint32_t units = 8;; units++) {
        geometry.erase_block_bytes = units * shape.unit_bytes;
        const auto fits = lay_out_ring(geometry, shape.check_bits, records);
        if (fits) { return *fits; }
    }
}

struct Ring {
    Record total, value;
    AreaLayout layout;

    /// `saved`: the value is saved when the supply fails.
    explicit Ring(const Shape& shape, bool saved = false) {
        total.name = "total";
        total.id = 1;
        total.kind = RecordKind::total;
        total.fields = {Field{"count", FieldType::u32, 4, std::nullopt, 10, {}}};
        value.name = "value";
        value.id = 2;
        value.fields = {Field{"setting", FieldType::u16, 2, std::nullopt, 0, {}}};
        value.saves.resize(saved ? 1 : 0);
        if (saved) { value.saves[0].when = SaveWhen::at_power_fail; }
        layout = smallest(shape, {&total, &value});
    }

    [[nodiscard]] Search search(Begin begin, unsigned depth) const {
        Search search;
        search.layout = layout;
        search.records = {&total, &value};
        search.begin = begin;
        search.depth = depth;
        return search;
    }
    /// Every kind of action.
    [[nodiscard]] static std::vector<Action> actions() {
        return {{Action::Kind::put_small, 0},
                {Action::Kind::put_small, 1},
                {Action::Kind::put_large, 0},
                {Action::Kind::service, 0},
                {Action::Kind::restart, 0}};
    }
    /// `count` puts, four of the total to one of the value.
    [[nodiscard]] static std::vector<Action> puts(uint32_t count) {
        std::vector<Action> puts;
        for (uint32_t i = 0; i < count; i++) {
            puts.push_back({Action::Kind::put_small, static_cast<uint16_t>(i % 5 == 4 ? 1 : 0)});
        }
        return puts;
    }
    [[nodiscard]] uint32_t units() const {
        return layout.geometry.ring_blocks * layout.geometry.units_per_ring_block();
    }
};

/// A value that is saved when the supply fails, and a log of two samples an entry.
struct LogRing {
    Record value, log;
    AreaLayout layout;

    explicit LogRing(const Shape& shape) {
        value.name = "value";
        value.id = 1;
        value.fields = {Field{"setting", FieldType::u16, 2, std::nullopt, 0, {}}};
        value.saves.resize(1);
        value.saves[0].when = SaveWhen::at_power_fail;
        log.name = "log";
        log.id = 2;
        log.kind = RecordKind::log;
        log.fields = {Field{"sample", FieldType::u8, 1, std::nullopt, 0, {}}};
        log.log.emplace().batch = 2;
        layout = smallest(shape, {&value, &log});
    }

    [[nodiscard]] Search search(Begin begin, unsigned depth) const {
        Search search;
        search.layout = layout;
        search.records = {&value, &log};
        search.begin = begin;
        search.depth = depth;
        return search;
    }
    /// Every kind of action: of the log, one sample and as many as an entry takes.
    [[nodiscard]] static std::vector<Action> actions() {
        return {{Action::Kind::put_large, 1}, {Action::Kind::put_small, 1}, {Action::Kind::put_small, 0},
                {Action::Kind::service, 0},   {Action::Kind::restart, 0},   {Action::Kind::restart_lazy, 0}};
    }
    /// `count` appends and puts: full entries, short ones and values.
    [[nodiscard]] static std::vector<Action> puts(uint32_t count) {
        std::vector<Action> puts;
        for (uint32_t i = 0; i < count; i++) {
            const auto record = static_cast<uint16_t>(i % 7 == 6 ? 0 : 1);
            puts.push_back({i % 5 == 4 ? Action::Kind::put_small : Action::Kind::put_large, record});
        }
        return puts;
    }
    [[nodiscard]] uint32_t units() const {
        return layout.geometry.ring_blocks * layout.geometry.units_per_ring_block();
    }
};

} // namespace perdure::tiny
