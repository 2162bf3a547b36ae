#include <gtest/gtest.h>

#include "catalog/csv.hpp"

namespace perdure {
namespace {

using Records = std::vector<std::vector<std::string>>;

} // namespace

// The cases are those of RFC 4180, section 2, points 1 to 7.
TEST(Csv, LinesEndWithOrWithoutCarriageReturn) {
    EXPECT_EQ(parse_csv("aaa,bbb\r\nzzz,yyy\r\n").value(), (Records{{"aaa", "bbb"}, {"zzz", "yyy"}}));
    EXPECT_EQ(parse_csv("aaa,bbb\nzzz,yyy").value(), (Records{{"aaa", "bbb"}, {"zzz", "yyy"}}));
}

TEST(Csv, QuotedFieldsHoldCommasLineEndsAndQuotes) {
    EXPECT_EQ(parse_csv("\"aaa\",\"b\r\nbb\",\"c,c\"\r\n").value(), (Records{{"aaa", "b\r\nbb", "c,c"}}));
    EXPECT_EQ(parse_csv("\"b\"\"bb\",x").value(), (Records{{"b\"bb", "x"}}));
    EXPECT_EQ(parse_csv("\"\"\n").value(), (Records{{""}}));
}

TEST(Csv, EmptyFieldsAndBlanksAreKept) {
    EXPECT_EQ(parse_csv(",a, ,\n").value(), (Records{{"", "a", " ", ""}}));
    EXPECT_TRUE(parse_csv("").value().empty());
}

TEST(Csv, MalformedTextIsRefusedWithItsLine) {
    EXPECT_EQ(parse_csv("a\n\"b\nc").error(), "line 2: a quoted field has no end");
    EXPECT_EQ(parse_csv("a\n\"b\"c\n").error(), "line 2: a quoted field ends before its comma");
}

} // namespace perdure
