#include "tests/fuzz/open_input.hpp"

#include <algorithm>
#include <array>
#include <cstring>

#include <fmt/format.h>

#include "store/store.h"
#include "tests/fuzz/area_input.hpp"

namespace perdure::fuzz {
namespace {

using Bytes = std::vector<uint8_t>;

constexpr std::array status_names{"OK", "DEFAULT", "BLANK", "FOREIGN", "READ_ONLY", "BACKWARD", "FAULT", "CONFIG"};

/// The store over flash that holds the input's bytes. Units that fault do so until they are erased; what is not blank
/// takes no program. Not to be copied: the configuration points into it.
struct Product {
    explicit Product(Area from, Answers* to) : area(std::move(from)), answers(to) {
        records[0] = {1, 4, nullptr, nullptr, 0, 0, 0};
        records[1] = {2, 6, nullptr, fields, 0, 2, 0};
        records[2] = {3, 8, nullptr, fields + 2, 6, 1, 0};
        records[3] = {100, 3, "abc", nullptr, 0, 0, 0};
        port = {read, program, erase, area.check != nullptr ? check : nullptr, this};
        unit_buffer.resize(area.shape.unit_bytes);
        block_flags.resize(area.shape.blocks);
        config = {&port,
                  records,
                  newest,
                  unknown_ids,
                  totals,
                  block_flags.data(),
                  unit_buffer.data(),
                  4,
                  2,
                  static_cast<uint16_t>(area.shape.blocks),
                  static_cast<uint16_t>(area.shape.block_units),
                  static_cast<uint16_t>(area.shape.unit_bytes),
                  static_cast<uint8_t>(area.shape.check_bits),
                  area.shape.blank,
                  0};
    }
    Product(const Product&) = delete;
    Product& operator=(const Product&) = delete;

    Area area;
    Answers* answers;
    std::string wrong; ///< the first thing that was
    uint32_t changes = 0;
    uint32_t changes_max = 0;

    const uint8_t fields[3] = {PERDURE_FIELD(2, 12), PERDURE_FIELD(1, 8), PERDURE_FIELD(3, 20)};
    perdure_record records[4] = {};
    perdure_port port = {};
    perdure_config config = {};
    perdure_store store = {};
    uint32_t newest[4 + 2 + 1] = {};
    uint16_t unknown_ids[2] = {};
    uint8_t totals[14] = {};
    Bytes unit_buffer, block_flags;

    bool fail(std::string what) {
        if (wrong.empty()) { wrong = std::move(what); }
        return false;
    }
    void note(const char* call, perdure_status status) const {
        if (answers != nullptr) { answers->insert(fmt::format("{} {}", call, status_names.at(status))); }
    }
    [[nodiscard]] uint32_t block_bytes() const { return area.shape.block_units * area.shape.unit_bytes; }
    bool count_change(const char* what) {
        if (++changes <= changes_max) { return true; }
        return fail(changes_max == 0 ? fmt::format("a read-only open {}", what)
                                     : fmt::format("more than {} programs and erases in a call", changes_max));
    }

    static bool read(void* context, uint32_t address, void* to, uint32_t bytes) {
        auto& self = *static_cast<Product*>(context);
        const uint32_t block_bytes = self.block_bytes();
        if (bytes == 0 || uint64_t{address} + bytes > self.area.bytes.size() ||
            address / block_bytes != (address + bytes - 1) / block_bytes) {
            return self.fail(fmt::format("a read of {} bytes at {}", bytes, address));
        }
        const uint32_t unit_bytes = self.area.shape.unit_bytes;
        for (uint32_t unit = address / unit_bytes;
             !self.area.faulting.empty() && unit <= (address + bytes - 1) / unit_bytes; unit++) {
            if (self.area.faulting[unit] != 0) { return false; }
        }
        std::memcpy(to, self.area.bytes.data() + address, bytes);
        return true;
    }
    static bool program(void* context, uint32_t address, const void* unit) {
        auto& self = *static_cast<Product*>(context);
        const AreaShape& shape = self.area.shape;
        if (address % shape.unit_bytes != 0 || address >= self.area.bytes.size()) {
            return self.fail(fmt::format("a program at {}", address));
        }
        if (!self.count_change("programs")) { return false; }
        uint8_t* const to = self.area.bytes.data() + address;
        if (std::any_of(to, to + shape.unit_bytes, [&](uint8_t byte) { return byte != shape.blank; }) ||
            (!self.area.faulting.empty() && self.area.faulting[address / shape.unit_bytes] != 0)) {
            return false;
        }
        std::memcpy(to, unit, shape.unit_bytes);
        return true;
    }
    static bool erase(void* context, uint32_t block) {
        auto& self = *static_cast<Product*>(context);
        const AreaShape& shape = self.area.shape;
        if (block >= shape.blocks) { return self.fail(fmt::format("an erase of block {}", block)); }
        if (!self.count_change("erases")) { return false; }
        std::fill_n(self.area.bytes.begin() + block * self.block_bytes(), self.block_bytes(), shape.blank);
        if (!self.area.faulting.empty()) {
            std::fill_n(self.area.faulting.begin() + block * shape.block_units, shape.block_units, uint8_t{0});
        }
        return true;
    }
    static uint32_t check(void* context, uint32_t state, const void* from, uint32_t bytes) {
        return static_cast<Product*>(context)->area.check(state, static_cast<const uint8_t*>(from), bytes);
    }

    perdure_status open(bool read_only) {
        changes = 0;
        const perdure_status status = perdure_open(&store, &config, read_only);
        note(read_only ? "open read-only" : "open", status);
        return status;
    }
    /// Every record, each with what get answered in front.
    Bytes values() {
        Bytes all;
        for (uint16_t index = 0; index < 4; index++) {
            Bytes value(records[index].bytes);
            const perdure_status status = perdure_get(&store, index, value.data());
            note("get", status);
            if (status != PERDURE_OK && status != PERDURE_DEFAULT && status != PERDURE_FAULT) {
                fail(fmt::format("get gives {}", status_names.at(status)));
            }
            if (status == PERDURE_FAULT) { value.assign(value.size(), 0); } // not to be used
            all.push_back(static_cast<uint8_t>(status));
            all.insert(all.end(), value.begin(), value.end());
        }
        return all;
    }
    /// Puts record `index` one on. Totals: the lowest byte of each field, where that does not carry.
    void put(uint16_t index, uint8_t step) {
        Bytes value(records[index].bytes);
        (void)perdure_get(&store, index, value.data());
        if (value[0] > 0xFF - step) { return; }
        value[0] = static_cast<uint8_t>(value[0] + step);
        changes = 0;
        const perdure_status status = perdure_put(&store, index, value.data());
        note("put", status);
        if (status != PERDURE_OK) {
            if (status != PERDURE_FAULT && status != PERDURE_READ_ONLY) {
                fail(fmt::format("put gives {}", status_names.at(status)));
            }
            return;
        }
        Bytes got(value.size());
        const perdure_status read_back = perdure_get(&store, index, got.data());
        if (read_back != PERDURE_OK || got != value) {
            fail(fmt::format("record {} reads otherwise right after its put", index));
        }
    }
};

void try_read_only(Product& product) {
    const Bytes before = product.area.bytes;
    product.changes_max = 0;
    const perdure_status first = product.open(true);
    const Bytes values = product.values();
    if (product.open(true) != first || product.values() != values) {
        product.fail("a second read-only open answers otherwise");
    }
    if (first == PERDURE_OK) { product.fail("a read-only open gives OK"); }
    if (product.area.bytes != before) { product.fail("a read-only open changed the flash"); }
}

void try_calls(Product& product, bool codes_hold) {
    if (product.open(false) != PERDURE_OK) {
        const uint8_t payload[8] = {};
        if (perdure_put(&product.store, 0, payload) != PERDURE_READ_ONLY || perdure_service(&product.store)) {
            product.fail("a store that did not open stores");
        }
        product.values();
        return;
    }
    product.values();
    for (uint16_t i = 0; i < 24 && product.wrong.empty(); i++) {
        product.put(i % 4, static_cast<uint8_t>(1 + i * 7));
        for (uint32_t steps = 0; i % 3 == 0 && perdure_service(&product.store); steps++) {
            if (steps > 100) { product.fail("service never comes to an end"); }
        }
    }
    const Bytes put = product.values();
    const perdure_status again = product.open(false);
    const Bytes got = product.values();
    if (codes_hold && again == PERDURE_OK && got != put) { product.fail("the next open reads otherwise than was put"); }
}

void try_format(Product& product) {
    product.changes = 0;
    const perdure_status status = perdure_format(&product.store, &product.config);
    product.note("format", status);
    if (status != PERDURE_OK) {
        product.fail(fmt::format("format gives {}", status_names.at(status)));
        return;
    }
    for (int turn = 0; turn < 2; turn++) {
        for (uint16_t index = 0; index < 4; index++) {
            uint8_t payload[8];
            if (perdure_get(&product.store, index, payload) != PERDURE_DEFAULT) {
                product.fail("a record is stored after format");
            }
        }
        if (product.open(false) != PERDURE_OK) { product.fail("no open after format"); }
    }
}

} // namespace

std::string try_open(std::span<const uint8_t> input, Answers* answers) {
    Area area = make_area(input);
    if (area.shape.blocks < 2) { return {}; } // no configuration: at least two blocks
    const bool codes_hold = area.check == nullptr && area.shape.check_bits >= 24;
    const uint32_t units = area.shape.blocks * area.shape.block_units;
    Product product(std::move(area), answers);
    product.changes = 0;
    if (perdure_open(&product.store, &product.config, true) == PERDURE_CONFIG) {
        product.note("open", PERDURE_CONFIG);
        uint8_t payload[8] = {};
        if (perdure_put(&product.store, 0, payload) != PERDURE_READ_ONLY || perdure_service(&product.store) ||
            perdure_format(&product.store, &product.config) != PERDURE_CONFIG || product.changes != 0) {
            return "a configuration that cannot work is used";
        }
        return product.wrong;
    }
    try_read_only(product);
    product.changes_max = 16 * units + 64;
    try_calls(product, codes_hold);
    try_format(product);
    return product.wrong;
}

} // namespace perdure::fuzz
