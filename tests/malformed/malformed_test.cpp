// Each NAME.toml beside this file is a wrong project file; NAME.txt is the message for it, to the letter, carets
// included. After a wanted change of messages, PERDURE_REWRITE_EXPECTED=1 writes the .txt files anew (and fails, so
// that nobody leaves it on): read the difference before it is kept.
#include <algorithm>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

#include "project/read.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

namespace fs = std::filesystem;

std::string read_file(const fs::path& path) {
    std::ifstream file(path, std::ios::binary);
    std::ostringstream text;
    text << file.rdbuf();
    return text.str();
}

/// Invented parts, so that the messages do not change with the catalogue. Only the ids of two are real, for the
/// "nearest" line.
Catalog small_catalog() {
    Device whole;
    whole.id = "stm32g071";
    whole.flash_bytes = 131072;
    whole.runs = {{64, 2048, 0}};
    whole.program_bytes = 8;
    whole.program_rule = "ecc-zero";
    whole.erased_value = "0xFF";
    whole.read_while_write = "stall";
    whole.erase_ms_max = {40};
    whole.program_us_max = 125;
    whole.endurance_cycles = 10000;
    Device other = whole;
    other.id = "stm32l476";
    Device typical = whole; // typical times only
    typical.id = "typical30";
    typical.erase_ms_max.clear();
    typical.program_us_max.reset();
    Catalog catalog;
    catalog.devices = {whole, other, typical};
    return catalog;
}

std::vector<fs::path> malformed_files() {
    std::vector<fs::path> files;
    for (const fs::directory_entry& entry : fs::directory_iterator(source_path("tests/malformed"))) {
        if (entry.path().extension() == ".toml") { files.push_back(entry.path()); }
    }
    std::sort(files.begin(), files.end());
    return files;
}

TEST(Malformed, EachFileGivesItsMessageToTheLetter) {
    const std::vector<fs::path> files = malformed_files();
    ASSERT_GE(files.size(), 30U);
    const bool rewrite = std::getenv("PERDURE_REWRITE_EXPECTED") != nullptr;
    const Catalog parts = small_catalog();
    for (const fs::path& path : files) {
        SCOPED_TRACE(path.filename().string());
        const auto project = read_project(read_file(path), path.filename().string(), parts);
        ASSERT_FALSE(project.has_value()) << "was read without an error";
        fs::path expected = path;
        expected.replace_extension(".txt");
        if (rewrite) {
            std::ofstream(expected, std::ios::binary) << render(project.error());
            continue;
        }
        ASSERT_TRUE(fs::exists(expected));
        EXPECT_EQ(render(project.error()), read_file(expected));
    }
    if (rewrite) { FAIL() << "expected messages were written anew"; }
}

TEST(Malformed, NoExpectedMessageIsLeftOver) {
    for (const fs::directory_entry& entry : fs::directory_iterator(source_path("tests/malformed"))) {
        if (entry.path().extension() != ".txt") { continue; }
        fs::path file = entry.path();
        file.replace_extension(".toml");
        EXPECT_TRUE(fs::exists(file)) << entry.path().filename();
    }
}

TEST(Malformed, ErrorsComeInTheOrderOfTheFile) {
    for (const fs::path& path : malformed_files()) {
        const auto project = read_project(read_file(path), path.filename().string(), small_catalog());
        ASSERT_FALSE(project.has_value()) << path;
        const std::vector<Diagnostic>& errors = project.error();
        for (size_t i = 1; i < errors.size(); ++i) {
            const Place& before = errors[i - 1].span.place;
            const Place& after = errors[i].span.place;
            EXPECT_TRUE(before.line < after.line || (before.line == after.line && before.column <= after.column))
                << path;
        }
    }
}

} // namespace
} // namespace perdure
