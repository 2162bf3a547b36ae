// Emitted folders as an engineer uses them: their own test is compiled and run on this machine, their port is filled
// in.
#include <fmt/format.h>
#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

/// Emits into the folder and runs the emitted test, warnings as errors.
void emit_and_run(const std::string& project, const ScratchFolder& folder) {
    const Ran wrote = emit(project, folder / "data");
    ASSERT_EQ(wrote.code, 0) << wrote.output;
    const Ran made = run_shell("timeout 120 make -C '" + folder / "data/host" +
                               "' CFLAGS='-O1 -fsanitize=undefined -fno-sanitize-recover " + strict_flags + "'");
    EXPECT_EQ(made.code, 0) << made.output;
    EXPECT_NE(made.output.find(" 0 do not hold"), std::string::npos) << made.output;
    // A test that checks nothing holds as well: hundreds of checks are what the smallest project makes.
    EXPECT_EQ(made.output.find("data: 0 checks"), std::string::npos);
}

TEST(EmittedHostTest, HoldsForTheExamples) {
    for (const std::string& project :
         {example("orchard-valve"), example("grain-dryer-meter"), example("gate-counter"), example("cold-store-logger"),
          source_path("examples/orchard-valve/orchard-valve-power-fail.toml")}) {
        SCOPED_TRACE(project);
        const ScratchFolder folder;
        emit_and_run(project, folder);
    }
}

TEST(EmittedHostTest, HoldsForEveryTypeInTwoAreas) {
    const ScratchFolder folder;
    write_file(folder / "every.toml", every_type_project());
    emit_and_run(folder / "every.toml", folder);
}

TEST(EmittedHostTest, HoldsForLogsOfEveryKindBesideASaveWhenTheSupplyFails) {
    const ScratchFolder folder;
    write_file(folder / "logs.toml", every_log_project());
    emit_and_run(folder / "logs.toml", folder);
}

TEST(EmittedHostTest, HoldsForLazyStarts) {
    const ScratchFolder folder;
    for (const char* name : {"orchard-valve", "cold-store-logger"}) {
        std::string text = read_file(example(name));
        const std::string product = "[product]\n";
        text.insert(text.find(product) + product.size(), "lazy_start = true\n");
        // The first put after a lazy start does the start's work, which takes longer than the valve allows.
        if (const size_t stall = text.find("put_stall"); stall != std::string::npos) {
            text.erase(stall, text.find('\n', stall) + 1 - stall);
        }
        write_file(folder / "lazy.toml", text);
        std::filesystem::remove_all(folder / "data");
        emit_and_run(folder / "lazy.toml", folder);
        EXPECT_NE(read_file(folder / "data/data.h").find("#define DATA_OPEN_MODE PERDURE_LAZY\n"), std::string::npos);
    }
}

// The emitted test can fail: a load that is wrong by one byte, a save that stores nothing, an erase that is not one.
TEST(EmittedHostTest, FailsWhereTheCodeIsWrong) {
    for (const Fault& fault :
         {Fault{"data.c", "to[1] = (uint8_t)(value >> 8);", "to[1] = (uint8_t)(value >> 9);"},
          Fault{"data.c", "return perdure_put(&store_ram.store, 1u, payload);", "return PERDURE_OK;"},
          Fault{"data.c", "0x4A, 0x01,", "0x4B, 0x01,"},
          Fault{"host/ram_port.c", "memset(to, DATA_BLANK, (size_t)powered", "memset(to, 0x5A, (size_t)powered"}}) {
        expect_found(example("orchard-valve"), fault);
    }
}

std::string compile(const ScratchFolder& folder, const std::string& file, const std::string& flags = "") {
    return "cc -std=c99 " + strict_flags + " " + flags + " -c '" + folder / "data/" + file + "' -o '" +
           folder / "out.o" + "'";
}

TEST(EmittedPort, DoesNotCompileUntilItIsFilledIn) {
    const ScratchFolder folder;
    ASSERT_EQ(emit(example("orchard-valve"), folder / "data").code, 0);
    const Ran before = run_shell(compile(folder, "data_port.c"));
    EXPECT_NE(before.code, 0);
    EXPECT_NE(before.output.find("fill in the places marked YOURS for STM32G071CB (stm32g071), then delete this line"),
              std::string::npos)
        << before.output;
    std::string text = read_file(folder / "data/data_port.c");
    const size_t line = text.find("#error \"data_port.c: fill in");
    ASSERT_NE(line, std::string::npos);
    text.replace(line, text.find('\n', line) - line, "#define FLASH_START 0x08000000ul");
    write_file(folder / "data/data_port.c", text);
    const Ran after = run_shell(compile(folder, "data_port.c"));
    EXPECT_EQ(after.code, 0) << after.output;
}

TEST(EmittedPort, DoesNotCompileForAnotherPartThanItWasWrittenFor) {
    const ScratchFolder folder;
    ASSERT_EQ(emit(example("orchard-valve"), folder / "data").code, 0);
    std::string text = read_file(folder / "data/data_port.c");
    text.erase(text.find("#error \"data_port.c: fill in"), 8);
    write_file(folder / "data/data_port.c", text + "\n");
    const Ran again = emit(example("grain-dryer-meter"), folder / "data");
    ASSERT_EQ(again.code, 0) << again.output;
    const Ran compiled = run_shell(compile(folder, "data_port.c"));
    EXPECT_NE(compiled.code, 0);
    EXPECT_NE(compiled.output.find("data_port.c was written for units of 8 bytes"), std::string::npos)
        << compiled.output;
}

TEST(EmittedHeader, DoesNotCompileWithAnotherVersionOfTheStore) {
    const ScratchFolder folder;
    ASSERT_EQ(emit(example("orchard-valve"), folder / "data").code, 0);
    ASSERT_EQ(run_shell(compile(folder, "data.c")).code, 0);
    std::string store = read_file(folder / "data/store/store.h");
    const std::string version = "#define PERDURE_STORE_VERSION ";
    ASSERT_NE(store.find(version), std::string::npos);
    store.replace(store.find(version), version.size(), version + "9");
    write_file(folder / "data/store/store.h", store);
    const Ran compiled = run_shell(compile(folder, "data.c"));
    EXPECT_NE(compiled.code, 0);
    EXPECT_NE(compiled.output.find("run `perdure emit` again"), std::string::npos) << compiled.output;
}

// RAM as printed: what the compiler says of the area's one struct, less the store's own state.
TEST(EmittedRam, IsWhatTheCompilerSays) {
    const ScratchFolder folder;
    write_file(folder / "every.toml", every_type_project());
    for (const std::string& file : {example("orchard-valve"), example("grain-dryer-meter"), folder / "every.toml"}) {
        SCOPED_TRACE(file);
        const ScratchFolder out;
        const Ran wrote = emit(file, out / "data", "--json");
        ASSERT_EQ(wrote.code, 0) << wrote.output;
        std::string checks = "#include \"data.c\"\n";
        size_t areas = 0;
        for (size_t at = 0; (at = wrote.output.find("\"ram_bytes_beside_store\": ", at)) != std::string::npos; ++at) {
            const size_t name = wrote.output.find("\"name\": \"", wrote.output.rfind('{', at)) + 9;
            const std::string area = wrote.output.substr(name, wrote.output.find('"', name) - name);
            const unsigned long predicted = std::stoul(wrote.output.substr(at + 26));
            // The compiler may pad the struct's end, by less than one of its largest member's alignment.
            checks += fmt::format("CHECK(ram_least_{0}, sizeof({0}_ram) >= sizeof(perdure_store) + {1});\n"
                                  "CHECK(ram_most_{0}, sizeof({0}_ram) < sizeof(perdure_store) + sizeof(void *) + "
                                  "{1});\n",
                                  area, predicted);
            ++areas;
        }
        EXPECT_GE(areas, 1U);
        write_file(out / "data/ram.c", checks);
        const Ran compiled = run_shell(compile(out, "ram.c", "-Wno-unused-function -DDATA_RAM_TEST"));
        EXPECT_EQ(compiled.code, 0) << compiled.output;
    }
}

} // namespace
} // namespace perdure
