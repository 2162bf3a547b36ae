// Logs in a dump: every sample that the store reads, by number, as CSV too.
#include <gtest/gtest.h>

#include "inspect/inspection.hpp"
#include "tests/promises/log_area.hpp"

namespace perdure::returned {
namespace {

/// What the log area's project would say: a value of 4 bytes, and a log of three u16.
struct LogProject {
    Project project;
    Expected expected;

    explicit LogProject(const LogArea& area) {
        Field raw;
        raw.name = "count";
        Field level;
        level.type = FieldType::u16;
        level.bytes = 2;
        Record value;
        value.id = 1;
        value.name = "uploaded";
        value.fields = {raw};
        Record log;
        log.id = 2;
        log.name = "levels";
        log.kind = RecordKind::log;
        log.log.emplace();
        for (const char* name : {"a", "b", "c"}) {
            level.name = name;
            log.fields.push_back(level);
        }
        project.records = {value, log};
        expected.project = &project;
        ExpectedArea& to = expected.areas.emplace_back();
        to.name = "store";
        to.shape = {area.shape.blocks, area.shape.block_units, area.shape.unit_bytes, area.shape.check_bits, 0xFF};
        to.records = {&project.records[0], &project.records[1]};
        to.endurance = 10'000;
        to.erases_allowed = 5'000;
    }
};

TEST(InspectLog, EverySampleThatTheStoreReads) {
    LogArea area{LogAreaShape{}};
    ASSERT_EQ(area.format(), PERDURE_OK);
    const LogProject known(area);
    for (int round = 0; round < 400; round++) {
        ASSERT_EQ(area.append(static_cast<uint8_t>(1 + round % 4)), PERDURE_OK);
        while (perdure_service(&area.store)) {}
        if (round % 50 == 49) { ASSERT_EQ(area.open(), PERDURE_OK); }
        if (round % 40 != 39) { continue; }
        const std::string contents(area.flash.begin(), area.flash.end());
        const Inspection inspection =
            inspect(known.expected, read_dump("log.bin", contents, std::nullopt, std::nullopt), {});
        const InspectedArea& read = inspection.areas[0];
        EXPECT_TRUE(read.damage.empty()) << round << ' ' << read.damage[0].what << ": " << read.damage[0].why;
        const InspectedRecord& log = read.records[1];
        ASSERT_TRUE(log.log_next);
        EXPECT_EQ(*log.log_next, perdure_log_next(&area.store, LogArea::log));
        const std::vector<uint32_t> numbers = area.read(0);
        ASSERT_EQ(log.samples.size(), numbers.size()) << round;
        std::string csv = "number,a,b,c,block,unit\n";
        for (size_t i = 0; i < numbers.size(); i++) {
            const LogSample& sample = log.samples[i];
            EXPECT_EQ(sample.number, numbers[i]);
            EXPECT_EQ(sample.bytes, area.sample(numbers[i]));
            const auto word = [&](size_t at) { return std::to_string(sample.bytes[at] | sample.bytes[at + 1] << 8); };
            csv += std::to_string(sample.number) + "," + word(0) + "," + word(2) + "," + word(4) + "," +
                   std::to_string(sample.block) + "," + std::to_string(sample.unit) + "\n";
        }
        EXPECT_EQ(samples_csv(log), csv);
    }
}

} // namespace
} // namespace perdure::returned
