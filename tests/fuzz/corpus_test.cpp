// The kept inputs of the fuzzed targets, each through the very function that the fuzzer calls: what was once found, and
// what reached the most, stays tested in every build. `./dev test sanitize` runs this under the sanitizers too.
#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <regex>
#include <string>
#include <vector>

#include <gtest/gtest.h>

#include "tests/fuzz/calls_input.hpp"
#include "tests/fuzz/decode_input.hpp"
#include "tests/fuzz/inspect_input.hpp"
#include "tests/fuzz/open_input.hpp"
#include "tests/fuzz/project_input.hpp"
#include "tests/paths.hpp"

namespace perdure::fuzz {
namespace {

struct Input {
    std::string name;
    std::vector<uint8_t> bytes;
};

std::vector<Input> corpus(const std::string& target) {
    std::vector<Input> inputs;
    const std::filesystem::path folder = std::filesystem::path(source_path("tests/fuzz/corpus")) / target;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
        std::ifstream file(entry.path(), std::ios::binary);
        inputs.push_back({entry.path().filename(), {std::istreambuf_iterator<char>(file), {}}});
    }
    return inputs;
}

using Try = std::string (*)(std::span<const uint8_t>, Answers*);

/// Replays all of `target`'s inputs, and tells what they reached.
Answers replay(const std::string& target, Try attempt) {
    Answers reached;
    for (const Input& input : corpus(target)) {
        EXPECT_EQ(attempt(input.bytes, &reached), "") << target << "/" << input.name;
    }
    return reached;
}

/// Those of `wanted` that are not in `reached`.
Answers missing(const Answers& wanted, const Answers& reached) {
    Answers left;
    std::set_difference(wanted.begin(), wanted.end(), reached.begin(), reached.end(), std::inserter(left, left.end()));
    return left;
}

TEST(FuzzCorpus, Decode) {
    const Answers reached = replay("decode", [](std::span<const uint8_t> input, Answers* seen) {
        for (const std::string& kind : kinds_met(input)) { seen->insert(kind); }
        return try_decode(input);
    });
    EXPECT_EQ(missing({"doubted", "full", "lone restart", "mark", "nothing", "pending", "restart", "short", "total",
                       "voided", "foreign"},
                      reached),
              Answers{});
}

TEST(FuzzCorpus, Open) {
    EXPECT_EQ(missing({"open OK", "open BLANK", "open FOREIGN", "open READ_ONLY", "open CONFIG",
                       "open read-only READ_ONLY", "open read-only BLANK", "open read-only FOREIGN", "get OK",
                       "get DEFAULT", "get FAULT", "put OK", "put READ_ONLY", "format OK"},
                      replay("open", try_open)),
              Answers{});
}

TEST(FuzzCorpus, Calls) {
    EXPECT_EQ(missing({"put", "cut put", "service", "cut service", "open", "cut open", "format", "cut format",
                       "put backward", "open read-only"},
                      replay("calls", try_calls)),
              Answers{});
}

TEST(FuzzCorpus, Project) {
    EXPECT_EQ(missing({"errors", "holds", "fails"}, replay("project", try_project)), Answers{});
}

TEST(FuzzCorpus, Inspect) {
    EXPECT_EQ(missing({"errors", "ring", "nothing", "foreign", "power cut", "bit rot", "overwritten", "erased",
                       "missing", "another shape", "unclear"},
                      replay("inspect", try_inspect)),
              Answers{});
}

TEST(FuzzCorpus, EmptyInputsPass) {
    EXPECT_EQ(try_decode({}), "");
    EXPECT_EQ(try_open({}), "");
    EXPECT_EQ(try_calls({}), "");
    EXPECT_EQ(try_project({}), "");
    EXPECT_EQ(try_inspect({}), "");
}

// libFuzzer's documentation, "Dictionaries": a line is blank, a comment, or a word in quotes with a name before it or
// none, where a backslash stands before another one, before a quote, or before x and two hexadecimal digits. It refuses
// the whole file otherwise.
TEST(FuzzDictionary, EachLineIsOfItsGrammar) {
    const std::regex line_of(R"re(\s*(#.*)?|\s*(\w+\s*=\s*)?"([^"\\]|\\\\|\\"|\\x[0-9A-Fa-f]{2})+"\s*)re");
    EXPECT_FALSE(std::regex_match(R"("[supply]\n")", line_of));
    std::ifstream file(source_path("tests/fuzz/project.dict"));
    unsigned words = 0;
    for (std::string line; std::getline(file, line); words++) {
        EXPECT_TRUE(std::regex_match(line, line_of)) << "line " << words + 1 << ": " << line;
    }
    EXPECT_GT(words, 20U);
}

} // namespace
} // namespace perdure::fuzz
