#include "inspect/samples.hpp"

#include <gtest/gtest.h>

#include "inspect/inspection.hpp"

namespace perdure {
namespace {

/// A log of four samples kept as one value: the cycle and a code.
Record short_log() {
    Record record;
    record.name = "faults";
    record.id = 7;
    record.fields = {Field{"at_cycle", FieldType::u16, 2, std::nullopt, 0, {}},
                     Field{"code", FieldType::u8, 1, std::nullopt, 0, {}}};
    record.log.emplace();
    record.log->short_log = true;
    record.log->depth_samples = 4;
    return record;
}

/// Six were appended: the fifth and the sixth lie where the first two did.
const std::vector<uint8_t> stored{6, 0, 0, 0, 0xEC, 3, 14, 0xED, 3, 15, 0xEA, 3, 12, 0xEB, 3, 13};

TEST(Samples, ALogKeptAsOneValueIsReadInTheOrderOfItsNumbers) {
    const Record record = short_log();
    InspectedRecord of;
    of.id = record.id;
    of.record = &record;
    of.stored = true;
    of.payload = stored;
    collect_samples(of, {}, true);
    EXPECT_EQ(of.log_next, 6U);
    EXPECT_EQ(of.sample_count, 4U);
    EXPECT_EQ(samples_csv(of), "number,at_cycle,code,block,unit\n"
                               "2,1002,12,0,0\n"
                               "3,1003,13,0,0\n"
                               "4,1004,14,0,0\n"
                               "5,1005,15,0,0\n");
}

TEST(Samples, ALogKeptAsOneValueOfAnotherSizeIsNotTakenApart) {
    const Record record = short_log();
    InspectedRecord of;
    of.record = &record;
    of.stored = true;
    of.payload.assign(stored.begin(), stored.end() - 3);
    collect_samples(of, {}, true);
    EXPECT_FALSE(of.log_next);
    EXPECT_TRUE(of.samples.empty());
    EXPECT_EQ(payload_text(7, of.payload, labels_of({&record})),
              "a log of another size: 06 00 00 00 EC 03 0E ED 03 0F EA 03 0C");
}

TEST(Samples, AListingNamesItsNewestSample) {
    const Record record = short_log();
    EXPECT_EQ(payload_text(7, stored, labels_of({&record})),
              "a log of 4 samples, the newest is number 5: at_cycle = 1005, code = 15");
    EXPECT_EQ(payload_text(7, std::vector<uint8_t>(16), labels_of({&record})), "a log without samples yet");
}

} // namespace
} // namespace perdure
