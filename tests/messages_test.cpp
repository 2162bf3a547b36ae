// docs/messages.md has the words of every message: each literal of the sources that is printed as one is looked for
// there.
#include <algorithm>
#include <cctype>
#include <filesystem>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include <gtest/gtest.h>

#include "dump/damage.hpp"
#include "flash/forking.hpp"
#include "tests/firmware/emitted.hpp"
#include "tests/literals.hpp"
#include "tests/message_rules.hpp"
#include "tests/paths.hpp"
#include "upgrade/schema.hpp"

namespace perdure {
namespace {

/// What stands between backquotes in a part of the document, blanks and line ends as one blank, and "..." for the
/// names of areas and records, [record.NAME].
std::vector<std::string> code_in(const std::string& text) {
    static const std::regex code("`([^`]+)`");
    std::vector<std::string> out;
    for (std::sregex_iterator it(text.begin(), text.end(), code), end; it != end; ++it) {
        const std::string words = std::regex_replace((*it)[1].str(), std::regex("\\s+"), " ");
        out.push_back(std::regex_replace(words, std::regex(R"(\.(NAME|OTHER)\])"), "....]"));
    }
    return out;
}

/// Its pieces between "...", as fixed_pieces gives those of a format.
std::vector<std::string> told_pieces(const std::string& told) {
    return fixed_pieces(std::regex_replace(told, std::regex("\\.\\.\\."), "{}"));
}

/// Does the text have the pieces one after the other? Marks them in `found`, where it is not null.
bool has_pieces(const std::string& text, const std::vector<std::string>& pieces, std::vector<bool>* found = nullptr) {
    std::vector<size_t> places;
    size_t at = 0;
    for (const std::string& piece : pieces) {
        at = text.find(piece, at);
        if (at == std::string::npos) { return false; }
        places.push_back(at);
        at += piece.size();
    }
    for (size_t i = 0; found != nullptr && i < pieces.size(); i++) {
        std::fill_n(found->begin() + static_cast<std::ptrdiff_t>(places[i]), pieces[i].size(), true);
    }
    return !pieces.empty();
}

/// The messages of the document's tables: what stands between backquotes in the columns that are headed so.
std::vector<std::string> told_in_tables() {
    static const std::set<std::string> columns{" message ", " finding ", " assumption ", " cause ", " rule ", " word "};
    std::istringstream document(read_file(source_path("docs/messages.md")));
    std::vector<bool> is_told; // by column of the table
    std::vector<std::string> out;
    for (std::string line; std::getline(document, line);) {
        if (line.rfind('|', 0) != 0) {
            is_told.clear();
            continue;
        }
        std::vector<std::string> cells;
        std::istringstream row(line.substr(1));
        for (std::string cell; std::getline(row, cell, '|');) { cells.push_back(cell); }
        if (is_told.empty()) {
            for (const std::string& cell : cells) { is_told.push_back(columns.contains(cell)); }
            continue;
        }
        for (size_t i = 0; i < std::min(cells.size(), is_told.size()); i++) {
            if (!is_told[i]) { continue; }
            for (std::string& told : code_in(cells[i])) { out.push_back(std::move(told)); }
        }
    }
    return out;
}

TEST(Messages, EachIsTold) {
    const std::vector<std::string> told = code_in(read_file(source_path("docs/messages.md")));
    std::vector<std::vector<std::string>> told_alone;
    for (const std::string& each : told_in_tables()) { told_alone.push_back(told_pieces(each)); }
    size_t count = 0;
    std::string missing;
    for (const Literal& literal : program_literals()) {
        if (!is_message(literal)) { continue; }
        count++;
        const std::vector<std::string> pieces = fixed_pieces(literal.text);
        // A few words stand in many a message, so that they have to be told by themselves, in a table.
        const bool few = words_in(literal.text) < 3;
        const bool found =
            few ? std::find(told_alone.begin(), told_alone.end(), pieces) != told_alone.end()
                : std::any_of(told.begin(), told.end(), [&](const auto& each) { return has_pieces(each, pieces); });
        if (found) { continue; }
        missing += literal.file + ":" + std::to_string(literal.line) + ": " + literal.text + "\n";
    }
    EXPECT_GT(count, 700U);
    EXPECT_TRUE(missing.empty()) << "not in docs/messages.md:\n" << missing;
}

TEST(Messages, EachThatIsToldIsPrinted) {
    std::vector<std::vector<std::string>> printed;
    for (const Literal& literal : program_literals()) {
        if (words_in(literal.text) > 0) { printed.push_back(fixed_pieces(literal.text)); }
    }
    const std::vector<std::string> tables = told_in_tables();
    for (const std::string& told : tables) {
        const std::vector<std::string> told_now = told_pieces(told);
        std::vector<bool> found(told.size(), false);
        for (const std::vector<std::string>& pieces : printed) {
            const bool whole = told_now == pieces;
            if (whole || pieces.size() > 1 || pieces.front().size() > 7) { has_pieces(told, pieces, &found); }
        }
        size_t letters = 0;
        size_t left = 0;
        for (size_t at = 0; at < told.size(); at++) {
            if (std::isalpha(static_cast<unsigned char>(told[at])) == 0) { continue; }
            letters++;
            left += found[at] ? 0 : 1;
        }
        EXPECT_LE(left * 5, letters) << "nothing in the sources prints: " << told;
    }
    EXPECT_GT(tables.size(), 500U);
}

/// The text as a whole, with any words where "..." stands.
bool is_whole(const std::string& text, const std::string& told) {
    static const std::regex special(R"([.^$|()\[\]{}*+?\\])");
    std::string pattern = std::regex_replace(told, special, R"(\$&)");
    pattern = std::regex_replace(pattern, std::regex(R"(\\.\\.\\.\\.\\])"), R"(\..*\])"); // [record....]
    pattern = std::regex_replace(pattern, std::regex(R"(\\.\\.\\.)"), ".*");
    return std::regex_match(text, std::regex(pattern));
}

/// What was printed once, with its names and numbers, is found too: the errors that the other tests expect.
TEST(Messages, EachErrorThatOtherTestsExpectIsTold) {
    const std::vector<std::string> told = told_in_tables();
    std::set<std::string> errors;
    for (const char* folder : {"/tests/malformed", "/tests/returned/golden"}) {
        for (const auto& entry : std::filesystem::directory_iterator(source_path() + folder)) {
            if (entry.path().extension() != ".txt") { continue; }
            std::istringstream text(read_file(entry.path().string()));
            for (std::string line; std::getline(text, line);) {
                const size_t at = line.find(": error: ");
                if (at != std::string::npos) { errors.insert(line.substr(at + 9)); }
            }
        }
    }
    EXPECT_GT(errors.size(), 150U);
    for (const std::string& error : errors) {
        EXPECT_TRUE(std::any_of(told.begin(), told.end(), [&](const std::string& t) { return is_whole(error, t); }))
            << error;
    }
}

TEST(Messages, EachTroubleOfThePageIsTold) {
    const std::vector<std::string> told = code_in(read_file(source_path("docs/messages.md")));
    const std::string page = read_file(source_path("page/src/Live.svelte"));
    static const std::regex trouble("trouble_with\\(\"([^\"]+)\"");
    std::set<std::string> words;
    for (std::sregex_iterator it(page.begin(), page.end(), trouble), end; it != end; ++it) { words.insert((*it)[1]); }
    EXPECT_GE(words.size(), 4U);
    for (const std::string& said : words) {
        EXPECT_NE(std::find(told.begin(), told.end(), said + ": ..."), told.end()) << said;
    }
}

TEST(Messages, EachNameOfAnEnumerationIsTold) {
    const std::vector<std::string> told = told_in_tables();
    std::vector<std::string_view> names;
    for (size_t i = 0; i < cause_count; i++) { names.push_back(name_of(static_cast<Cause>(i))); }
    for (size_t i = 0; i < reading_kinds; i++) { names.push_back(name_of(static_cast<Reading>(i))); }
    for (size_t i = 0; i < torn_erase_kinds; i++) { names.push_back(name_of(static_cast<TornErase>(i))); }
    for (size_t i = 0; i <= static_cast<size_t>(Fate::misread); i++) { names.push_back(name_of(static_cast<Fate>(i))); }
    for (const std::string_view name : names) {
        EXPECT_FALSE(name.empty());
        EXPECT_NE(std::find(told.begin(), told.end(), name), told.end()) << name;
    }
}

} // namespace
} // namespace perdure
