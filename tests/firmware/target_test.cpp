// What is emitted, for the targets: compiled with warnings as errors, and run on a Cortex-M3 under QEMU. Where a
// compiler is not installed its test is skipped; `./dev test` installs them.
#include <chrono>

#include <fmt/format.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

struct Target {
    const char* name;
    const char* compiler; ///< the program
    const char* flags;
    bool has_f64; ///< its double has 8 bytes
};

void PrintTo(const Target& target, std::ostream* out) {
    *out << target.name;
}

class EmittedOn : public testing::TestWithParam<Target> {};

/// Compiles the folder's C files, the port filled in. Gives what the compiler says where it fails.
std::string compile_all(const ScratchFolder& folder, const Target& target, const std::string& flags, bool with_store) {
    std::string said;
    for (const char* file :
         {"data.c", "data_guard.c", "data_port.c", "store/store.c", "store/check_config.c", "host/ram_port.c"}) {
        if (!with_store && std::string(file).rfind("store/", 0) == 0) { continue; }
        const std::string warnings =
            std::string(file).rfind("store/", 0) == 0 ? "-Wall -Wextra -Wpedantic -Werror" : strict_flags;
        const Ran ran = run_shell(
            fmt::format("cd '{}' && {} {} -DPERDURE_FEATURES -I. {} {} -isystem '{}' -c {} -o '{}'", folder / "data",
                        target.compiler, target.flags, flags, warnings, folder / "include", file, folder / "out.o"));
        if (ran.code != 0) { said += file + (": " + ran.output); }
    }
    return said;
}

void fill_in_port(const ScratchFolder& folder) {
    std::string text = read_file(folder / "data/data_port.c");
    const size_t line = text.find("#error \"data_port.c: fill in");
    ASSERT_NE(line, std::string::npos);
    const bool known = text.find("\n#define FLASH_START") != std::string::npos;
    text.replace(line, text.find('\n', line) - line, known ? "" : "#define FLASH_START 0x08000000ul");
    write_file(folder / "data/data_port.c", text);
}

/// clang for a bare target comes without a C library: what the emitted code takes from string.h.
void write_string_h(const ScratchFolder& folder, const Target& target) {
    std::filesystem::create_directory(folder.path() / "include");
    if (std::string(target.compiler) != "clang") { return; }
    write_file(folder / "include/string.h", "#include <stddef.h>\n"
                                            "void *memcpy(void *to, const void *from, size_t bytes);\n"
                                            "void *memmove(void *to, const void *from, size_t bytes);\n"
                                            "void *memset(void *to, int value, size_t bytes);\n"
                                            "int memcmp(const void *left, const void *right, size_t bytes);\n");
}

TEST_P(EmittedOn, CompilesWithoutAWarning) {
    const Target& target = GetParam();
    if (!installed(target.compiler)) { GTEST_SKIP() << target.compiler << " is not installed"; }
    const ScratchFolder folder;
    write_string_h(folder, target);
    std::string every = every_type_project();
    if (!target.has_f64) {
        const size_t f64 = every.find("type = \"f64\", default = 1e100");
        ASSERT_NE(f64, std::string::npos);
        every.replace(f64, 29, "type = \"u64\", default = 1");
    }
    write_file(folder / "every.toml", every);
    write_file(folder / "logs.toml", every_log_project());
    for (const std::string& project :
         {example("orchard-valve"), example("grain-dryer-meter"), folder / "every.toml", folder / "logs.toml"}) {
        SCOPED_TRACE(project);
        std::filesystem::remove_all(folder / "data");
        const Ran wrote = emit(project, folder / "data");
        ASSERT_EQ(wrote.code, 0) << wrote.output;
        fill_in_port(folder);
        for (const char* optimise : {"-Os", "-O2"}) {
            // The store is the same for all: what differs are the features of the last one.
            const bool with_store = project == example("orchard-valve") || project == folder / "logs.toml";
            EXPECT_EQ(compile_all(folder, target, std::string("-std=c99 ") + optimise, with_store), "");
        }
    }
}

INSTANTIATE_TEST_SUITE_P(
    Targets, EmittedOn,
    testing::Values(Target{"CortexM0Plus", "arm-none-eabi-gcc", "--specs=picolibc.specs -mthumb -mcpu=cortex-m0plus",
                           true},
                    Target{"CortexM4", "arm-none-eabi-gcc", "--specs=picolibc.specs -mthumb -mcpu=cortex-m4", true},
                    Target{"Rv32imc", "clang", "--target=riscv32-unknown-elf -march=rv32imc -ffreestanding", true},
                    Target{"Avr", "avr-gcc", "-mmcu=atmega328p", false},
                    Target{"Msp430", "clang", "--target=msp430-unknown-elf -ffreestanding", true}),
    [](const auto& chosen) { return chosen.param.name; });

TEST(EmittedOnAvr, SaysThatADoubleIsTooSmallForAnF64) {
    if (!installed("avr-gcc")) { GTEST_SKIP() << "avr-gcc is not installed"; }
    const ScratchFolder folder;
    write_file(folder / "every.toml", every_type_project());
    ASSERT_EQ(emit(folder / "every.toml", folder / "data").code, 0);
    const Ran ran =
        run_shell("cd '" + folder / "data" + "' && avr-gcc -mmcu=atmega328p -std=c99 -c data.c -o /dev/null");
    EXPECT_NE(ran.code, 0);
    EXPECT_NE(ran.output.find("data_check_double_has_8_bytes"), std::string::npos) << ran.output;
}

// What emit prints as RAM on a Cortex-M0+ is what the linker will find: .data and .bss of data.c, padding aside.
TEST(EmittedRam, OnACortexM0PlusIsWhatTheCompilerSays) {
    if (!installed("arm-none-eabi-gcc")) { GTEST_SKIP() << "arm-none-eabi-gcc is not installed"; }
    const ScratchFolder folder;
    write_file(folder / "every.toml", every_type_project());
    const std::string found_by =
        "arm-none-eabi-gcc --specs=picolibc.specs -mthumb -mcpu=cortex-m0plus -std=c99 -Os -DPERDURE_FEATURES -I. -c "
        "data.c -o data.o"
        " && arm-none-eabi-size -A data.o | awk '$1 ~ /^\\.(data|bss)/ { sum += $2 } END { print sum }'";
    write_file(folder / "logs.toml", every_log_project());
    for (const std::string& project : {example("orchard-valve"), example("grain-dryer-meter"), folder / "every.toml",
                                       example("cold-store-logger"), folder / "logs.toml"}) {
        SCOPED_TRACE(project);
        std::filesystem::remove_all(folder / "data");
        const Ran wrote = emit(project, folder / "data");
        const size_t row = wrote.output.find("Cortex-M0+, gcc");
        ASSERT_NE(row, std::string::npos) << wrote.output;
        const unsigned long printed = std::stoul(wrote.output.substr(row + 28));
        const Ran size = run_shell("cd '" + folder / "data" + "' && " + found_by);
        ASSERT_EQ(size.code, 0) << size.output;
        const unsigned long found = std::stoul(size.output);
        const unsigned long areas =
            project == example("orchard-valve") || project == example("grain-dryer-meter") ? 1 : 2;
        EXPECT_GE(found, printed);
        EXPECT_LE(found, printed + areas * 3UL);
    }
}

// The store's code as printed is what the compiler makes of store.c with the emitted perdure_features.h.
TEST(EmittedCode, OnACortexM0PlusIsWhatTheCompilerSays) {
    if (!installed("arm-none-eabi-gcc")) { GTEST_SKIP() << "arm-none-eabi-gcc is not installed"; }
    for (const std::string& project : {example("orchard-valve"), example("cold-store-logger"),
                                       source_path("examples/orchard-valve/orchard-valve-power-fail.toml")}) {
        SCOPED_TRACE(project);
        const ScratchFolder folder;
        const nlohmann::json json = nlohmann::json::parse(emit(project, folder / "data", "--json").output);
        const Ran size = run_shell(
            "cd '" + folder / "data" +
            "' && arm-none-eabi-gcc --specs=picolibc.specs -mthumb -mcpu=cortex-m0plus -std=c99 -Os -ffreestanding "
            "-fno-common "
            "-DPERDURE_FEATURES -I. -c store/store.c -o store.o"
            " && arm-none-eabi-size -A store.o | awk '$1 ~ /^\\.(text|rodata)/ { sum += $2 } END { print sum }'");
        ASSERT_EQ(size.code, 0) << size.output;
        const double printed = json.at("targets").at(0).at("store_code_bytes");
        const double found = std::stod(size.output);
        // Where a save may interrupt, the calls of the port's mask come on top: a few instructions at each place.
        EXPECT_GE(found, printed);
        EXPECT_LE(found, printed + (project.find("power-fail") == std::string::npos ? 0 : 40));
        EXPECT_GT(json.at("targets").at(0).at("stack_bytes"), 500);
    }
}

// And data.c's, estimated before it is compiled, is within a tenth.
TEST(EmittedCode, OfDataIsWithinATenthOfTheEstimate) {
    if (!installed("arm-none-eabi-gcc")) { GTEST_SKIP() << "arm-none-eabi-gcc is not installed"; }
    const std::string valve_again = source_path("examples/orchard-valve/orchard-valve-power-fail.toml");
    const ScratchFolder folder;
    write_file(folder / "logs.toml", every_log_project());
    for (const std::string& project :
         {example("orchard-valve"), example("cold-store-logger"), example("cellar-pump"), example("gate-counter"),
          example("grain-dryer-meter"), valve_again, folder / "logs.toml"}) {
        SCOPED_TRACE(project);
        std::filesystem::remove_all(folder / "data");
        const nlohmann::json json = nlohmann::json::parse(emit(project, folder / "data", "--json").output);
        const Ran size =
            run_shell("cd '" + folder / "data" +
                      "' && arm-none-eabi-gcc --specs=picolibc.specs -mthumb -mcpu=cortex-m0plus -std=c99 -Os "
                      "-DPERDURE_FEATURES -I. -c data.c -o data.o && arm-none-eabi-size -A data.o | "
                      "awk '$1 ~ /^\\.(text|rodata)/ { sum += $2 } END { print sum }'");
        ASSERT_EQ(size.code, 0) << size.output;
        const double estimated = json.at("data_code_bytes_cortex_m0plus");
        EXPECT_NEAR(estimated, std::stod(size.output), 0.1 * std::stod(size.output));
    }
}

TEST(EmittedAsCpp, CompilesWithoutAWarning) {
    const ScratchFolder folder;
    write_file(folder / "every.toml", every_type_project());
    write_file(folder / "logs.toml", every_log_project());
    for (const char* standard : {"c++11", "c++20"}) {
        std::filesystem::remove_all(folder / "data");
        ASSERT_EQ(emit(folder / (standard[4] == '1' ? "every.toml" : "logs.toml"), folder / "data").code, 0);
        for (const char* file : {"data.c", "data_guard.c", "host/ram_port.c"}) {
            const Ran ran =
                run_shell("cd '" + folder / "data" + "' && c++ -x c++ -DPERDURE_FEATURES -I. -std=" + standard +
                          " -O2 " + strict_flags + " -c " + file + " -o '" + folder / "out.o" + "'");
            EXPECT_EQ(ran.code, 0) << ran.output;
        }
    }
}

const std::string qemu_says = "new: run_minutes 45 (default)\n"
                              "new: litres 70, pulses 1400\n"
                              "second start: litres 70, pulses 1400\n"
                              "after 5000 minutes: litres 35070, pulses 701400\n"
                              "after a power cut: litres 35070, pulses 701400\n"
                              "one minute later: litres 35077, pulses 701540\n"
                              "all holds\n";

// From the installed program to a firmware that runs: find_package, perdure_add_store, build, QEMU.
TEST(EmittedOnQemu, TheExampleFirmwareCountsOverResetsAndAPowerCut) {
    for (const char* program : {"arm-none-eabi-gcc", "qemu-system-arm", "cmake"}) {
        if (!installed(program)) { GTEST_SKIP() << program << " is not installed"; }
    }
    const ScratchFolder folder;
    const Ran put = run_shell("cmake --install '" + binary_folder() + "' --prefix '" + folder / "usr" + "'");
    ASSERT_EQ(put.code, 0) << put.output;
    // A copy of the example alone: the installed program needs no checkout.
    std::filesystem::copy(source_path("examples/orchard-valve"), folder.path() / "valve",
                          std::filesystem::copy_options::recursive);
    const auto begin = std::chrono::steady_clock::now();
    const std::string firmware = folder / "valve/firmware";
    const Ran configured =
        run_shell("cmake -S '" + firmware + "' -B '" + folder / "build" + "' -DCMAKE_TOOLCHAIN_FILE='" + firmware +
                  "/arm-none-eabi.cmake' -DCMAKE_PREFIX_PATH='" + folder / "usr" + "'");
    ASSERT_EQ(configured.code, 0) << configured.output;
    const Ran built = run_shell("cmake --build '" + folder / "build" + "'");
    ASSERT_EQ(built.code, 0) << built.output;
    const Ran ran = run_shell("timeout 60 qemu-system-arm -M mps2-an385 -display none -monitor none -serial none"
                              " -semihosting-config enable=on,target=native -kernel '" +
                              folder / "build/orchard_valve.elf" + "'");
    const std::chrono::duration<double> took = std::chrono::steady_clock::now() - begin;
    RecordProperty("seconds", std::to_string(took.count()));
    EXPECT_EQ(ran.code, 0);
    EXPECT_EQ(ran.output, qemu_says);

    // Nothing is built again when nothing changed; all of it when the project file did.
    const Ran again = run_shell("cmake --build '" + folder / "build" + "'");
    EXPECT_EQ(again.output.find("Building C object"), std::string::npos) << again.output;
    std::string project = read_file(folder / "valve/orchard-valve.toml");
    project.replace(project.find("default = 45"), 12, "default = 46");
    write_file(folder / "valve/orchard-valve.toml", project);
    const Ran other = run_shell("cmake --build '" + folder / "build" + "' --target run");
    EXPECT_NE(other.output.find("new: run_minutes 46 (default)"), std::string::npos) << other.output;
}

TEST(ExampleFirmware, ItsReadmeShowsWhatItPrints) {
    EXPECT_NE(read_file(source_path("examples/orchard-valve/firmware/README.md")).find("```\n" + qemu_says + "```\n"),
              std::string::npos);
}

TEST(Install, ManualAndCompletionNameEveryCommandAndOption) {
    const Ran manual = run_shell("'" + program_path() + "' --manual");
    const Ran completion = run_shell("'" + program_path() + "' --completion");
    ASSERT_EQ(manual.code, 0);
    ASSERT_EQ(completion.code, 0);
    for (const char* word : {"check", "budget", "age", "cut", "emit", "parts"}) {
        EXPECT_NE(manual.output.find(std::string(".SS perdure ") + word), std::string::npos) << word;
        EXPECT_NE(completion.output.find(std::string(word) + ") mapfile"), std::string::npos) << word;
    }
    EXPECT_NE(manual.output.find(".B \\-\\-prefix"), std::string::npos);
    EXPECT_NE(completion.output.find("--prefix --bench --force"), std::string::npos);
    const Ran completed =
        run_shell("'" + program_path() + "' --completion > /dev/null && bash -c 'source <(\"" + program_path() +
                  "\" --completion); COMP_WORDS=(perdure bu); COMP_CWORD=1; _perdure; echo \"${COMPREPLY[@]}\"'");
    EXPECT_EQ(completed.output, "budget\n");
}

} // namespace
} // namespace perdure
