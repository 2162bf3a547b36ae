// Programs of tests/target, built for a Cortex-M3 and run on QEMU's mps2-an385 at 64 ns an instruction, so that a run
// is the same each time.
#pragma once

#include <string>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {

/// Whether the compiler and QEMU are there; `./dev test` installs them.
inline bool can_run_on_qemu() {
    return installed("arm-none-eabi-gcc") && installed("qemu-system-arm");
}

/// Compiles tests/target/MAIN.c with the store in `store_folder` into `folder`; gives what the compiler says.
inline Ran build_for_qemu(const ScratchFolder& folder, const std::string& main, const std::string& flags = "",
                          const std::string& store_folder = source_path("store")) {
    const std::string board = source_path("examples/orchard-valve/firmware");
    return run_shell(
        "cd '" + source_path() +
        "' && arm-none-eabi-gcc --specs=picolibc.specs -mthumb -mcpu=cortex-m3 -std=c99 -Os "
        "-Wall -Wextra -Wpedantic -Wconversion -Wshadow -Werror -ffreestanding -ffunction-sections -fdata-sections "
        "-DPERDURE_FEATURES " +
        flags + " -Itests/target -I. -I'" + store_folder + "' -I'" + board + "' tests/target/" + main +
        ".c tests/target/flash.c tests/target/product.c '" + store_folder + "/store.c' '" + board +
        "/mps2-an385.c' -nostartfiles -Wl,--gc-sections -Wl,--no-warn-rwx-segments -T '" + board +
        "/mps2-an385.ld' -o '" + folder / (main + ".elf") + "'");
}

/// Runs it; its output, and its exit code as it ended itself.
inline Ran run_on_qemu(const ScratchFolder& folder, const std::string& main) {
    return run_shell(
        "timeout 900 qemu-system-arm -M mps2-an385 -icount shift=6 -display none -monitor none -serial none"
        " -semihosting-config enable=on,target=native -kernel '" +
        folder / (main + ".elf") + "'");
}

} // namespace perdure
