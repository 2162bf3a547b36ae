// docs/messages.md has the words of every message: each literal of the sources that is printed as one is looked for
// there. A literal counts as a message unless a rule below says why not, so a new message fails until it is told.
#include <algorithm>
#include <cctype>
#include <filesystem>
#include <map>
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
#include "upgrade/schema.hpp"

namespace perdure {
namespace {

/// By folder, calls whose argument of that number is a message, and their others none.
const std::map<std::string, std::map<std::string, size_t>> message_argument{
    {"project/", {{"complain", 1}, {"complain_beside", 2}, {"complain_missing", 3}, {"refuse_key", 2}}},
    {"cli/", {{"complain", 1}, {"complain_rendered", 1}}},
    {"hex/", {{"complain", 2}}},
    {"firmware/", {{"said", 2}, {"at", 2}}},
};
const std::map<std::string, size_t> name_argument{{"named", 0}, {"missing", 0}, {"breach", 1}}; ///< any number of words

/// Calls that print nothing of their literals but what is expected (it stands beside a message), where a number comes
/// from, and words that are compared.
const std::set<std::string> no_message_in{
    "complain_type",    "see_also",      "get_text",     "get_choice", "get_number", "get_quantity",
    "get_rate_per_day", "get_address",   "tables_of",    "check_keys", "needed",     "needed_temperature",
    "needed_erases",    "read_quantity", "NeededFigure", "find",       "rfind",      "by_formula",
    "from_part",        "from_file",     "set_content",  "assert",
};

/// Files that print tables, lists, steps, code or labels; in them only what is given back as an error is a message.
const std::set<std::string> tables_only{
    "budget/demand.cpp",         // formulas of where the numbers come from
    "budget/levers.cpp",         // names of inputs, for --sensitivity
    "cli/commands.cpp",          // help, which docs/guide.md tells
    "cli/image_report.cpp",      // the steps of docs/image.md
    "cli/manual.cpp",            // the manual page
    "cuts/plan.cpp",             // what is tried, docs/testing.md
    "dossier/curves.cpp",        // names of curves
    "dossier/dossier.cpp",       // what a file of --age lacks; said as "is no result of"
    "dump/labels.cpp",           // what a unit holds, docs/inspect.md
    "dump/listing.cpp",          // the same, unit by unit
    "dump/ranges.cpp",           // the signs of the map
    "firmware/field_code.cpp",   // emitted C
    "firmware/firmware.cpp",     // names of files
    "firmware/model.cpp",        // emitted C
    "firmware/model_record.cpp", // emitted C
    "firmware/size_table.cpp",   // names of files
    "firmware/traps.cpp",        // comments of the emitted port
    "fleet/database.cpp",        // SQL
    "project/show_save.cpp",     // a save in words
};

/// Calls that give an error back.
const std::set<std::string> gives_error{"unexpected", "complain", "complain_rendered", "refuse", "Refusal"};

/// Files whose enumerations have names that are printed: the word behind "case ...: return" is told too.
const std::set<std::string> named_here{"budget/text.cpp"};

/// How figures, headings and tables that are no messages begin. docs/guide.md shows most of them.
const std::vector<std::string> labels{
    // budget
    ", one erase of every block",
    "which input kills the margin first",
    "what fails there",
    "full bar: at once",
    "shortest single changes",
    "default, docs/project-file.md",
    "where the numbers come from",
    "full, short: units",
    "saves over life",
    "wear: of all units",
    "sample in flight",
    "samples an entry",
    "bytes of an entry",
    "bytes of the depth's entries",
    "flash / raw bytes",
    "samples kept at least",
    "erases a block over life",
    "{}: lognormal, 95 %",
    "{}: triangular, {:g} to",
    // choose
    "> the choice; * on the front",
    "score: weighted mean",
    // age
    "and {} more blocks",
    "full bar: {} allowed",
    "{} ring blocks of {} units of {} B on",
    "(a total after a save",
    "write amplification",
    "longest put {:.3g} ms",
    "programming and erasing {:.4g} s",
    "{:.2f} s, {:.1f} million",
    // check
    "program unit {}, blank",
    "at most {} to erase",
    "from memory, check before use",
    "one value that holds them all",
    "each an entry of its own",
    "{} samples of {} kept",
    "supply   trips at",
    "to be found",
    "{:.4g} dips a day beside",
    "product  {}",
    "starts are lazy",
    "area     {}",
    "smallest that holds",
    "at the top",
    "record   {}",
    "heavy user: ",
    // cut, cut-log, emit
    "{:.0f} s left in this part",
    "{} starts, {} of them cut",
    "cut: saves that had not returned",
    "what it hit reads",
    "no put then",
    "{} blocks of {} units of {} B on",
    "{:<22}{:>13} cut trials",
    "{} cut points, {} cut trials",
    "saved when the supply fails: ",
    "Each distinct trial",
    "The flash before the first cut",
    "The flash at the start that shows it",
    "<testcase",
    "<failure",
    "<?xml",
    "area {}: {} ring blocks of {} bytes, 0x",
    "takes, in bytes",
    "RAM: up to 3 bytes",
    "data.c: about",
    // help and parts
    "perdure keeps a product's data",
    "perdure --manual, --completion",
    "perdure {}: {}\n\nuse",
    "print JSON instead of text",
    "can carry a store",
    "with more figures",
    "{} parts, {} can carry",
    "no source given",
    "It can carry a store",
    "It cannot carry a store as it is",
    "*: from memory",
    // inspect, many dumps
    "wear: erases of each unit's most worn block",
    "damage              units",
    "{:.2f} s, {:.1f} MB of dumps",
    "history, the newest last",
    "area {} at {}: {} blocks of",
    "{} bytes, {} of them outside",
    // the page
    "default-src 'none'",
    "text/html",
    ": data storage review",
    // owners of names in C
    "; nearest: {}",
    "the calls for all records",
    "the figures of the part",
    "the packing of records",
};

std::string trimmed(const std::string& text) {
    const size_t first = text.find_first_not_of(" \n");
    return first == std::string::npos ? "" : text.substr(first);
}

bool under(const Literal& literal, const std::string& folder) {
    return literal.file.rfind(folder, 0) == 0;
}

/// The calls around a literal, judged: no message, a message of three words or more, an error or name of any length.
enum class Place { none, text, any };

Place place_of(const Literal& literal) {
    Place out = tables_only.contains(literal.file) ? Place::none : Place::text;
    for (auto call = literal.calls.rbegin(); call != literal.calls.rend(); ++call) {
        if (no_message_in.contains(call->first)) { return Place::none; }
        if (gives_error.contains(call->first)) { out = Place::any; }
        for (const auto& [folder, arguments] : message_argument) {
            const auto argument = arguments.find(call->first);
            if (!under(literal, folder) || argument == arguments.end()) { continue; }
            if (argument->second != call->second) { return Place::none; }
            out = Place::any;
        }
        const auto name = name_argument.find(call->first);
        if (name != name_argument.end() && name->second == call->second &&
            (under(literal, "budget/") || under(literal, "upgrade/"))) {
            out = Place::any;
        }
    }
    return out;
}

bool is_message(const Literal& literal) {
    static const std::regex named("case [A-Za-z:_]+: return $");
    const size_t words = words_in(literal.text);
    if (named_here.contains(literal.file) && std::regex_search(literal.before, named)) { return words > 0; }
    const Place place = place_of(literal);
    if (place == Place::none || words == 0) { return false; }
    static const std::regex loud("(^|[^A-Za-z])[A-Z]{2,}( [A-Z]+)+([^A-Za-z]|$)"); // "THEY DISAGREE"
    if (place == Place::text && words == 2 && std::regex_search(literal.text, loud)) { return true; }
    const bool one_word = literal.text.find(' ') == std::string::npos;
    if (place == Place::text && (words < 3 || one_word)) { return false; }
    // Keys of JSON, units and words that are compared, in calls that give errors.
    if (one_word && literal.calls.back() != std::pair<std::string, size_t>("named", 0)) { return false; }
    // The words of a bound ("KEY must be ..."), and what is expected, under a name of its own.
    static const std::regex bound("(true|false), ?$");
    static const std::regex expected("(expected|example|said) ?=? ?[({]?$");
    if (std::regex_search(literal.before, bound) || std::regex_search(literal.before, expected)) { return false; }
    if (!literal.calls.empty() && literal.calls.back() == std::pair<std::string, size_t>("pair", 1)) { return false; }
    static const std::regex such_as("^an? [a-z ]+ such as \"");
    if (std::regex_search(literal.text, such_as)) { return false; }
    const std::string text = trimmed(literal.text);
    return std::none_of(labels.begin(), labels.end(),
                        [&](const std::string& label) { return text.rfind(label, 0) == 0; });
}

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
    std::istringstream document(read_file(PERDURE_SOURCE_DIR "/docs/messages.md"));
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
    const std::vector<std::string> told = code_in(read_file(PERDURE_SOURCE_DIR "/docs/messages.md"));
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
        for (const auto& entry : std::filesystem::directory_iterator(std::string(PERDURE_SOURCE_DIR) + folder)) {
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
