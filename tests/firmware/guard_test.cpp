// The emitted watch over wear and daily writes, run on the emitted flash in RAM.
#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

TEST(EmittedGuard, AlarmsWhenTheProjectFileSays) {
    const ScratchFolder folder;
    ASSERT_EQ(emit(example("orchard-valve"), folder / "data").code, 0);
    std::string header = read_file(folder / "data/data_guard.h");
    // 10,000 erases are guaranteed, one half of them may be spent; here 20, so that they are spent soon.
    const std::string allowed = "#define DATA_STORE_ERASES_ALLOWED 5000ul\n";
    const size_t at = header.find(allowed);
    ASSERT_NE(at, std::string::npos) << header;
    EXPECT_NE(header.find("#define DATA_ALARM_SPENT_PERCENT 80u"), std::string::npos);
    header.replace(at, allowed.size(), "#define DATA_STORE_ERASES_ALLOWED 20ul\n");
    write_file(folder / "data/data_guard.h", header);
    const Ran built = run_shell("cd '" + folder / "data" + "' && cc -std=c99 -Wall -Wextra -Werror -I. " +
                                source_path("tests/firmware/guard_main.c") +
                                " data.c data_guard.c host/ram_port.c store/store.c -o guard");
    ASSERT_EQ(built.code, 0) << built.output;
    const Ran ran = run_shell("'" + folder / "data/guard" + "'");
    EXPECT_EQ(ran.code, 0);
    EXPECT_EQ(ran.output, "guard holds\n");
}

TEST(EmittedGuard, TakesItsAlarmsFromTheProjectFile) {
    std::string text = read_file(example("orchard-valve"));
    text += "alarm_spent = 0.65\nalarm_day = 4\n"; // [require] is its last section
    const std::string header = text_of(emitted(text), "data_guard.h");
    EXPECT_NE(header.find("#define DATA_ALARM_SPENT_PERCENT 65u\n#define DATA_ALARM_DAY_PERCENT 400ul\n"),
              std::string::npos)
        << header;
}

} // namespace
} // namespace perdure
