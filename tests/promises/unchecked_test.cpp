// PERDURE_GET_UNCHECKED: the store compiled once more with it. Its calls have names of their own here, and
// `perdure_get` is that of the store as it ships, to be asked beside it.
#define PERDURE_GET_UNCHECKED 1
#define perdure_open unchecked_open
#define perdure_get unchecked_get
#define perdure_put unchecked_put
#define perdure_service unchecked_service
#define perdure_format unchecked_format
#define perdure_append unchecked_append
#define perdure_log_next unchecked_log_next
#define perdure_read_log unchecked_read_log
#define perdure_put_now unchecked_put_now
#define perdure_get_health unchecked_get_health
#define perdure_erase_count unchecked_erase_count

#include <algorithm>
#include <cstring>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wold-style-cast"
#pragma GCC diagnostic ignored "-Wuseless-cast"
extern "C" {
#include "store/store.c"
}
#pragma GCC diagnostic pop

#undef perdure_get
extern "C" perdure_status perdure_get(const perdure_store* store, uint16_t index, void* to);

namespace perdure {
namespace {

constexpr uint32_t small_bytes = 4;
constexpr uint32_t large_bytes = 200; // its length takes two bytes, its id three

/// A ring with a small value and a large one, on units of three bytes.
struct UncheckedArea {
    static constexpr uint16_t blocks = 3, block_units = 600, unit_bytes = 3;
    std::vector<uint8_t> flash = std::vector<uint8_t>(size_t{blocks} * block_units * unit_bytes, 0xFF);
    uint32_t reads_to_fault = UINT32_MAX; ///< that many read well, the next does not
    uint32_t reads = 0;
    uint32_t newest[3] = {};
    uint8_t block_flags[blocks] = {};
    uint8_t unit_buffer[unit_bytes] = {};
    const uint8_t defaults[small_bytes] = {1, 2, 3, 4};
    perdure_record records[2] = {{1, small_bytes, defaults, nullptr, 0, 0, 0},
                                 {100, large_bytes, nullptr, nullptr, 0, 0, 0}};
    perdure_port port = {
        [](void* context, uint32_t address, void* to, uint32_t bytes) {
            auto& area = *static_cast<UncheckedArea*>(context);
            area.reads++;
            if (area.reads_to_fault-- == 0) { return false; }
            std::memcpy(to, area.flash.data() + address, bytes);
            return true;
        },
        [](void* context, uint32_t address, const void* unit) {
            std::memcpy(static_cast<UncheckedArea*>(context)->flash.data() + address, unit, unit_bytes);
            return true;
        },
        [](void* context, uint32_t block) {
            auto& area = *static_cast<UncheckedArea*>(context);
            std::memset(area.flash.data() + size_t{block} * block_units * unit_bytes, 0xFF, block_units * unit_bytes);
            return true;
        },
        nullptr, this};
    perdure_config config = {&port,       records,    newest, nullptr, nullptr, block_flags, unit_buffer, 2, 0, blocks,
                             block_units, unit_bytes, 16,     0xFF,    0};
    perdure_store store = {};

    UncheckedArea() { EXPECT_EQ(perdure_format(&store, &config), PERDURE_OK); }
    UncheckedArea(const UncheckedArea&) = delete;
    UncheckedArea& operator=(const UncheckedArea&) = delete;

    void put(uint16_t index, uint32_t n) {
        std::vector<uint8_t> value(records[index].bytes);
        for (size_t i = 0; i < value.size(); i++) { value[i] = static_cast<uint8_t>(n * 31 + i); }
        ASSERT_EQ(perdure_put(&store, index, value.data()), PERDURE_OK);
    }
    /// Both ways of reading give the same status and bytes.
    void expect_alike(const std::string& when) {
        for (uint16_t index = 0; index < 2; index++) {
            std::vector<uint8_t> wanted(records[index].bytes), found = wanted;
            const perdure_status status = perdure_get(&store, index, wanted.data());
            ASSERT_EQ(unchecked_get(&store, index, found.data()), status) << when;
            ASSERT_EQ(found, wanted) << when;
        }
    }
};

TEST(UncheckedGet, ReadsWhatTheCheckedOneReads) {
    UncheckedArea area;
    area.expect_alike("fresh");
    for (uint32_t n = 0; n < 2000; n++) { // some turns of the ring
        area.put(n % 20 == 0 ? 1 : 0, n);
        area.expect_alike("put " + std::to_string(n));
        if (n % 7 == 0) { // the newest is put again as a restart entry
            ASSERT_EQ(perdure_open(&area.store, &area.config, PERDURE_WRITE), PERDURE_OK);
            area.expect_alike("start after put " + std::to_string(n));
        }
        while (perdure_service(&area.store)) {}
    }
    // A firmware with longer and with shorter records.
    for (const uint16_t bytes : {uint16_t{small_bytes - 1}, uint16_t{small_bytes}}) {
        area.records[0].bytes = bytes;
        area.put(0, bytes);
        for (const uint16_t now : {uint16_t{small_bytes - 1}, uint16_t{small_bytes}}) {
            area.records[0].bytes = now;
            ASSERT_EQ(perdure_open(&area.store, &area.config, PERDURE_WRITE), PERDURE_OK);
            area.expect_alike("as another length");
        }
    }
}

TEST(UncheckedGet, AReadThatFaultsIsAFault) {
    UncheckedArea area;
    area.put(1, 1);
    std::vector<uint8_t> value(large_bytes);
    area.reads = 0;
    ASSERT_EQ(unchecked_get(&area.store, 1, value.data()), PERDURE_OK);
    const uint32_t reads = area.reads;
    EXPECT_EQ(reads, 4U); // what it begins with, two bytes of length, the payload
    for (uint32_t at = 0; at < reads; at++) {
        area.reads_to_fault = at;
        EXPECT_EQ(unchecked_get(&area.store, 1, value.data()), PERDURE_FAULT) << at;
        area.reads_to_fault = UINT32_MAX;
    }
}

// What is given up: README.md says so.
TEST(UncheckedGet, DoesNotSeeWhatHasRottenSinceTheStart) {
    UncheckedArea area;
    area.put(0, 1);
    uint8_t value[small_bytes];
    ASSERT_EQ(unchecked_get(&area.store, 0, value), PERDURE_OK);
    const auto at = std::search(area.flash.begin(), area.flash.end(), value, value + small_bytes);
    ASSERT_NE(at, area.flash.end());
    *at ^= 0x10;
    const uint8_t rotten = *at;
    EXPECT_EQ(perdure_get(&area.store, 0, value), PERDURE_FAULT);
    EXPECT_EQ(unchecked_get(&area.store, 0, value), PERDURE_OK);
    EXPECT_EQ(value[0], rotten);
    // The next start does: it takes the value before, here the default.
    ASSERT_EQ(perdure_open(&area.store, &area.config, PERDURE_WRITE), PERDURE_OK);
    EXPECT_EQ(unchecked_get(&area.store, 0, value), PERDURE_DEFAULT);
}

} // namespace
} // namespace perdure
