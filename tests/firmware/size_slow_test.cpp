// store/SIZE.md is what measuring gives.
#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

TEST(Size, TheTablesAreThoseOfTheCompilersAndSimulators) {
    for (const char* program : {"arm-none-eabi-gcc", "avr-gcc", "clang", "qemu-system-arm", "simavr", "python3"}) {
        if (!installed(program)) { GTEST_SKIP() << program << " is not installed"; }
    }
    const Ran measured = run_shell("sh '" + source_path("tools/size.sh") + "'");
    ASSERT_EQ(measured.code, 0) << measured.output;
    const std::string document = read_file(source_path("store/SIZE.md"));
    EXPECT_GT(measured.output.size(), 3000U);
    EXPECT_EQ(document.substr(document.find("| target |")), measured.output) << "./dev size --write";
}

} // namespace
} // namespace perdure
