// The transcripts in README.md, and in that of an example, are what the program prints today. With
// PERDURE_WRITE_TRANSCRIPTS set they are written anew instead.
#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <regex>
#include <sstream>
#include <string>

#include <gtest/gtest.h>

#include "tests/paths.hpp"

namespace {

std::string output_of(const std::string& command) {
    std::string text;
    FILE* pipe =
        popen(("cd '" + perdure::source_path() + "' && '" + perdure::program_path() + "' " + command).c_str(), "r");
    if (pipe == nullptr) { return text; }
    std::array<char, 4096> piece{};
    for (size_t bytes = 0; (bytes = fread(piece.data(), 1, piece.size(), pipe)) > 0;) {
        text.append(piece.data(), bytes);
    }
    pclose(pipe);
    return text;
}

/// Compares the first fenced block of `file` after `build/perdure COMMAND`, or replaces it.
void hold(const std::string& command, const std::string& printed, const std::string& file = "README.md") {
    const std::string path = perdure::source_path(file);
    std::stringstream text;
    text << std::ifstream(path).rdbuf();
    std::string readme = text.str();
    const size_t named = readme.find("`build/perdure " + command + "`");
    ASSERT_NE(named, std::string::npos);
    const size_t begin = readme.find("```\n", named) + 4;
    const size_t end = readme.find("```\n", begin);
    ASSERT_NE(end, std::string::npos);
    if (std::getenv("PERDURE_WRITE_TRANSCRIPTS") != nullptr) {
        readme.replace(begin, end - begin, printed);
        std::ofstream(path) << readme;
        return;
    }
    EXPECT_EQ(readme.substr(begin, end - begin), printed);
}

TEST(Readme, BudgetTranscriptIsWhatIsPrinted) {
    const std::string command = "budget examples/orchard-valve/orchard-valve.toml";
    const std::string all = output_of(command);
    const size_t sources = all.find("\nwhere the numbers come from");
    ASSERT_NE(sources, std::string::npos);
    hold(command, all.substr(0, sources));
}

TEST(Readme, AgeTranscriptIsWhatIsPrinted) {
    const std::string command = "age examples/orchard-valve/orchard-valve.toml";
    std::string all = output_of(command);
    ASSERT_GT(all.size(), 2u);
    all.erase(all.rfind('\n', all.size() - 2) + 1); // the time it took
    hold(command, all);
}

TEST(Readme, CutTranscriptIsWhatIsPrinted) {
    const std::string command = "cut examples/orchard-valve/orchard-valve.toml --length 1 --nested 2 --threads 1";
    hold(command, std::regex_replace(output_of(command), std::regex(",? +[0-9.]+ s\n"), "\n"));
}

TEST(Readme, UpgradeTranscriptIsWhatIsPrinted) {
    const std::string folder = "examples/grain-dryer-meter/";
    const std::string command = "upgrade " + folder + "versions/1.toml " + folder + "grain-dryer-meter.toml";
    hold(command, output_of(command), folder + "README.md");
}

} // namespace
