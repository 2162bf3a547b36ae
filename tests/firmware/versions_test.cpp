// Emitted code of a product that has changed since it shipped: conversions to fill in, records that must not be lost in
// silence, old copies that have to go.
#include <regex>

#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

const char* const product = R"(
[product]
name = "oven"
life = "5 y"
[part]
name = "own"
erase_block = "1 KiB"
blocks = 16
program_unit = "8 B"
blank = 0xFF
endurance = 10000
erase_max = "40 ms"
program_max = "100 us"
[area.store]
size = "4 KiB"

[record.limits_1]
id = 2
kind = "value"
retired = true
fields = [ { name = "low", type = "u16" }, { name = "high", type = "u16" } ]

[record.limits]
id = 7
kind = "value"
from = "limits_1"
fields = [ { name = "low_c", type = "f32" }, { name = "high_c", type = "f32", default = 300 } ]
saves = [ { events = "12/year" } ]

[record.calibration]
id = 3
kind = "value"
if_lost = "refuse"
fields = [ { name = "gain", type = "f32" } ]
saves = [ { events = "1/year" } ]

[record.hours]
id = 4
kind = "total"
if_lost = "last_good"
fields = [ { name = "on_s", type = "u32", movement = 3600 } ]
saves = [ { every = "1 h" } ]

[record.wifi]
id = 5
kind = "value"
if_lost = "default"
erase_within = "1 d"
fields = [ { name = "password", type = "bytes:20" } ]
saves = [ { events = "12/year" } ]
)";

const std::string conversion = R"(    to->low_c = (float)from_limits_1->low / 10.0f;
    to->high_c = (float)from_limits_1->high / 10.0f;
    return true;
}
)";

/// Writes the conversion's body in place of the skeleton's.
void fill_in(const ScratchFolder& folder, const std::string& body) {
    const std::string path = folder / "data/data_convert.c";
    std::string text = read_file(path);
    const size_t begin = text.find("#error");
    ASSERT_NE(begin, std::string::npos) << text;
    text.replace(begin, text.find("}\n", begin) + 2 - begin, body);
    write_file(path, text);
}

void emit_oven(const ScratchFolder& folder) {
    write_file(folder / "oven.toml", product);
    const Ran wrote = emit(folder / "oven.toml", folder / "data");
    ASSERT_EQ(wrote.code, 1) << wrote.output; // the ring does not turn once a day: see the budget
}

Ran host_test(const ScratchFolder& folder) {
    return run_shell("make -C '" + folder / "data/host" + "' CFLAGS='-O1 -fsanitize=undefined -fno-sanitize-recover " +
                     strict_flags + "'");
}

TEST(EmittedVersions, TheirTestHoldsOnceTheConversionIsWritten) {
    const ScratchFolder folder;
    emit_oven(folder);
    const Ran before = host_test(folder);
    EXPECT_NE(before.code, 0);
    EXPECT_NE(before.output.find("make limits of limits_1, then delete this line"), std::string::npos) << before.output;
    fill_in(folder, conversion);
    const Ran after = host_test(folder);
    EXPECT_EQ(after.code, 0) << after.output;
    EXPECT_NE(after.output.find(" 0 do not hold"), std::string::npos) << after.output;
    // What was written stays: a second emit keeps it.
    const Ran again = emit(folder / "oven.toml", folder / "data");
    EXPECT_NE(again.output.find("kept, yours data_convert.c"), std::string::npos) << again.output;
    EXPECT_NE(read_file(folder / "data/data_convert.c").find("/ 10.0f"), std::string::npos);
}

// The emitted test finds a conversion that refuses, a load that gives a default where it must not, copies that stay.
TEST(EmittedVersions, TheirTestFailsWhereTheCodeIsWrong) {
    struct Fault {
        const char *file, *right, *wrong, *said;
    };
    for (const Fault& fault :
         {Fault{"data_convert.c", "return true;", "return false;", "it was converted (limits"},
          Fault{"data.c", "if (status != PERDURE_OK) { /* if_lost = \"refuse\"", "if (false) { /*",
                "nothing saved reads as the defaults (calibration"},
          Fault{"data.c", "< DATA_STORE_BLOCKS)", "< 1u)", "no old copy is left in flash (wifi"}}) {
        SCOPED_TRACE(fault.said);
        const ScratchFolder folder;
        emit_oven(folder);
        fill_in(folder, conversion);
        std::string text = read_file(folder / "data/" + fault.file);
        ASSERT_NE(text.find(fault.right), std::string::npos);
        text.replace(text.find(fault.right), std::string(fault.right).size(), fault.wrong);
        write_file(folder / "data/" + fault.file, text);
        const Ran made = run_shell("make -C '" + folder / "data/host" + "'");
        EXPECT_NE(made.code, 0);
        EXPECT_NE(made.output.find(fault.said), std::string::npos) << made.output;
    }
}

// A program over the emitted files in which the newest copy of each record rots while the product runs.
TEST(EmittedVersions, ALostRecordIsWhatItsPolicySays) {
    const ScratchFolder folder;
    emit_oven(folder);
    fill_in(folder, conversion);
    write_file(folder / "data/host/rot.c", R"(
#include <string.h>
#include "ram_port.h"
static bool rotten;
static bool rot(uint32_t offset, void *to, uint32_t bytes);
#define data_port_read real_read
#include "ram_port.c"
#undef data_port_read
static uint32_t victim; /* offset of the unit that faults */
bool data_port_read(uint32_t offset, void *to, uint32_t bytes) { return rot(offset, to, bytes); }
static bool rot(uint32_t offset, void *to, uint32_t bytes) {
    if (rotten && offset / 8u == victim / 8u) { return false; }
    return real_read(offset, to, bytes);
}
/* The newest entry of record `index` cannot be read from now on. */
static void lose(uint16_t index) {
    const perdure_store *s = data_store(DATA_AREA_STORE);
    const uint32_t place = s->config->newest[index];
    victim = (uint32_t)(DATA_STORE_OFFSET + ((place >> 16) * DATA_STORE_BLOCK_UNITS + (place & 0xFFFFu)) * 8u);
    rotten = true;
}
int main(void) {
    struct data_calibration calibration = {1.5f};
    struct data_wifi wifi = {"secret"};
    ram_port_blank();
    if (data_format(DATA_AREA_STORE) != PERDURE_OK) { return 1; }
    if (data_calibration_load(&calibration) != PERDURE_FAULT) { return 2; } /* nothing stored: refused */
    if (data_calibration_save(&calibration) != PERDURE_OK || data_wifi_save(&wifi) != PERDURE_OK) { return 3; }
    memcpy(wifi.password, "newer", 6);
    if (data_wifi_save(&wifi) != PERDURE_OK) { return 4; }
    lose(1); /* calibration, id 3, the second by id */
    calibration.gain = 7.0f;
    if (data_calibration_load(&calibration) != PERDURE_FAULT || calibration.gain < 6.9f) { return 5; }
    rotten = false;
    if (data_calibration_load(&calibration) != PERDURE_OK || calibration.gain > 1.6f) { return 6; }
    lose(3); /* wifi */
    if (data_wifi_load(&wifi) != PERDURE_DEFAULT || wifi.password[0] != 0) { return 7; }
    return 0;
}
)");
    const std::string build = "cd '" + folder / "data/host" + "' && cc -std=c99 -Wall -Wextra " +
                              "rot.c ../data.c ../data_convert.c ../store/store.c -o rot && ./rot";
    const Ran ran = run_shell(build);
    EXPECT_EQ(ran.code, 0) << ran.output;
    // The same with 'last good' for the calibration: the copy before it is read, in a start of its own.
    std::string text = read_file(folder / "oven.toml");
    text.replace(text.find("if_lost = \"refuse\""), 18, "if_lost = \"last_good\"");
    write_file(folder / "oven.toml", text);
    ASSERT_EQ(emit(folder / "oven.toml", folder / "data").code, 1);
    std::string rot = read_file(folder / "data/host/rot.c");
    rot.erase(rot.find("    if (data_calibration_load(&calibration) != PERDURE_FAULT) { return 2; }"));
    rot += R"(
    if (data_calibration_save(&calibration) != PERDURE_OK) { return 3; }
    calibration.gain = 2.5f;
    if (data_calibration_save(&calibration) != PERDURE_OK || data_wifi_save(&wifi) != PERDURE_OK || data_wifi_save(&wifi) != PERDURE_OK) { return 4; }
    lose(1);
    return data_calibration_load(&calibration) == PERDURE_OK && calibration.gain > 1.4f && calibration.gain < 1.6f ? 0 : 5;
}
)";
    write_file(folder / "data/host/rot.c", rot);
    const Ran good = run_shell(build);
    EXPECT_EQ(good.code, 0) << good.output;
}

// The budget's line: how long by itself, what at once costs.
TEST(EmittedVersions, TheBudgetSaysHowLongOldCopiesStay) {
    const ScratchFolder folder;
    write_file(folder / "oven.toml", product);
    const Ran ran = run_shell("'" + program_path() + "' budget '" + folder / "oven.toml" + "'");
    EXPECT_EQ(ran.code, 1);
    const std::string text = std::regex_replace(ran.output, std::regex("\\s+"), " ");
    EXPECT_NE(
        text.find(
            "old copies of wifi 14.5 1 0.07 d FAILS by themselves once the ring has turned, after 14.5 d; at once "
            "with the emitted wifi_erase_old_copies: 4 erases and 512 units, 211.2 ms, one erase of every block"),
        std::string::npos)
        << text;
}

} // namespace
} // namespace perdure
