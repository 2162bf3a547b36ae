#include "project/units.hpp"

#include <gtest/gtest.h>

namespace perdure {
namespace {

double value_of(std::string_view text, Dimension dimension) {
    const auto value = parse_quantity(text, dimension);
    EXPECT_TRUE(value.has_value()) << text;
    return value.value_or(-1);
}

TEST(Units, EachUnitHasItsFactor) {
    EXPECT_DOUBLE_EQ(value_of("250 us", Dimension::time_s), 250e-6);
    EXPECT_DOUBLE_EQ(value_of("10 ms", Dimension::time_s), 0.01);
    EXPECT_DOUBLE_EQ(value_of("45 s", Dimension::time_s), 45);
    EXPECT_DOUBLE_EQ(value_of("1.5 min", Dimension::time_s), 90);
    EXPECT_DOUBLE_EQ(value_of("6 h", Dimension::time_s), 21600);
    EXPECT_DOUBLE_EQ(value_of("365 d", Dimension::time_s), 31536000);
    EXPECT_DOUBLE_EQ(value_of("12 y", Dimension::life_y), 12);
    EXPECT_DOUBLE_EQ(value_of("2 KiB", Dimension::size_bytes), 2048);
    EXPECT_DOUBLE_EQ(value_of("1 MiB", Dimension::size_bytes), 1048576);
    EXPECT_DOUBLE_EQ(value_of("-40 C", Dimension::temperature_c), -40);
    EXPECT_DOUBLE_EQ(value_of("3300 mV", Dimension::voltage_v), 3.3);
    EXPECT_DOUBLE_EQ(value_of("500 uA", Dimension::current_ma), 0.5);
}

TEST(Units, BlanksBetweenNumberAndUnitDoNotMatter) {
    EXPECT_DOUBLE_EQ(value_of("45s", Dimension::time_s), 45);
    EXPECT_DOUBLE_EQ(value_of("  45   s ", Dimension::time_s), 45);
}

TEST(Units, RefusesWhatIsNoQuantity) {
    for (const std::string_view text : {"", " ", "s", "45", "45 V", "45 sec", "nan s", "inf s", "-inf s", "-nan s",
                                        "1e999 s", "0x10 s", "1,5 s", "4 5 s", ". s", "--4 s", "+4 s"}) {
        EXPECT_FALSE(parse_quantity(text, Dimension::time_s).has_value()) << text;
    }
}

TEST(Units, SaysWhatWasMeant) {
    EXPECT_EQ(parse_quantity("45 seconds", Dimension::time_s).error().nearest, "\"45 s\"");
    EXPECT_EQ(parse_quantity("8kB", Dimension::size_bytes).error().nearest, "\"8 KiB\"");
    EXPECT_EQ(parse_quantity("45 V", Dimension::time_s).error().message, "\"45 V\" is a voltage, not a time");
    EXPECT_EQ(parse_quantity("45 parsecs", Dimension::time_s).error().nearest, "");
}

TEST(Units, RatesAreADay) {
    EXPECT_DOUBLE_EQ(parse_rate_per_day("4/day", 365.25).value(), 4);
    EXPECT_DOUBLE_EQ(parse_rate_per_day("2 / h", 365.25).value(), 48);
    EXPECT_DOUBLE_EQ(parse_rate_per_day("1/min", 365.25).value(), 1440);
    EXPECT_DOUBLE_EQ(parse_rate_per_day("7/week", 365.25).value(), 1);
    EXPECT_DOUBLE_EQ(parse_rate_per_day("365/year", 365).value(), 1);
    EXPECT_EQ(parse_rate_per_day("4/d", 365).error().nearest, "\"4/day\"");
    for (const std::string_view text : {"", "4", "/day", "4 day", "4/", "4/day/day"}) {
        EXPECT_FALSE(parse_rate_per_day(text, 365).has_value()) << text;
    }
}

TEST(Units, ShowsTheLargestUnitInWhichAValueIsShort) {
    EXPECT_EQ(show_bytes(0), "0 B");
    EXPECT_EQ(show_bytes(1536), "1536 B");
    EXPECT_EQ(show_bytes(2048), "2 KiB");
    EXPECT_EQ(show_bytes(1048576), "1 MiB");
    EXPECT_EQ(show_seconds(45), "45 s");
    EXPECT_EQ(show_seconds(90), "90 s");
    EXPECT_EQ(show_seconds(60), "1 min");
    EXPECT_EQ(show_seconds(0.00025), "250 us");
    EXPECT_EQ(show_seconds(0.02447), "24.47 ms");
}

} // namespace
} // namespace perdure
