#include "firmware/elf_machine.hpp"

#include <algorithm>
#include <array>

#include <elf.h>
#include <fmt/format.h>

namespace perdure {
namespace {

/// A word of the catalogue's column `core`, and the machine that linkers put into files for it.
struct CoreMachine {
    std::string_view word;
    uint16_t machine;
    std::string_view name;
};

// The numbers are those of elf.h.
constexpr std::array core_machines{
    CoreMachine{"Cortex", EM_ARM, "Arm"}, CoreMachine{"RISC-V", EM_RISCV, "RISC-V"},
    CoreMachine{"AVR", EM_AVR, "AVR"},    CoreMachine{"MSP430", EM_MSP430, "MSP430"},
    CoreMachine{"STM8", EM_STM8, "STM8"}, CoreMachine{"C28x", EM_TI_C2000, "TI C2000"},
};

bool is_x86(uint16_t machine) {
    return machine == EM_386 || machine == EM_X86_64;
}

std::string name_of(const ElfMachine& machine) {
    if (is_x86(machine.number)) { return "x86, as PCs have it"; }
    std::string name = machine.number == EM_AARCH64 ? "Arm" : fmt::format("machine {} of ELF", machine.number);
    for (const CoreMachine& one : core_machines) {
        if (one.machine == machine.number) { name = one.name; }
    }
    return name + (machine.is_64_bit ? " of 64 bits" : "");
}

} // namespace

std::optional<std::string> why_other_machine(const ElfMachine& machine, std::string_view core) {
    const auto in_core = [&](const CoreMachine& one) { return core.find(one.word) != std::string_view::npos; };
    const bool core_known = std::any_of(core_machines.begin(), core_machines.end(), in_core);
    const bool fits =
        core_known ? std::any_of(core_machines.begin(), core_machines.end(),
                                 [&](const CoreMachine& one) { return in_core(one) && one.machine == machine.number; })
                   : !is_x86(machine.number);
    if (fits && !machine.is_64_bit) { return std::nullopt; }
    return fmt::format("is for another machine: {}{}; give the firmware that is linked for the part", name_of(machine),
                       core_known ? fmt::format(", and the part has a {}", core) : "");
}

} // namespace perdure
