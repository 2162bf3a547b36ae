// `perdure check --elf`: what lies in an area is named. The ELF files are linked here, for the valve's Cortex-M0+ and,
// where that must be refused, for this machine.
#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

/// The orchard valve with these lines in [part]. Its area is the top 6 KiB of 128 KiB.
std::string valve(const ScratchFolder& folder, const std::string& part_lines) {
    std::string text = read_file(example("orchard-valve"));
    const std::string catalogued = "catalog = \"stm32g071\"\n";
    text.insert(text.find(catalogued) + catalogued.size(), part_lines);
    write_file(folder / "valve.toml", text);
    return folder / "valve.toml";
}

const std::string flash_start = "flash_start = \"0x08000000\"\n";

/// Links a program with code at 0x08000000 and `lookup`, a table of 256 bytes, at this address.
void link_at(const ScratchFolder& folder, const std::string& table_address, const std::string& flags = "",
             const std::string& compiler = "arm-none-eabi-gcc -mthumb -mcpu=cortex-m0plus") {
    write_file(folder / "fw.c", "const int lookup[64] = {1};\nint counter = 5;\nvoid _start(void) { for (;;) { } }\n");
    const Ran ran =
        run_shell(compiler +
                  " -nostdlib -static -ffreestanding -fno-asynchronous-unwind-tables -Wl,--build-id=none"
                  " -Wl,-z,noseparate-code -Wl,-z,max-page-size=16 -Wl,-Ttext=0x08000000 -Wl,-Tdata=0x20000000 "
                  "-Wl,--section-start=.rodata=" +
                  table_address + " " + flags + " '" + folder / "fw.c" + "' -o '" + folder / "fw.elf" + "'");
    ASSERT_EQ(ran.code, 0) << ran.output;
}

Ran check(const ScratchFolder& folder, const std::string& project, const std::string& options = "") {
    return run_shell("cd '" + folder.path().string() + "' && '" + program_path() + "' check '" + project +
                     "' --elf fw.elf " + options);
}

TEST(CheckElf, NothingInTheWayHolds) {
    const ScratchFolder folder;
    link_at(folder, "0x08010000");
    const Ran ran = check(folder, valve(folder, flash_start));
    EXPECT_EQ(ran.code, 0) << ran.output;
    EXPECT_NE(ran.output.find("map      area store at 0x0801E800, 6 KiB: nothing of fw.elf is in the way\n"),
              std::string::npos)
        << ran.output;
}

TEST(CheckElf, WhatIsInTheWayIsNamed) {
    const ScratchFolder folder;
    link_at(folder, "0x0801E780"); // 0x80 bytes below the area, the table ends 0x80 bytes inside
    const Ran ran = check(folder, valve(folder, flash_start));
    EXPECT_EQ(ran.code, 1) << ran.output;
    EXPECT_NE(ran.output.find("section .rodata is loaded into it"), std::string::npos) << ran.output;
    EXPECT_NE(ran.output.find("lookup (256 bytes at 0x0801E780)"), std::string::npos) << ran.output;
    EXPECT_NE(check(folder, valve(folder, flash_start), "--json").output.find("lookup (256 bytes at 0x0801E780)"),
              std::string::npos);
}

TEST(CheckElf, EndsAtTheAreasEdges) {
    const ScratchFolder folder;
    link_at(folder, "0x0801E700"); // the table's last byte is the one before the area
    EXPECT_EQ(check(folder, valve(folder, flash_start)).code, 0);
    link_at(folder, "0x0801E704");
    EXPECT_EQ(check(folder, valve(folder, flash_start)).code, 1);
}

TEST(CheckElf, AStrippedFileIsCheckedWithoutSymbols) {
    const ScratchFolder folder;
    link_at(folder, "0x0801E780", "-s");
    const Ran ran = check(folder, valve(folder, flash_start));
    EXPECT_EQ(ran.code, 1) << ran.output;
    EXPECT_NE(ran.output.find("section .rodata is loaded into it"), std::string::npos) << ran.output;
    EXPECT_EQ(ran.output.find("lookup"), std::string::npos);
}

TEST(CheckElf, ALinkerScriptOfAnotherProjectIsTold) {
    const ScratchFolder folder;
    link_at(folder, "0x08010000", "-Wl,--defsym=data_store_start=0x0801E000");
    const Ran ran = check(folder, valve(folder, flash_start));
    EXPECT_EQ(ran.code, 1) << ran.output;
    EXPECT_NE(ran.output.find("the linker has data_store_start at"), std::string::npos) << ran.output;
    EXPECT_NE(ran.output.find("0x0801E000: emit and link again"), std::string::npos) << ran.output;
    link_at(folder, "0x08010000", "-Wl,--defsym=data_store_start=0x0801E800");
    EXPECT_EQ(check(folder, valve(folder, flash_start)).code, 0);
}

TEST(CheckElf, WhatIsNoProgramIsSaid) {
    const ScratchFolder folder;
    const std::string project = valve(folder, flash_start);
    EXPECT_EQ(check(folder, project).output, "perdure: error: fw.elf: No such file or directory\n");
    write_file(folder / "fw.elf", ":020000040800F2\n");
    const Ran hex = check(folder, project);
    EXPECT_EQ(hex.code, 2);
    EXPECT_EQ(hex.output,
              "perdure: error: fw.elf is no ELF file; give what the linker put out, not a HEX or binary file\n");
    ASSERT_EQ(run_shell("echo 'int a = 1;' | arm-none-eabi-gcc -x c -c - -o '" + folder / "fw.elf" + "'").code, 0);
    EXPECT_EQ(check(folder, project).output,
              "perdure: error: fw.elf has no segment to load; give the linked program, not an object file\n");
    link_at(folder, "0x08010000");
    const Ran start = check(folder, valve(folder, ""));
    EXPECT_EQ(start.code, 2);
    EXPECT_NE(start.output.find("--elf needs the address at which flash starts"), std::string::npos) << start.output;
}

TEST(CheckElf, AProgramForAnotherMachineIsRefused) {
    const ScratchFolder folder;
    const std::string project = valve(folder, flash_start);
    link_at(folder, "0x08010000", "", "cc"); // nothing in the way, and of no part's firmware
    const Ran ran = check(folder, project);
    EXPECT_EQ(ran.code, 2);
    EXPECT_EQ(ran.output.find("perdure: error: fw.elf is for another machine: "), 0U) << ran.output;
    link_at(folder, "0x08010000");
    std::string elf = read_file(folder / "fw.elf");
    elf[18] = 83; // e_machine: EM_AVR
    write_file(folder / "fw.elf", elf);
    EXPECT_EQ(check(folder, project).output, "perdure: error: fw.elf is for another machine: AVR, and the part has a\n"
                                             "  Cortex-M0+; give the firmware that is linked for the part\n");
}

// Any damage to the file ends in an answer, never in a crash.
TEST(CheckElf, DamagedFilesAreSafe) {
    const ScratchFolder folder;
    const std::string project = valve(folder, flash_start);
    link_at(folder, "0x0801E780");
    const std::string whole = read_file(folder / "fw.elf");
    for (size_t i = 0; i < 64; ++i) {
        std::string damaged = whole;
        damaged[(i * 7919) % (i < 32 ? 64 : whole.size())] = static_cast<char>(0xFF - i);
        if (i % 5 == 0) { damaged.resize(whole.size() * i / 64); }
        write_file(folder / "fw.elf", damaged);
        const Ran ran = check(folder, project);
        EXPECT_TRUE(ran.code >= 0 && ran.code <= 2) << i << ": " << ran.code << ran.output;
    }
}

TEST(Protected, AreasKeepClearOfIt) {
    const ScratchFolder folder;
    link_at(folder, "0x08010000");
    const std::string top = "protected = [ { name = \"serial number\", start = \"0x0801F000\", size = \"4 KiB\" } ]\n";
    const Ran ran = check(folder, valve(folder, flash_start + top));
    EXPECT_EQ(ran.code, 0) << ran.output;
    EXPECT_NE(ran.output.find("area store at 0x0801D800, 6 KiB: nothing"), std::string::npos) << ran.output;
    // And emit puts it there as well.
    EXPECT_NE(emit(folder / "valve.toml", folder / "data").output.find("0x1D800 bytes into flash"), std::string::npos);
}

TEST(Protected, AnAreaThatIsPutThereIsRefused) {
    const ScratchFolder folder;
    link_at(folder, "0x08010000");
    std::string text = read_file(valve(
        folder, flash_start + "protected = [ { name = \"boot\", start = \"0x08000000\", size = \"16 KiB\" } ]\n"));
    text.replace(text.find("size = \"find it\""), 16, "start = \"0x08003000\"");
    write_file(folder / "valve.toml", text);
    const Ran ran = check(folder, folder / "valve.toml");
    EXPECT_EQ(ran.code, 2);
    EXPECT_NE(ran.output.find("[area.store] with 6 KiB overlaps \"boot\""), std::string::npos) << ran.output;
}

} // namespace
} // namespace perdure
