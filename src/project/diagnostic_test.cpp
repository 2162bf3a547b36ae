#include "project/diagnostic.hpp"

#include <gtest/gtest.h>

namespace perdure {
namespace {

Diagnostic error_at(uint32_t line, uint32_t column, std::string line_text, uint32_t length = 1) {
    Diagnostic diagnostic;
    diagnostic.path = "pump.toml";
    diagnostic.span = {{line, column}, length};
    diagnostic.message = "wrong";
    diagnostic.line_text = std::move(line_text);
    return diagnostic;
}

TEST(Diagnostic, EditDistanceOfKnownPairs) {
    // kitten/sitting = 3 is the textbook pair for insert, drop and replace.
    EXPECT_EQ(edit_distance("kitten", "sitting"), 3U);
    EXPECT_EQ(edit_distance("", "abc"), 3U);
    EXPECT_EQ(edit_distance("abc", ""), 3U);
    EXPECT_EQ(edit_distance("lfie", "life"), 1U); // neighbours swapped
    EXPECT_EQ(edit_distance("LIFE", "life"), 0U);
}

TEST(Diagnostic, NearestIsEmptyWhenNothingIsNear) {
    const std::vector<std::string> keys{"every", "events", "changed"};
    EXPECT_EQ(nearest("evry", keys), "every");
    EXPECT_EQ(nearest("chnaged", keys), "changed");
    EXPECT_EQ(nearest("colour", keys), "");
    EXPECT_EQ(nearest("", keys), "");
    EXPECT_EQ(nearest(std::string(100000, 'e'), keys), "");
}

TEST(Diagnostic, CaretStandsUnderThePlace) {
    EXPECT_EQ(render(error_at(3, 5, "abc def", 3)), "pump.toml:3:5: error: wrong\n    abc def\n        ^~~\n");
}

TEST(Diagnostic, CaretCountsCharactersNotBytes) {
    EXPECT_EQ(render(error_at(1, 3, "\xC3\xBC\xE2\x82\xAC!")),
              "pump.toml:1:3: error: wrong\n    \xC3\xBC\xE2\x82\xAC!\n      ^\n");
}

TEST(Diagnostic, CharactersThatSteerATerminalAreNotPrinted) {
    EXPECT_EQ(render(error_at(1, 1, "\x1B[31m\tx\x7F\xC2\x9B")), "pump.toml:1:1: error: wrong\n    ?[31m x??\n    ^\n");
    Diagnostic escape = error_at(0, 0, "");
    escape.message = "no \x1B[2J";
    EXPECT_EQ(render(escape), "pump.toml: error: no ?[2J\n");
}

TEST(Diagnostic, BrokenUtf8IsShownAsQuestionMarks) {
    EXPECT_EQ(render(error_at(1, 1, "\xE2\x82")), "pump.toml:1:1: error: wrong\n    ?\n    ^\n");
    EXPECT_EQ(render(error_at(1, 1, "\x80\xFF")), "pump.toml:1:1: error: wrong\n    ??\n    ^\n");
}

TEST(Diagnostic, LongLinesAreCutAroundThePlace) {
    const std::string text = render(error_at(1, 500, std::string(1000, 'x')));
    size_t begin = 0;
    for (size_t end = text.find('\n'); end != std::string::npos; begin = end + 1, end = text.find('\n', begin)) {
        EXPECT_LE(end - begin, 80U);
    }
    EXPECT_NE(text.find("    <xxx"), std::string::npos);
}

TEST(Diagnostic, CaretBehindTheLineIsAtItsEnd) {
    EXPECT_EQ(render(error_at(1, 99, "abc", 50)), "pump.toml:1:99: error: wrong\n    abc\n       ^\n");
}

TEST(Diagnostic, OrderIsByLineThenColumn) {
    std::vector<Diagnostic> errors{error_at(9, 1, ""), error_at(2, 7, ""), error_at(2, 3, "")};
    order_by_place(errors);
    EXPECT_EQ(errors[0].span.place.column, 3U);
    EXPECT_EQ(errors[1].span.place.column, 7U);
    EXPECT_EQ(errors[2].span.place.line, 9U);
}

} // namespace
} // namespace perdure
