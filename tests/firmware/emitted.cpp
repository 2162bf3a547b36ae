#include "tests/firmware/emitted.hpp"

#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <sstream>

#include <sys/wait.h>

#include <gtest/gtest.h>

#include "project/read.hpp"
#include "tests/paths.hpp"

namespace perdure {

Ran run_shell(const std::string& line) {
    Ran out;
    FILE* pipe = popen(("{ " + line + "\n} 2>&1 </dev/null").c_str(), "r");
    if (pipe == nullptr) { return out; }
    std::array<char, 4096> piece{};
    for (size_t bytes = 0; (bytes = fread(piece.data(), 1, piece.size(), pipe)) > 0;) {
        out.output.append(piece.data(), bytes);
    }
    const int status = pclose(pipe);
    if (WIFEXITED(status)) { out.code = WEXITSTATUS(status); }
    return out;
}

bool installed(const std::string& program) {
    return run_shell("command -v " + program).code == 0;
}

std::string read_file(const std::string& path) {
    std::stringstream text;
    text << std::ifstream(path, std::ios::binary).rdbuf();
    return text.str();
}

void write_file(const std::string& path, const std::string& text) {
    std::ofstream(path, std::ios::binary) << text;
}

std::string example(const std::string& name) {
    return source_path("examples/") + name + "/" + name + ".toml";
}

std::string every_type_project() {
    return R"(
[product]
name = "every */ \"type\""
life = "5 y"

[part]
name = "made up"
erase_block = "1 KiB"
blocks = 32
program_unit = "4 B"
blank = 0x00
endurance = 10000
erase_max = "4 ms"
program_max = "90 us"
flash_start = "0x08000000"

[area.fast]
size = "4 KiB"
start = "0x08006000"
[area.slow]
check_bits = 32

[record.counts]
id = 7
kind = "total"
area = "fast"
fields = [ { name = "a", type = "u8", movement = 1 }, { name = "b", type = "u16", movement = 9, default = 500 },
           { name = "c", type = "u32", movement = 1000 }, { name = "d", type = "u64", movement = 100000 } ]
saves = [ { every = "10 min" } ]

[record.limits]
id = 200
kind = "value"
area = "slow"
fields = [ { name = "a", type = "i8", default = -128 }, { name = "b", type = "i16", default = -2 },
           { name = "c", type = "i32", default = -2147483648 }, { name = "d", type = "i64", default = -9007199254740992 },
           { name = "e", type = "f32", default = -0.1 }, { name = "f", type = "f64", default = 1e100 },
           { name = "g", type = "u64", default = 9007199254740992 }, { name = "h", type = "bytes:150" } ]
saves = [ { events = "1/day" } ]

[record.flag]
id = 201
kind = "value"
area = "slow"
fields = [ { name = "on", type = "u8" } ]
saves = [ { events = "1/day" } ]
)";
}

std::string every_log_project() {
    return R"(
[product]
name = "logs"
life = "5 y"

[part]
name = "made up"
erase_block = "1 KiB"
blocks = 64
program_unit = "4 B"
blank = 0xFF
endurance = 10000
erase_max = "4 ms"
program_max = "90 us"
vdd_min = "1.8 V"

[supply]
load = "12 mA"
charged_to = "3.3 V"
trips_at = "2.9 V"
cpu_min = "2.0 V"
detection = "50 us"
capacitance = "8 mF"

[area.first]
[area.second]
check_bits = 24

[record.trace]
id = 3
kind = "log"
area = "first"
depth = 500
batch = 7
time_stamp = "at"
fields = [ { name = "flags", type = "u8" }, { name = "at", type = "u64" }, { name = "level", type = "f32" } ]
saves = [ { every = "10 min" } ]

[record.state]
id = 4
kind = "value"
area = "first"
fields = [ { name = "mode", type = "u8", default = 3 }, { name = "run_s", type = "u32" } ]
saves = [ { at_power_fail = true }, { events = "3/day" } ]

[record.events]
id = 300
kind = "log"
area = "second"
depth = 90
fields = [ { name = "code", type = "u16" }, { name = "text", type = "bytes:3" } ]
saves = [ { events = "20/day" } ]

[record.last]
id = 301
kind = "log"
area = "second"
among_values = true
depth = 5
time_stamp = "at"
fields = [ { name = "at", type = "u32" }, { name = "bias", type = "i16" } ]
saves = [ { events = "1/day" } ]
)";
}

std::vector<EmittedFile> emitted(const std::string& project_text) {
    const auto project = read_project(project_text, "project.toml", catalog());
    if (!project) { throw std::runtime_error(render(project.error())); }
    const auto budget = make_budget(*project);
    if (!budget) { throw std::runtime_error(budget.error().text); }
    const auto plan = plan_firmware(*project, *budget);
    if (!plan) { throw std::runtime_error(render(plan.error())); }
    const auto files = emit_firmware(*project, *plan, {"data", false, sha256_hex(project_text)});
    if (!files) { throw std::runtime_error(render(files.error())); }
    return *files;
}

std::string text_of(const std::vector<EmittedFile>& files, const std::string& path) {
    for (const EmittedFile& file : files) {
        if (file.path == path) { return file.text; }
    }
    ADD_FAILURE() << path << " was not emitted";
    return "";
}

Ran emit(const std::string& file, const std::string& folder, const std::string& options) {
    return run_shell("'" + program_path() + "' emit '" + file + "' '" + folder + "' " + options);
}

void expect_found(const std::string& project, const Fault& fault) {
    SCOPED_TRACE(fault.wrong);
    const ScratchFolder folder;
    ASSERT_EQ(emit(project, folder / "data").code, 0);
    std::string text = read_file(folder / "data/" + fault.file);
    const size_t at = text.find(fault.right);
    ASSERT_NE(at, std::string::npos);
    text.replace(at, std::string(fault.right).size(), fault.wrong);
    write_file(folder / "data/" + fault.file, text);
    const Ran made = run_shell("timeout 120 make -C '" + folder / "data/host" + "'");
    EXPECT_NE(made.code, 0) << made.output;
    EXPECT_NE(made.output.find("does not hold: "), std::string::npos) << made.output;
}

} // namespace perdure
