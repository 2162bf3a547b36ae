// The bytes in flash are the same whatever the processor's order of bytes: one program of tests/target, here and for a
// big-endian PowerPC under QEMU's user mode.
#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

Ran build_bytes(const ScratchFolder& folder, const std::string& compiler, const std::string& program) {
    return run_shell("cd '" + source_path() + "' && " + compiler +
                     " -std=c99 -O1 -Wall -Wextra -Werror -DPERDURE_FEATURES -Itests/target -I. tests/target/bytes.c "
                     "tests/target/flash.c tests/target/product.c store/store.c -o '" +
                     folder / program + "'");
}

TEST(BigEndian, LeavesTheSameBytesInFlash) {
    for (const char* program : {"powerpc-linux-gnu-gcc", "qemu-ppc"}) {
        if (!installed(program)) { GTEST_SKIP() << program << " is not installed"; }
    }
    const ScratchFolder folder;
    const Ran here = build_bytes(folder, "cc", "here");
    ASSERT_EQ(here.code, 0) << here.output;
    const Ran there = build_bytes(folder, "powerpc-linux-gnu-gcc -static", "there");
    ASSERT_EQ(there.code, 0) << there.output;
    const Ran little = run_shell("'" + folder / "here" + "' 2> '" + folder / "here.order" + "'");
    const Ran big = run_shell("qemu-ppc '" + folder / "there" + "' 2> '" + folder / "there.order" + "'");
    EXPECT_EQ(little.code, 0) << little.output;
    EXPECT_EQ(big.code, 0) << big.output;
    EXPECT_EQ(read_file(folder / "here.order"), "little-endian\n");
    EXPECT_EQ(read_file(folder / "there.order"), "big-endian\n");
    EXPECT_EQ(little.output, big.output);
    EXPECT_GT(little.output.size(), 7000U); // 40 prints of the flash, then all of it
}

} // namespace
} // namespace perdure
