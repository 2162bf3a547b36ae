// What store/README.md prints as C compiles as it stands there, without a warning, with the folder copied as it says,
// and works.
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <string>

#include <gtest/gtest.h>

#include "tests/own_folder.hpp"
#include "tests/paths.hpp"

namespace {

namespace fs = std::filesystem;

TEST(StoreReadme, ItsExampleCompilesAndCountsOverStarts) {
    const fs::path source = perdure::source_path();
    std::stringstream text;
    text << std::ifstream(source / "store/README.md").rdbuf();
    const std::string readme = text.str();
    const size_t begin = readme.find("```c\n");
    ASSERT_NE(begin, std::string::npos);
    const size_t end = readme.find("```\n", begin + 5);
    ASSERT_NE(end, std::string::npos);

    const perdure::ScratchFolder scratch;
    const fs::path folder = scratch.path();
    fs::copy(source / "store", folder / "store");
    fs::copy(source / "tests/promises/readme_main.c", folder);
    std::ofstream(folder / "readme_example.c") << readme.substr(begin + 5, end - begin - 5);
    const std::string compile =
        "cd '" + folder.string() +
        "' && cc -std=c99 -Wall -Wextra -Wpedantic -Werror -Istore readme_main.c store/store.c -o pump";
    EXPECT_EQ(std::system(compile.c_str()), 0);
    EXPECT_EQ(std::system(("'" + (folder / "pump").string() + "'").c_str()), 0);
}

} // namespace
