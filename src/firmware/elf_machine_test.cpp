#include "firmware/elf_machine.hpp"

#include <elf.h>
#include <gtest/gtest.h>

#include "catalog/catalog.hpp"

namespace perdure {
namespace {

TEST(ElfMachine, TheCatalogueSaysWhichOneAPartRuns) {
    EXPECT_EQ(why_other_machine({EM_ARM, false}, "Cortex-M0+"), std::nullopt);
    EXPECT_EQ(why_other_machine({EM_AVR, false}, "AVR"), std::nullopt);
    EXPECT_EQ(why_other_machine({EM_MSP430, false}, "MSP430X"), std::nullopt);
    EXPECT_EQ(why_other_machine({EM_RISCV, false}, "RISC-V RV32IMC"), std::nullopt);
    EXPECT_EQ(why_other_machine({EM_RISCV, false}, "Cortex-M0+"),
              "is for another machine: RISC-V, and the part has a Cortex-M0+; give the firmware that is "
              "linked for the part");
    EXPECT_EQ(why_other_machine({EM_X86_64, true}, "Cortex-M4F"),
              "is for another machine: x86, as PCs have it, and the part has a Cortex-M4F; give the "
              "firmware that is linked for the part");
    EXPECT_TRUE(why_other_machine({0xFE01, false}, "AVR"));
}

TEST(ElfMachine, OfTwoCoresEitherWillDo) {
    EXPECT_EQ(why_other_machine({EM_ARM, false}, "Cortex-M4F + RISC-V"), std::nullopt);
    EXPECT_EQ(why_other_machine({EM_RISCV, false}, "Cortex-M4F + RISC-V"), std::nullopt);
    EXPECT_TRUE(why_other_machine({EM_AVR, false}, "Cortex-M4F + RISC-V"));
}

TEST(ElfMachine, NoCoreOfTheCatalogueHas64Bits) {
    EXPECT_EQ(why_other_machine({EM_RISCV, true}, "RISC-V RV32IMC"),
              "is for another machine: RISC-V of 64 bits, and the part has a RISC-V RV32IMC; give the firmware that is "
              "linked for the part");
    EXPECT_TRUE(why_other_machine({EM_ARM, true}, "Cortex-M0+"));
}

TEST(ElfMachine, WhereTheCoreIsNotKnownOnlyAPcsProgramIsTold) {
    EXPECT_EQ(why_other_machine({EM_ARM, false}, ""), std::nullopt);
    EXPECT_EQ(why_other_machine({EM_XTENSA, false}, "a core of our own"), std::nullopt);
    EXPECT_EQ(why_other_machine({EM_386, false}, ""),
              "is for another machine: x86, as PCs have it; give the firmware that is linked for the part");
    EXPECT_EQ(why_other_machine({EM_AARCH64, true}, ""),
              "is for another machine: Arm of 64 bits; give the firmware that is linked for the part");
}

TEST(ElfMachine, EachCoreOfTheCatalogueIsKnown) {
    for (const Device& part : catalog().devices) {
        EXPECT_TRUE(part.core.empty() || why_other_machine({EM_NONE, false}, part.core)) << part.id << part.core;
    }
}

} // namespace
} // namespace perdure
