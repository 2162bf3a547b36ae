// Where a dump begins: found, told or asked for, and said. Two areas, one of them with a log, as the program makes and
// reads them.
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "cli/commands.hpp"
#include "hex/hex.hpp"
#include "tests/own_folder.hpp"
#include "tests/run_program.hpp"

namespace perdure::returned {
namespace {

/// Flash of 16 blocks of 512 bytes from 0x08000000 on; area history stands topmost, area store below it.
std::string two_areas(const std::string& store_size, const std::string& flash_start) {
    return R"([product]
name = "two areas"
life = "10 y"
[part]
name = "own"
erase_block = "512 B"
blocks = 16
program_unit = "8 B"
blank = 0xFF
endurance = 10000
erase_max = "40 ms"
program_max = "100 us"
)" + flash_start +
           R"(
[area.history]
size = "2048 B"
[area.store]
size = ")" +
           store_size +
           R"("
[record.level]
id = 1
kind = "log"
area = "history"
depth = 20
fields = [ { name = "mm", type = "u16" } ]
saves = [ { every = "1 h" } ]
[record.read_to]
id = 2
kind = "value"
area = "history"
fields = [ { name = "sample", type = "u32" } ]
saves = [ { events = "1/day" } ]
[record.settings]
id = 3
kind = "value"
area = "store"
fields = [ { name = "delay_s", type = "u16", default = 30 } ]
saves = [ { events = "1/week" } ]
)";
}

std::string contents_of(const std::string& path) {
    std::stringstream text;
    text << std::ifstream(path, std::ios::binary).rdbuf();
    return text.str();
}

/// A project of two areas and its image as a binary.
class DumpPlaceOf {
public:
    explicit DumpPlaceOf(const std::string& store_size, const std::string& flash_start = "flash_start = \"0x08000000\"")
        : project_(folder_ / "two.toml") {
        std::ofstream(project_) << two_areas(store_size, flash_start);
        const std::string image = folder_ / "m.bin";
        const ProgramRan made = run_program({"image", project_, "-o", image, "--json", "--set", "settings.delay_s=77"});
        if (made.code != exit_ok) { throw std::runtime_error(made.out + made.err); }
        manifest_ = nlohmann::json::parse(made.out);
        image_ = contents_of(image);
    }
    [[nodiscard]] const std::string& image() const { return image_; }
    [[nodiscard]] const nlohmann::json& manifest() const { return manifest_; }

    ProgramRan inspect(const std::string& contents, std::vector<std::string> options = {}) {
        const std::string dump = folder_ / "dump.bin";
        std::ofstream(dump, std::ios::binary) << contents;
        options.insert(options.begin(), {"inspect", project_, dump});
        ProgramRan ran = run_program(options);
        std::istringstream lines(ran.err);
        for (std::string line; std::getline(lines, line);) { EXPECT_LE(line.size(), 80U) << line; }
        for (size_t at = 0; (at = ran.err.find("\n  ", at)) != std::string::npos;) { ran.err.replace(at, 3, " "); }
        return ran; // its error as one line
    }
    nlohmann::json json(const std::string& contents, std::vector<std::string> options = {}) {
        options.emplace_back("--json");
        return nlohmann::json::parse(inspect(contents, std::move(options)).out);
    }

private:
    ScratchFolder folder_;
    std::string project_, image_;
    nlohmann::json manifest_;
};

/// Both areas where they are, each with its records.
void expect_both(const nlohmann::json& json) {
    ASSERT_TRUE(json.contains("areas")) << json.dump(2);
    EXPECT_TRUE(json.at("holds").get<bool>()) << json.dump(2);
    EXPECT_EQ(json.at("areas").at(0).at("area"), "history");
    EXPECT_EQ(json.at("areas").at(1).at("records").at(0).at("fields").at(0).at("value"), 77);
    for (const auto& area : json.at("areas")) {
        EXPECT_EQ(area.at("contents"), "ring");
        EXPECT_EQ(area.at("notes").size(), 0U);
    }
}

// The same shape twice: only the records tell the areas apart.
TEST(DumpPlace, AnImageOfTwoAreasIsFoundInIt) {
    for (const char* size : {"2048 B", "1024 B"}) {
        DumpPlaceOf of(size);
        const uint64_t begin = 0x08002000 - of.image().size();
        EXPECT_EQ(of.image().size(), 2048U + (std::string(size) == "2048 B" ? 2048 : 1024));
        EXPECT_EQ(of.manifest().at("units").at(0).at("base"), begin);
        const nlohmann::json found = of.json(of.image());
        expect_both(found);
        EXPECT_EQ(found.at("first_byte").at("address"), begin);
        EXPECT_EQ(found.at("first_byte").at("is"), "the start of area store");
        EXPECT_EQ(found.at("first_byte").at("why"),
                  "it is as long as all from the first area's start to the last one's end, and the stamps of areas "
                  "history and store say the same");
        const nlohmann::json told = of.json(of.image(), {"--base", std::to_string(begin)});
        expect_both(told);
        EXPECT_EQ(told.at("first_byte").at("why"), "--base says so");
        // The whole flash, and flash from somewhere in the firmware on.
        const std::string before(begin - 0x08000000, 'f');
        EXPECT_EQ(of.json(before + of.image()).at("first_byte").at("is"), "the start of flash");
        expect_both(of.json(before + of.image()));
        const nlohmann::json from = of.json(before.substr(0, 100) + of.image());
        expect_both(from);
        EXPECT_EQ(from.at("first_byte").at("is"), "100 bytes before area store");
        EXPECT_EQ(from.at("first_byte").at("why"), "the stamps of areas history and store in it say so");
    }
}

TEST(DumpPlace, ItIsSaidInTheReport) {
    DumpPlaceOf of("1024 B");
    const ProgramRan ran = of.inspect(of.image(), {"--base", "0x08001000"});
    EXPECT_EQ(ran.code, exit_ok) << ran.out;
    EXPECT_NE(ran.out.find("  its first byte is 0x08001400, the start of area store: the stamps of areas\n"
                           "  history and store in it say so, where --base says 0x08001000\n"),
              std::string::npos)
        << ran.out;
    EXPECT_NE(ran.out.find("note: 2 stamps say that it begins at 0x08001000, not at 0x08001400"), std::string::npos)
        << ran.out;
}

TEST(DumpPlace, WhatIsCutShortIsMissing) {
    DumpPlaceOf of("2048 B");
    const nlohmann::json behind = of.json(of.image().substr(0, 3000));
    EXPECT_FALSE(behind.at("holds").get<bool>());
    EXPECT_EQ(behind.at("first_byte").at("is"), "the start of area store");
    EXPECT_EQ(behind.at("areas").at(0).at("bytes_known"), 952);
    EXPECT_EQ(behind.at("areas").at(1).at("bytes_known"), 2048);
    EXPECT_TRUE(behind.at("areas").at(1).at("holds").get<bool>());
    const nlohmann::json in_front = of.json(of.image().substr(700));
    EXPECT_EQ(in_front.at("first_byte").at("is"), "700 bytes into area store");
    EXPECT_EQ(in_front.at("areas").at(1).at("bytes_known"), 1348);
    EXPECT_TRUE(in_front.at("areas").at(0).at("holds").get<bool>());
}

// Two dumps behind one another: either is as good, and neither is taken in silence.
TEST(DumpPlace, TwoEqualRingsAreAskedFor) {
    DumpPlaceOf of("1024 B");
    const ProgramRan ran = of.inspect(of.image() + of.image());
    EXPECT_EQ(ran.code, exit_input_wrong) << ran.out;
    EXPECT_NE(ran.err.find("it may be"), std::string::npos) << ran.err;
    EXPECT_NE(ran.err.find("the start of area store (0x08001400)"), std::string::npos) << ran.err;
    EXPECT_NE(ran.err.find("3072 bytes before area store (0x08000800)"), std::string::npos) << ran.err;
    expect_both(of.json(of.image() + of.image(), {"--base", "0x08001400"}));
}

// A file with addresses says where a firmware would look, and find nothing.
TEST(DumpPlace, AreasAtOtherAddressesDoNotHold) {
    DumpPlaceOf of("1024 B");
    for (const HexFormat format : {HexFormat::intel_hex, HexFormat::s_records}) {
        for (const uint64_t shift : {0, 256}) {
            Memory memory;
            memory.segments.push_back({0x08001400 + shift, {of.image().begin(), of.image().end()}});
            const std::string file = format == HexFormat::intel_hex ? write_intel_hex(memory) : write_s_records(memory);
            const std::vector<std::string> as{"--format", format == HexFormat::intel_hex ? "hex" : "srec"};
            const ProgramRan ran = of.inspect(file, as);
            EXPECT_EQ(ran.code, shift == 0 ? exit_ok : exit_not_met) << ran.out << ran.err;
            const bool said = ran.out.find("NOT IN ORDER") != std::string::npos &&
                              ran.out.find("where the project says") != std::string::npos;
            EXPECT_EQ(said, shift != 0) << ran.out;
            EXPECT_EQ(of.json(file, as).at("holds"), shift == 0);
        }
    }
}

// Where neither the project nor the command line says where flash starts, addresses can be held against nothing: the
// stamps alone say where the areas are.
TEST(DumpPlace, AddressesAreNotHeldAgainstAStartOfFlashThatNobodySaid) {
    DumpPlaceOf of("1024 B", "");
    Memory memory;
    memory.segments.push_back({0x08001400, {of.image().begin(), of.image().end()}});
    const std::string file = write_intel_hex(memory);
    const std::vector<std::string> as{"--format", "hex"};
    const nlohmann::json json = of.json(file, as);
    EXPECT_EQ(json.at("holds"), true);
    const std::string why = json.at("first_byte").at("why");
    EXPECT_TRUE(why.ends_with("say so; flash begins at 0x08000000 then, which the project does not say")) << why;
    for (const auto& area : json.at("areas")) { EXPECT_EQ(area.dump().find("the dump is shifted"), std::string::npos); }
    EXPECT_EQ(of.json(file, {"--format", "hex", "--flash-start", "0x08000000"}).at("holds"), true);
    EXPECT_EQ(of.json(file, {"--format", "hex", "--flash-start", "0x08000100"}).at("holds"), false);
}

// One area alone: which of the two equal ones its records say. The other is missing.
TEST(DumpPlace, OneAreaIsKnownByItsRecords) {
    DumpPlaceOf of("2048 B");
    for (const bool first : {true, false}) {
        const nlohmann::json json = of.json(of.image().substr(first ? 0 : 2048, 2048));
        EXPECT_EQ(json.at("first_byte").at("is"), first ? "the start of area store" : "the start of area history");
        EXPECT_EQ(json.at("areas").at(first ? 1 : 0).at("bytes_known"), 2048);
        EXPECT_TRUE(json.at("areas").at(first ? 1 : 0).at("holds").get<bool>()) << json.dump(2);
        EXPECT_EQ(json.at("areas").at(first ? 0 : 1).at("bytes_known"), 0);
        EXPECT_FALSE(json.at("holds").get<bool>());
    }
}

TEST(DumpPlace, WhatNothingSaysIsAskedFor) {
    DumpPlaceOf of("2048 B");
    const ProgramRan rubbish = of.inspect(std::string(1000, 'x'));
    EXPECT_EQ(rubbish.code, exit_input_wrong);
    EXPECT_NE(
        rubbish.err.find("nothing says where in flash it begins (1000 bytes): no stamp of an area stands in it, and "
                         "it is as long as neither the flash nor an area: history (2048 bytes, at 0x08001800), "
                         "store (2048 bytes, at 0x08001000): say it with --base ADDRESS"),
        std::string::npos)
        << rubbish.err;
    const ProgramRan one = of.inspect("x");
    EXPECT_NE(one.err.find("nothing says where in flash it begins (1 byte): "), std::string::npos) << one.err;
    EXPECT_EQ(of.inspect(std::string(1000, 'x'), {"--base", "0x08001800"}).code, exit_not_met);
    const ProgramRan blank = of.inspect(std::string(2048, '\xFF'));
    EXPECT_EQ(blank.code, exit_input_wrong);
    EXPECT_NE(blank.err.find("it may be the start of area history (0x08001800) or the start of area store "
                             "(0x08001000): say it with --base ADDRESS"),
              std::string::npos)
        << blank.err;
    // Of the flash's length nothing else is in the project.
    const nlohmann::json whole = of.json(std::string(8192, '\xFF'));
    EXPECT_EQ(whole.at("first_byte").at("why"), "it is as long as the flash; no stamp in it says so");
}

// A ring just formatted holds no record that says which of two equal areas it is.
TEST(DumpPlace, EqualAreasWithoutRecordsAreAskedFor) {
    DumpPlaceOf of("2048 B");
    std::string empty = of.image().substr(0, 2048);
    for (size_t at = 24; at < 512; at++) { empty[at] = '\xFF'; } // all but the stamp and the format's last mark
    const ProgramRan ran = of.inspect(empty);
    EXPECT_EQ(ran.code, exit_input_wrong);
    EXPECT_NE(ran.err.find("it may be the start of area history (0x08001800) or the start of area store"),
              std::string::npos)
        << ran.err;
}

// Two areas that changed places in flash are not taken for each other.
TEST(DumpPlace, SwappedAreasAreNotTakenForEachOther) {
    DumpPlaceOf of("2048 B");
    const std::string swapped = of.image().substr(2048) + of.image().substr(0, 2048);
    const nlohmann::json json = of.json(swapped, {"--base", "0x08001000"});
    EXPECT_FALSE(json.at("holds").get<bool>());
    for (const auto& area : json.at("areas")) {
        for (const auto& record : area.at("records")) {
            if (record.at("name") == "settings") { EXPECT_EQ(area.at("area"), "store"); }
        }
    }
}

} // namespace
} // namespace perdure::returned
