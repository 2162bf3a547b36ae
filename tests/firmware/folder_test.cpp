// `perdure emit` into a folder that is not empty: what it writes over, what it keeps, what it refuses.
#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

std::string all_bytes(const std::string& folder) {
    return run_shell("cd '" + folder + "' && find . -type f | sort | xargs sha256sum").output;
}

TEST(EmitFolder, SameInputSameBytes) {
    const ScratchFolder a;
    const ScratchFolder b;
    ASSERT_EQ(emit(example("orchard-valve"), a / "x").code, 0);
    // From another place, by another path.
    ASSERT_EQ(run_shell("cp '" + example("orchard-valve") + "' '" + b / "orchard-valve.toml" + "' && cd '" +
                        b.path().string() + "' && '" + program_path() + "' emit orchard-valve.toml x")
                  .code,
              0);
    EXPECT_EQ(all_bytes(a / "x"), all_bytes(b / "x"));
    const std::string before = all_bytes(a / "x");
    const Ran again = emit(example("orchard-valve"), a / "x");
    EXPECT_EQ(again.code, 0);
    EXPECT_EQ(again.output.find("written"), std::string::npos) << again.output;
    EXPECT_EQ(all_bytes(a / "x"), before);
    EXPECT_EQ(run_shell("cd '" + a / "x" + "' && sha256sum --quiet -c emitted.txt").code, 0);
}

TEST(EmitFolder, KeepsThePortOnceItIsWrittenIn) {
    const ScratchFolder folder;
    ASSERT_EQ(emit(example("orchard-valve"), folder / "x").code, 0);
    const std::string mine = "/* mine */\n" + read_file(folder / "x/data_port.c");
    write_file(folder / "x/data_port.c", mine);
    for (const char* options : {"", "", "--force"}) {
        const Ran again = emit(example("orchard-valve"), folder / "x", options);
        EXPECT_EQ(again.code, 0) << again.output;
        EXPECT_NE(again.output.find("kept, yours data_port.c"), std::string::npos) << again.output;
        EXPECT_EQ(read_file(folder / "x/data_port.c"), mine);
    }
}

TEST(EmitFolder, RefusesAFileThatWasChangedByHandAndWritesNothing) {
    const ScratchFolder folder;
    ASSERT_EQ(emit(example("orchard-valve"), folder / "x").code, 0);
    write_file(folder / "x/data.c", "mine\n");
    const std::string before = all_bytes(folder / "x");
    const Ran refused = emit(example("grain-dryer-meter"), folder / "x");
    EXPECT_EQ(refused.code, 2);
    EXPECT_NE(refused.output.find("x/data.c was changed since perdure emit wrote it"), std::string::npos)
        << refused.output;
    EXPECT_EQ(all_bytes(folder / "x"), before);
    EXPECT_EQ(emit(example("grain-dryer-meter"), folder / "x", "--force").code, 0);
    EXPECT_NE(read_file(folder / "x/data.c"), "mine\n");
}

TEST(EmitFolder, RefusesAFileThatItDidNotWrite) {
    const ScratchFolder folder;
    write_file(folder / "README.md", "the firmware's own\n");
    const Ran refused = emit(example("orchard-valve"), folder.path().string());
    EXPECT_EQ(refused.code, 2);
    EXPECT_NE(refused.output.find("README.md was not written by perdure emit"), std::string::npos) << refused.output;
    EXPECT_FALSE(std::filesystem::exists(folder / "data.c"));
    EXPECT_EQ(emit(example("orchard-valve"), folder / "README.md").code, 2);
}

// As root rights stop nobody, so a folder stands where a file has to go, behind others that were written.
TEST(EmitFolder, SaysWhyAWriteFailedAndGoesOnOnceThatIsMended) {
    const ScratchFolder folder;
    std::filesystem::create_directories(folder / "x/host/Makefile.new");
    const Ran half = emit(example("orchard-valve"), folder / "x");
    EXPECT_EQ(half.code, 2);
    EXPECT_EQ(half.output.find("perdure: error: only a part was written; emit again once this is mended\n"), 0U)
        << half.output;
    EXPECT_NE(half.output.find("host/Makefile cannot be written: Is a directory\n"), std::string::npos) << half.output;
    EXPECT_NE(half.output.find("written: README.md, data.h"), std::string::npos) << half.output;
    EXPECT_EQ(half.output.find("--force"), std::string::npos) << half.output;
    std::filesystem::remove(folder / "x/host/Makefile.new");
    // What was written counts as its own, whatever is emitted now.
    const Ran whole = emit(example("grain-dryer-meter"), folder / "x");
    EXPECT_EQ(whole.code, 0) << whole.output;
    EXPECT_EQ(run_shell("cd '" + folder / "x" + "' && sha256sum --quiet -c emitted.txt").code, 0);
}

TEST(EmitFolder, RefusesWhatIsNoFolder) {
    const ScratchFolder folder;
    write_file(folder / "x", "a file\n");
    EXPECT_EQ(emit(example("orchard-valve"), folder / "x/y").output,
              "perdure: error: nothing was written\n  " + folder / "x/y" + " cannot be made: Not a directory\n");
    EXPECT_EQ(run_shell("cd '" + folder.path().string() + "' && '" + program_path() + "' emit '" +
                        example("orchard-valve") + "' ''")
                  .output,
              "perdure: error: nothing was written\n  the folder's name is empty\n");
    EXPECT_FALSE(std::filesystem::exists(folder / "data.c"));
}

TEST(EmitFolder, TakesAwayWhatItNoLongerEmitsIfNobodyChangedIt) {
    const ScratchFolder folder;
    ASSERT_EQ(emit(example("orchard-valve"), folder / "x").code, 0);
    write_file(folder / "x/data_port.c", "mine\n");
    const Ran again = emit(example("orchard-valve"), folder / "x", "--prefix valve");
    EXPECT_EQ(again.code, 0) << again.output;
    EXPECT_FALSE(std::filesystem::exists(folder / "x/data.c"));
    EXPECT_TRUE(std::filesystem::exists(folder / "x/valve.c"));
    EXPECT_EQ(read_file(folder / "x/data_port.c"), "mine\n");
    EXPECT_NE(again.output.find("left        data_port.c"), std::string::npos) << again.output;
}

TEST(EmitFolder, AListOfFilesThatLeadsOutOfTheFolderTouchesNothing) {
    const ScratchFolder folder;
    ASSERT_EQ(emit(example("orchard-valve"), folder / "x").code, 0);
    write_file(folder / "precious", "precious\n");
    const std::string hash = sha256_hex("precious\n");
    write_file(folder / "x/emitted.txt", read_file(folder / "x/emitted.txt") + hash + "  ../precious\n" + hash + "  " +
                                             folder / "precious" + "\n");
    EXPECT_EQ(emit(example("orchard-valve"), folder / "x").code, 0);
    EXPECT_EQ(read_file(folder / "precious"), "precious\n");
}

TEST(Emit, ComplainsInWords) {
    const ScratchFolder folder;
    const Ran prefix = emit(example("orchard-valve"), folder / "x", "--prefix 9lives");
    EXPECT_EQ(prefix.code, 2);
    EXPECT_EQ(prefix.output, "perdure: error: --prefix: \"9lives\" cannot begin a name in C: a letter, then letters, "
                             "digits or _, at most 20\n");
    EXPECT_EQ(emit(folder / "none.toml", folder / "x").code, 2);
    EXPECT_FALSE(std::filesystem::exists(folder / "x"));
}

TEST(Emit, TellsWhatDoesNotHoldAndEndsWith1) {
    const ScratchFolder folder;
    std::string text = read_file(example("orchard-valve"));
    text.replace(text.find("put_stall = \"10 ms\""), 19, "put_stall = \"100 us\"");
    write_file(folder / "short.toml", text);
    const Ran ran = emit(folder / "short.toml", folder / "x");
    EXPECT_EQ(ran.code, 1);
    EXPECT_NE(ran.output.find("does not hold: put stall of area store"), std::string::npos) << ran.output;
}

} // namespace
} // namespace perdure
