// docs/guide.md and docs/project-file.md say what the program has: its commands, options and keys, and nothing else.
#include <algorithm>
#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <vector>

#include <fmt/format.h>
#include <gtest/gtest.h>

#include "cli/commands.hpp"
#include "project/read.hpp"
#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"
#include "tests/run_document.hpp"
#include "tests/run_program.hpp"

namespace perdure {
namespace {

/// The sections of a document by their headings, "## " and "### " left out, code blocks too.
std::map<std::string, std::vector<std::string>> sections_of(const std::string& path) {
    std::map<std::string, std::vector<std::string>> out;
    std::istringstream in(read_file(source_path(path)));
    std::string heading;
    bool code = false;
    for (std::string line; std::getline(in, line);) {
        if (line.rfind("```", 0) == 0) { code = !code; }
        if (code) { continue; }
        if (line.rfind("## ", 0) == 0 || line.rfind("### ", 0) == 0) {
            heading = line.substr(line.find(' ') + 1);
            continue;
        }
        out[heading].push_back(line);
    }
    return out;
}

/// What stands between backquotes.
std::vector<std::string> code_in(const std::string& text) {
    static const std::regex code("`([^`]+)`");
    std::vector<std::string> out;
    for (std::sregex_iterator it(text.begin(), text.end(), code), end; it != end; ++it) { out.push_back((*it)[1]); }
    return out;
}

/// The first cells of the rows of those tables whose first column is headed so.
std::set<std::string> first_cells(const std::vector<std::string>& lines, const std::string& head) {
    std::set<std::string> out;
    bool inside = false;
    for (const std::string& line : lines) {
        if (line.rfind("| " + head + " |", 0) == 0) { inside = true; }
        inside = inside && line.rfind('|', 0) == 0;
        if (!inside) { continue; }
        for (const std::string& code : code_in(line.substr(0, line.find('|', 1)))) { out.insert(code); }
    }
    return out;
}

TEST(Guide, PrintsWhatItShows) {
    EXPECT_GT(hold_document("docs/guide.md", false), 15U);
}

TEST(Guide, HasEveryCommandAndOptionAndNoOther) {
    const auto sections = sections_of("docs/guide.md");
    std::set<std::string> told;
    for (const auto& [heading, lines] : sections) {
        if (heading.rfind("perdure ", 0) == 0) { told.insert(heading.substr(8)); }
    }
    std::set<std::string> known;
    for (const Command& command : commands()) {
        const std::string name(command.name);
        known.insert(name);
        if (!told.contains(name)) { continue; } // said below
        const std::vector<std::string>& lines = sections.at("perdure " + name);
        const std::string use = fmt::format("    perdure {} {}", command.name, use_of(command));
        EXPECT_NE(std::find(lines.begin(), lines.end(), use), lines.end()) << use;
        std::set<std::string> options;
        for (const CommandOption& option : command.options) {
            options.insert(option.value_name.empty() ? std::string(option.name)
                                                     : fmt::format("{} {}", option.name, option.value_name));
        }
        EXPECT_EQ(first_cells(lines, "option"), options) << name;
        // What is printed for --help is the same table: none but these and the two that every command has.
        const std::string help = run_program({name, "--help"}).out;
        std::set<std::string> helped;
        static const std::regex option("\n  (--?[a-z][a-z-]*( [A-Z/=,.N]+)?)(?=  |[^ ])");
        for (std::sregex_iterator it(help.begin(), help.end(), option), end; it != end; ++it) {
            helped.insert((*it)[1]);
        }
        options.insert({"--json", "--help"});
        EXPECT_EQ(helped, options) << help;
    }
    EXPECT_EQ(told, known);
    for (const char* option : {"--json", "--help", "--version", "--manual", "--completion"}) {
        EXPECT_TRUE(first_cells(sections.at("Every command"), "option").contains(option)) << option;
    }
    EXPECT_EQ(first_cells(sections.at("Every command"), "option").size(), 5U);
}

/// The words of "a, b or c".
std::set<std::string> words_of(std::string list) {
    list = std::regex_replace(list, std::regex(" or |, "), "\n");
    std::istringstream in(list);
    std::set<std::string> out;
    for (std::string word; std::getline(in, word);) { out.insert(word); }
    return out;
}

/// The keys that the reader knows where `wrong_key` was put into a whole file: it says them when it meets another.
std::set<std::string> keys_known(const std::string& text) {
    const auto project = read_project(text, "keys.toml", catalog());
    if (project) { return {}; }
    for (const Diagnostic& diagnostic : project.error()) {
        if (diagnostic.message.rfind("unknown key \"zzqq\"", 0) == 0) { return words_of(diagnostic.expected); }
    }
    return {};
}

TEST(ProjectFileDocument, HasEveryKeyAndNoOther) {
    // Of each heading the places in a file that its tables are for.
    const std::map<std::string, std::vector<std::string>> places{
        {"[product]", {"[product]\nzzqq = 1"}},
        {"[part]", {"[part]\nzzqq = 1"}},
        {"[area.NAME]", {"[area.a]\nzzqq = 1"}},
        {"[record.NAME]",
         {"[record.r]\nzzqq = 1", "[record.r]\nfields = [ { zzqq = 1 } ]",
          "[record.r]\nfields = [ { name = \"f\" } ]\nsaves = [ { zzqq = 1 } ]"}},
        {"[supply]", {"[supply]\nzzqq = 1"}},
        {"[require]", {"[require]\nzzqq = 1"}},
        {"[[profile]]", {"[[profile]]\nzzqq = 1"}},
        {"[endurance]", {"[endurance]\nzzqq = 1", "[[endurance.pair]]\nzzqq = 1"}},
        {"[retention]", {"[retention]\nzzqq = 1"}},
        {"[[aged]]", {"[[aged]]\nzzqq = 1"}},
        {"[[deadline]]", {"[[deadline]]\nzzqq = 1"}},
        {"[energy]", {"[energy]\nzzqq = 1"}},
        {"[qualification]", {"[qualification]\nzzqq = 1"}},
        {"[wear_out]", {"[wear_out]\nzzqq = 1"}},
        {"[uncertainty]", {"[uncertainty]\nzzqq = 1", "[[uncertainty.input]]\nzzqq = 1"}},
        {"[errors]", {"[errors]\nzzqq = 1"}},
    };
    const auto sections = sections_of("docs/project-file.md");
    std::set<std::string> told;
    for (const auto& [heading, lines] : sections) {
        std::smatch match;
        if (std::regex_search(heading, match, std::regex(R"(^\[+([a-z_]+))"))) { told.insert(match[1]); }
    }
    EXPECT_EQ(told, keys_known("zzqq = 1")) << "sections of a file";
    for (const auto& [heading, files] : places) {
        SCOPED_TRACE(heading);
        ASSERT_TRUE(sections.contains(heading));
        std::set<std::string> known;
        for (const std::string& file : files) {
            const std::set<std::string> keys = keys_known(file);
            EXPECT_FALSE(keys.empty()) << file;
            known.insert(keys.begin(), keys.end());
        }
        EXPECT_EQ(first_cells(sections.at(heading), "key"), known);
    }
    EXPECT_EQ(places.size(), told.size());
    // Two small tables have no table of the document to themselves: a row names their keys.
    const std::map<std::string, std::string> rows{
        {"| `protected` |", "[part]\nprotected = [ { zzqq = 1 } ]"},
        {"| `pair` | tables | the part's own figure |", "[[retention.pair]]\nzzqq = 1"},
    };
    const std::string document = read_file(source_path("docs/project-file.md"));
    for (const auto& [row, file] : rows) {
        const size_t at = document.find("\n" + row);
        ASSERT_NE(at, std::string::npos) << row;
        const std::vector<std::string> code = code_in(document.substr(at + 1, document.find('\n', at + 1) - at - 1));
        const std::set<std::string> keys = keys_known(file);
        EXPECT_FALSE(keys.empty()) << file;
        for (const std::string& key : keys) {
            EXPECT_NE(std::find(code.begin(), code.end(), key), code.end()) << key << " of " << row;
        }
    }
}

} // namespace
} // namespace perdure
