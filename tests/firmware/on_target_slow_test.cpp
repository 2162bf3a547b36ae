// The store on a Cortex-M3 under QEMU: saves from an interrupt at any instruction, and a thousand resets in the middle
// of flash operations. Each program of tests/target says what it did; that it would notice is tried with what is wrong
// on purpose.
#include <gtest/gtest.h>

#include "tests/firmware/on_qemu.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

TEST(OnTarget, ASaveMayInterruptAnyCallAnywhere) {
    if (!can_run_on_qemu()) { GTEST_SKIP() << "arm-none-eabi-gcc or qemu-system-arm is not installed"; }
    const ScratchFolder folder;
    const Ran built = build_for_qemu(folder, "interrupts", "-DFILLS=12u -DSTRIDE=997u");
    ASSERT_EQ(built.code, 0) << built.output;
    const Ran ran = run_on_qemu(folder, "interrupts");
    EXPECT_EQ(ran.code, 0);
    EXPECT_NE(ran.output.find(" in an erase; 0 do not hold\n"), std::string::npos) << ran.output;
}

// Every instruction of one put.
TEST(OnTarget, WithoutTheMaskASaveIsMissed) {
    if (!can_run_on_qemu()) { GTEST_SKIP() << "arm-none-eabi-gcc or qemu-system-arm is not installed"; }
    const ScratchFolder folder;
    for (const bool masked : {true, false}) {
        const std::string flags = "-DFILLS=1u -DSTRIDE=1u -DAREAS_TRIED=1u -DFIRST_CALL=1u -DLAST_CALL=1u";
        const Ran built = build_for_qemu(folder, "interrupts", flags + (masked ? "" : " -DMASK_NOTHING"));
        ASSERT_EQ(built.code, 0) << built.output;
        const Ran ran = run_on_qemu(folder, "interrupts");
        EXPECT_EQ(ran.code, masked ? 0 : 1) << ran.output;
        EXPECT_EQ(ran.output.find("does not hold: ") == std::string::npos, masked) << ran.output;
    }
}

TEST(OnTarget, AThousandPowerCutsLoseNothing) {
    if (!can_run_on_qemu()) { GTEST_SKIP() << "arm-none-eabi-gcc or qemu-system-arm is not installed"; }
    const ScratchFolder folder;
    const Ran built = build_for_qemu(folder, "cuts");
    ASSERT_EQ(built.code, 0) << built.output;
    const Ran ran = run_on_qemu(folder, "cuts");
    EXPECT_EQ(ran.code, 0);
    EXPECT_EQ(ran.output.rfind("1000 cuts: ", 0), 0U) << ran.output;
}

// Two of the faults of tests/faults, in the store that is cut here.
TEST(OnTarget, TheCutsFindFaultsOfTheStore) {
    if (!can_run_on_qemu()) { GTEST_SKIP() << "arm-none-eabi-gcc or qemu-system-arm is not installed"; }
    for (const char* name : {"no_restart_entry", "check_ignored"}) {
        SCOPED_TRACE(name);
        const ScratchFolder folder;
        const std::string fault = read_file(source_path("tests/faults/") + name + ".fault");
        const std::string heading = "--- store/store.c\n";
        const std::string instead = "--- instead\n";
        const size_t first = fault.find(heading) + heading.size();
        const size_t second = fault.find(instead);
        ASSERT_NE(second, std::string::npos);
        const std::string right = fault.substr(first, second - first);
        std::string store = read_file(source_path("store/store.c"));
        const size_t at = store.find(right.substr(0, right.size() - 1));
        ASSERT_NE(at, std::string::npos);
        const std::string wrong = fault.substr(second + instead.size());
        store.replace(at, right.size() - 1, wrong.substr(0, wrong.find_last_not_of('\n') + 1));
        std::filesystem::create_directory(folder.path() / "store");
        for (const char* header : {"store.h", "port.h"}) {
            std::filesystem::copy(source_path("store/") + header, folder.path() / "store");
        }
        write_file(folder / "store/store.c", store);
        const Ran built = build_for_qemu(
            folder, "cuts", "-Wno-unused-function -Wno-unused-variable -Wno-unused-parameter", folder / "store");
        ASSERT_EQ(built.code, 0) << built.output;
        const Ran ran = run_on_qemu(folder, "cuts");
        EXPECT_EQ(ran.code, 1);
        EXPECT_EQ(ran.output.rfind("does not hold: ", 0), 0U) << ran.output;
    }
}

} // namespace
} // namespace perdure
