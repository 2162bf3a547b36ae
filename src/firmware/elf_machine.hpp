// Is an ELF file linked for the part's processor? Pure.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace perdure {

/// What an ELF file's header says of the processor it is for.
struct ElfMachine {
    uint16_t number = 0; ///< e_machine, as elf.h numbers them
    bool is_64_bit = false;
};

/// Why a program for `machine` cannot be the firmware of a part with this core, as a text without a full stop; nothing
/// where it can. `core` is that of the catalogue ("Cortex-M0+", "Cortex-M4F + RISC-V": either will do). Where it is
/// empty or of a kind not known here, only what a PC runs is told: files of 64 bits, and those for x86.
std::optional<std::string> why_other_machine(const ElfMachine& machine, std::string_view core);

} // namespace perdure
