// The emitted bench, cut as a bench cuts it: the processor's whole process is killed at any moment, its flash is a
// file, its serial line goes to another, and `perdure cut-log` judges that.
#include <fstream>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "tests/firmware/on_qemu.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

const std::string bench_project = source_path("tests/target/bench/bench.toml");

Ran build_bench(const ScratchFolder& folder, const std::string& store = "data/store/store.c") {
    const std::string board = source_path("examples/orchard-valve/firmware");
    return run_shell("cd '" + folder.path().string() +
                     "' && arm-none-eabi-gcc --specs=picolibc.specs -mthumb -mcpu=cortex-m3 -std=c99 -Os " +
                     strict_flags +
                     " -ffreestanding -ffunction-sections -fdata-sections -DPERDURE_FEATURES -Idata -I'" + board +
                     "' '" + source_path("tests/target/bench/main.c") + "' data/data.c data/data_bench.c " + store +
                     " '" + board + "/mps2-an385.c' -nostartfiles -Wl,--gc-sections -Wl,--no-warn-rwx-segments -T '" +
                     board + "/mps2-an385.ld' -o bench.elf");
}

/// Starts in the log.
size_t starts_in(const std::string& log) {
    size_t out = 0;
    for (size_t at = 0; (at = log.find("PB1 0 start *", at)) != std::string::npos; ++at) { ++out; }
    return out;
}

/// A blank flash, and runs of the machine that end after 40 to 400 ms, until so many have started; 200 at most, as some
/// end before the machine does.
void run_and_kill(const ScratchFolder& folder, size_t starts) {
    const size_t before = starts_in(read_file(folder / "bench.log"));
    std::ofstream(folder / "flash.bin", std::ios::binary) << std::string(4096, '\xFF');
    for (int cut = 0; cut < 200 && starts_in(read_file(folder / "bench.log")) < before + starts; ++cut) {
        const int ms = 40 + cut * 7919 % 361;
        run_shell(
            "cd '" + folder.path().string() + "' && exec timeout -s KILL 0." + (ms < 100 ? "0" : "") +
            std::to_string(ms) +
            " qemu-system-arm -M mps2-an385 -display none -monitor none -chardev file,id=log,path=bench.log,append=on"
            " -serial chardev:log -semihosting-config enable=on,target=native -kernel bench.elf");
    }
}

Ran judge(const ScratchFolder& folder, const std::string& options = "") {
    return run_shell("cd '" + folder.path().string() + "' && '" + program_path() + "' cut-log bench.log '" +
                     bench_project + "' " + options);
}

TEST(Bench, AKilledMachineFindsAllThatItSaved) {
    if (!can_run_on_qemu()) { GTEST_SKIP() << "arm-none-eabi-gcc or qemu-system-arm is not installed"; }
    const ScratchFolder folder;
    const Ran wrote = emit(bench_project, folder / "data", "--bench");
    ASSERT_LE(wrote.code, 1) << wrote.output;
    const Ran built = build_bench(folder);
    ASSERT_EQ(built.code, 0) << built.output;
    run_and_kill(folder, 40);
    const Ran judged = judge(folder, "--json");
    EXPECT_EQ(judged.code, 0) << judged.output;
    const nlohmann::json json = nlohmann::json::parse(judged.output);
    EXPECT_EQ(json.at("starts"), 40);
    EXPECT_GT(json.at("cuts_in_saves"), 5);
    EXPECT_EQ(json.at("lines_damaged"), 0);
    EXPECT_EQ(json.at("lines_missing"), 0);
    for (const nlohmann::json& record : json.at("records")) { EXPECT_GT(record.at("acknowledged"), 20) << record; }

    // A flash that has lost everything is noticed.
    run_and_kill(folder, 2);
    const Ran blank = judge(folder);
    EXPECT_EQ(blank.code, 1);
    EXPECT_NE(blank.output.find("reads blank, though it was formatted and saved to"), std::string::npos)
        << blank.output;
}

} // namespace
} // namespace perdure
