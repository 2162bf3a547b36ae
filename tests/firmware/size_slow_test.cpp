// store/SIZE.md is what measuring gives.
#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"

namespace perdure {
namespace {

TEST(Size, TheTablesAreThoseOfTheCompilersAndSimulators) {
    for (const char* program : {"arm-none-eabi-gcc", "avr-gcc", "clang", "qemu-system-arm", "simavr", "python3"}) {
        if (!installed(program)) { GTEST_SKIP() << program << " is not installed"; }
    }
    const Ran measured = run_shell("sh '" PERDURE_SOURCE_DIR "/tools/size.sh'");
    ASSERT_EQ(measured.code, 0) << measured.output;
    const std::string document = read_file(PERDURE_SOURCE_DIR "/store/SIZE.md");
    EXPECT_GT(measured.output.size(), 3000U);
    EXPECT_EQ(document.substr(document.find("| target |")), measured.output) << "./dev size --write";
}

} // namespace
} // namespace perdure
