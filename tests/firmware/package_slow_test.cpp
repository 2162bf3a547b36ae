// The Debian package: made, unpacked elsewhere, used from there, as from a machine that has nothing else of this
// project.
#include <gtest/gtest.h>

#include "tests/firmware/emitted.hpp"
#include "tests/paths.hpp"

namespace perdure {
namespace {

TEST(Package, RunsFromWhereItWasUnpacked) {
    for (const char* program : {"cpack", "dpkg-deb", "dpkg-shlibdeps", "file"}) {
        if (!installed(program)) { GTEST_SKIP() << program << " is not installed"; }
    }
    const ScratchFolder folder;
    const std::string in = "cd '" + folder.path().string() + "' && ";
    const Ran packed = run_shell(in + "cpack -G DEB --config '" + binary_folder() + "/CPackConfig.cmake' -B '" +
                                 folder / "packed" + "'");
    ASSERT_EQ(packed.code, 0) << packed.output;
    const Ran unpacked =
        run_shell(in + "dpkg-deb -x packed/perdure_*.deb root && dpkg-deb -f packed/perdure_*.deb Depends");
    ASSERT_EQ(unpacked.code, 0) << unpacked.output;
    EXPECT_NE(unpacked.output.find("libc6 (>= "), std::string::npos) << unpacked.output;
    EXPECT_NE(unpacked.output.find("libfmt9"), std::string::npos) << unpacked.output;

    const std::string program = folder / "root/usr/bin/perdure";
    const std::string valve = "root/usr/share/doc/perdure/examples/orchard-valve";
    const Ran budget = run_shell(in + "env -i '" + program + "' budget " + valve + "/orchard-valve.toml");
    EXPECT_EQ(budget.code, 0) << budget.output;
    EXPECT_EQ(budget.output.rfind("orchard valve: every requirement holds over 12 years.\n", 0), 0U) << budget.output;
    EXPECT_EQ(read_file(folder / "root/usr/share/man/man1/perdure.1"), run_shell("'" + program + "' --manual").output);
    EXPECT_TRUE(std::filesystem::exists(folder / "root/usr/share/bash-completion/completions/perdure"));

    // find_package from there, for a program of this machine with the flash in RAM.
    write_file(folder / "CMakeLists.txt",
               "cmake_minimum_required(VERSION 3.25)\nproject(p C)\nfind_package(Perdure REQUIRED)\n"
               "add_executable(p main.c)\nperdure_add_store(p " +
                   valve + "/orchard-valve.toml RAM_PORT GUARD)\n");
    write_file(folder / "main.c",
               "#include \"data.h\"\n#include \"host/ram_port.h\"\nint main(void) {\n    ram_port_blank();\n"
               "    return data_open(DATA_OPEN_MODE) == PERDURE_BLANK && data_format(DATA_AREA_STORE) == PERDURE_OK ? "
               "0 : 1;\n}\n");
    const Ran built =
        run_shell(in + "cmake -S . -B build -DCMAKE_PREFIX_PATH='" + folder / "root/usr" + "' && cmake --build build");
    ASSERT_EQ(built.code, 0) << built.output;
    EXPECT_EQ(run_shell("'" + folder / "build/p" + "'").code, 0);
    EXPECT_NE(built.output.find("Writing the store of"), std::string::npos) << built.output;
}

} // namespace
} // namespace perdure
