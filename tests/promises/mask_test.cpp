// The power-fail interrupt between two instructions that touch no flash: the store compiled once more, with the macro
// that keeps the interrupt out made to call it just before. Its calls have names of their own here.
#define perdure_open masked_open
#define perdure_get masked_get
#define perdure_put masked_put
#define perdure_service masked_service
#define perdure_format masked_format
#define perdure_append masked_append
#define perdure_log_next masked_log_next
#define perdure_read_log masked_read_log
#define perdure_put_now masked_put_now
#define perdure_get_health masked_get_health
#define perdure_erase_count masked_erase_count
#define LogArea MaskedLogArea
#define PERDURE_MASK() before_mask()
#define PERDURE_UNMASK() ((void)0)
static void before_mask();

#include <functional>

#include <gtest/gtest.h>

#include "tests/promises/log_area.hpp"

#pragma GCC diagnostic push
#pragma GCC diagnostic ignored "-Wold-style-cast"
#pragma GCC diagnostic ignored "-Wuseless-cast"
extern "C" {
#include "store/store.c"
}
#pragma GCC diagnostic pop

static std::function<void()> interrupt;

static void before_mask() {
    const std::function<void()> held = interrupt; // it takes itself away
    if (held) { held(); }
}

namespace perdure {
namespace {

TEST(PutNow, MayComeWhereverItIsNotKeptOut) {
    for (uint32_t at = 0; at < 300; at++) {
        LogAreaShape shape;
        shape.blocks = at % 2 == 0 ? 3 : 5;
        LogArea area(shape);
        ASSERT_EQ(area.format(), PERDURE_OK);
        uint32_t left = at;
        uint32_t last = 0xABCD0000 + at;
        bool saved = false;
        interrupt = [&] {
            if (left-- != 0) { return; }
            interrupt = nullptr;
            saved = true;
            ASSERT_EQ(perdure_put_now(&area.store, LogArea::value, &last), PERDURE_OK);
        };
        uint32_t acknowledged = 0;
        for (uint32_t value = 1; !saved; value++) {
            if (value % 3 == 0) {
                (void)perdure_put(&area.store, LogArea::value, &value);
            } else if (const uint32_t next = perdure_log_next(&area.store, LogArea::log);
                       area.append(2) == PERDURE_OK) {
                acknowledged = next + 2;
            }
        }
        for (int start = 0; start < 3; start++) {
            ASSERT_EQ(area.open(), PERDURE_OK);
            uint32_t now = 0;
            ASSERT_EQ(perdure_get(&area.store, LogArea::value, &now), PERDURE_OK);
            ASSERT_EQ(now, last) << at;
            ASSERT_GE(perdure_log_next(&area.store, LogArea::log), acknowledged) << at;
            const std::vector<uint32_t> read = area.read(0);
            for (size_t i = 1; i < read.size(); i++) { ASSERT_EQ(read[i], read[i - 1] + 1) << at; }
            if (acknowledged != 0) { ASSERT_GE(read.empty() ? 0 : read.back() + 1, acknowledged) << at; }
        }
    }
    interrupt = nullptr;
}

TEST(PutNow, IsRefusedUntilALazyStartHasDoneItsWork) {
    LogArea area({});
    ASSERT_EQ(area.format(), PERDURE_OK);
    uint32_t value = 5;
    ASSERT_EQ(perdure_put(&area.store, LogArea::value, &value), PERDURE_OK);
    ASSERT_EQ(area.open(PERDURE_LAZY), PERDURE_OK);
    area.in_operation = [&](bool) {
        EXPECT_EQ(perdure_put_now(&area.store, LogArea::value, &value), PERDURE_READ_ONLY);
    };
    EXPECT_EQ(area.append(1), PERDURE_OK);
}

} // namespace
} // namespace perdure
