#include "cli/files.hpp"

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include "tests/own_folder.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

std::string contents_of(const std::string& path) {
    std::ifstream file(path);
    return {std::istreambuf_iterator<char>(file), {}};
}

TEST(Files, ALinkStaysAndItsFileIsWritten) {
    const std::string folder = own_folder();
    ASSERT_EQ(write_file(folder + "real.txt", "old"), "");
    std::filesystem::remove(folder + "link.txt");
    std::filesystem::create_symlink("real.txt", folder + "link.txt");
    EXPECT_EQ(write_file(folder + "link.txt", "new"), "");
    EXPECT_TRUE(std::filesystem::is_symlink(folder + "link.txt"));
    EXPECT_EQ(contents_of(folder + "real.txt"), "new");
}

TEST(Files, WhatIsNoFileIsNotReplacedByOne) {
    const std::string pipe = own_folder() + "pipe";
    std::filesystem::remove(pipe);
    ASSERT_EQ(mkfifo(pipe.c_str(), 0600), 0);
    EXPECT_EQ(write_file(pipe, "text"), "cannot write '" + pipe + "': it is there, and is no file");
    EXPECT_TRUE(std::filesystem::is_fifo(pipe));
    EXPECT_NE(write_file(own_folder(), "text"), "");
}

TEST(Files, OutputThatCannotBeWrittenIsNoSuccess) {
    if (!std::filesystem::is_character_file("/dev/full")) { GTEST_SKIP() << "no /dev/full here"; }
    const std::string errors = own_folder() + "errors.txt";
    const int status = std::system(("'" + program_path() + "' parts >/dev/full 2>'" + errors + "'").c_str());
    EXPECT_EQ(WEXITSTATUS(status), 2);
    EXPECT_NE(contents_of(errors).find("the output could not be written whole"), std::string::npos);
}

} // namespace
} // namespace perdure
