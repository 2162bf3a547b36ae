// Factory images: what they hold is what the store on the part would have written, and both readers get every value.
#include <fstream>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "cli/commands.hpp"
#include "image/checksum.hpp"
#include "image/unit_data.hpp"
#include "tests/own_folder.hpp"
#include "tests/returned/returned_unit.hpp"
#include "tests/run_program.hpp"

namespace perdure::returned {
namespace {

TEST(Image, TheStoreAndTheReaderGetEveryValue) {
    const Product product(project_text(4));
    UnitData data;
    ASSERT_EQ(
        read_settings("calibration.gain=1.0625,calibration.zero=-12,settings.label=door 7", product.project, data), "");
    const auto image = make_area_image(product.area(), data, false);
    ASSERT_TRUE(image) << image.error();
    EXPECT_EQ(image->records_stored, 3U);
    // The store, on a part that was programmed with it, started for good.
    Unit unit(product.area().layout, product.area().records, {});
    unit.flash().load(image->bytes);
    ASSERT_EQ(unit.open(), PERDURE_OK);
    std::vector<uint8_t> settings(12);
    ASSERT_EQ(unit.get(1, settings.data()), PERDURE_OK);
    EXPECT_EQ(settings, (std::vector<uint8_t>{30, 0, 'd', 'o', 'o', 'r', ' ', '7', 0, 0, 0, 0}));
    std::vector<uint8_t> calibration(6);
    ASSERT_EQ(unit.get(2, calibration.data()), PERDURE_OK);
    EXPECT_EQ(calibration, (std::vector<uint8_t>{0, 0, 0x88, 0x3F, 0xF4, 0xFF})); // 1.0625 as IEEE 754, -12
    // The independent reader, from the HEX file.
    const Memory memory = memory_of(product.plan, {*image});
    const Inspection inspection =
        inspected(product, read_dump("a.hex", write_intel_hex(memory), std::nullopt, std::nullopt));
    const InspectedArea& area = inspection.areas[0];
    EXPECT_EQ(area.begin, 0x08000000 + 12 * 512);
    ASSERT_EQ(area.records.size(), 3U);
    EXPECT_EQ(area.records[1].payload, settings);
    EXPECT_EQ(area.records[2].payload, calibration);
}

TEST(Image, OnlyWhatTheStoreProgrammedIsInIt) {
    const Product product(project_text(4));
    const auto image = make_area_image(product.area(), {}, true);
    ASSERT_TRUE(image);
    EXPECT_EQ(image->records_stored, 0U);
    // Four stamps, and the mark that ends the format, behind the first.
    ASSERT_EQ(image->programmed.size(), 4U);
    EXPECT_EQ(image->programmed[0].bytes.size(), 24U);
    for (size_t i = 1; i < 4; i++) {
        EXPECT_EQ(image->programmed[i].address, i * 512);
        EXPECT_EQ(image->programmed[i].bytes.size(), 16U);
    }
    // Everything else is blank.
    std::vector<uint8_t> rest = image->bytes;
    for (const Segment& segment : image->programmed) {
        std::fill_n(rest.begin() + static_cast<std::ptrdiff_t>(segment.address), segment.bytes.size(), uint8_t{0xFF});
    }
    EXPECT_EQ(rest, std::vector<uint8_t>(2048, 0xFF));
}

TEST(Image, AnEndingOfAnotherKindOfFileIsRefused) {
    const ScratchFolder folder;
    std::ofstream(folder / "p.toml") << project_text(4);
    const ProgramRan ran = run_program({"image", folder / "p.toml", "-o", folder / "p.elf"});
    EXPECT_EQ(ran.code, exit_input_wrong);
    EXPECT_EQ(ran.err, "perdure: error: '" + folder / "p.elf" +
                           "' would be no .elf file: image writes Intel HEX (.hex), S-records (.srec, .s19) or a "
                           "binary (.bin); another ending, or --format with the one that is meant\n");
    EXPECT_FALSE(std::ifstream(folder / "p.elf"));
    EXPECT_EQ(run_program({"image", folder / "p.toml", "-o", folder / "p.elf", "--format", "hex"}).code, exit_ok);
}

// A calibration that nobody gave must not be in the part as if somebody had.
TEST(Image, NoDefaultPassesForARecordThatIsRefused) {
    const ScratchFolder folder;
    std::string text = project_text(4);
    const std::string begin = "[record.calibration]\n";
    ASSERT_NE(text.find(begin), std::string::npos);
    text.insert(text.find(begin) + begin.size(), "if_lost = \"refuse\"\n");
    std::ofstream(folder / "p.toml") << text;
    const auto made = [&](std::vector<std::string> more) {
        more.insert(more.begin(), {"image", folder / "p.toml", "-o", folder / "p.hex"});
        const ProgramRan ran = run_program(more);
        EXPECT_EQ(ran.code, exit_ok) << ran.err;
        return ran.out;
    };
    const auto inspected_as = [&](const std::vector<std::string>& more) {
        std::vector<std::string> words{"inspect", folder / "p.toml", folder / "p.hex", "--blank-gaps"};
        words.insert(words.end(), more.begin(), more.end());
        return run_program(words).out;
    };
    const std::string out = made({});
    EXPECT_NE(out.find("2 records stored\n  LEFT OUT: record calibration: it has if_lost = \"refuse\""),
              std::string::npos)
        << out;
    EXPECT_EQ(nlohmann::json::parse(made({"--json"})).at("units").at(0).at("records_left_out"),
              nlohmann::json::array({"calibration"}));
    for (const std::vector<std::string>& options : {std::vector<std::string>{}, {"--only-given"}}) {
        made(options);
        const std::string said = inspected_as({});
        EXPECT_NE(said.find("  calibration       nothing stored: the emitted load refuses it"), std::string::npos)
            << said;
        EXPECT_EQ(said.find("gain ="), std::string::npos) << said;
        const auto records = nlohmann::json::parse(inspected_as({"--json"})).at("areas").at(0).at("records");
        for (const auto& record : records) { EXPECT_EQ(record.at("load_refuses"), record.at("name") == "calibration"); }
    }
    const std::string given = made({"--set", "calibration.gain=1.5"});
    EXPECT_EQ(given.find("LEFT OUT"), std::string::npos) << given;
    EXPECT_NE(given.find("DEFAULT STORED: calibration.zero was not given"), std::string::npos) << given;
    EXPECT_EQ(given.find("DEFAULT STORED: calibration.gain"), std::string::npos) << given;
    EXPECT_EQ(nlohmann::json::parse(made({"--json", "--set", "calibration.gain=1.5"}))
                  .at("units")
                  .at(0)
                  .at("fields_defaulted"),
              nlohmann::json::array({"calibration.zero"}));
    EXPECT_EQ(made({"--set", "calibration.gain=1.5,calibration.zero=1"}).find("DEFAULT STORED"), std::string::npos);
    EXPECT_NE(inspected_as({}).find("gain = 1.5"), std::string::npos);
}

TEST(Image, AFirmwareInTheAreaIsRefused) {
    const Product product(project_text(4));
    Memory memory = memory_of(product.plan, {*make_area_image(product.area(), {}, false)});
    const uint64_t before = memory.byte_count();
    // Blank bytes of the area belong to it as well.
    EXPECT_EQ(add_firmware(memory, product.plan, {{{0x08001900, std::vector<uint8_t>(8, 0xFF)}}, {}, {}, {}}),
              "it holds 0x08001900 to 0x08001907, 8 bytes of area store (0x08001800 to 0x08001FFF)");
    EXPECT_EQ(add_firmware(memory, product.plan, {{{0x08001700, std::vector<uint8_t>(0x101, 1)}}, {}, {}, {}}),
              "it holds 0x08001800 to 0x08001800, 1 bytes of area store (0x08001800 to 0x08001FFF)");
    EXPECT_EQ(memory.byte_count(), before);
    EXPECT_EQ(add_firmware(memory, product.plan, {{{0x08001700, std::vector<uint8_t>(0x100, 1)}}, 0x08000101, {}, {}}),
              "");
    EXPECT_EQ(memory.byte_count(), before + 0x100);
    EXPECT_EQ(memory.start_address, 0x08000101U);
}

TEST(Image, TablesHaveTheirErrorsAtRowAndColumn) {
    const Product product(project_text(4));
    const auto wrong = [&](std::string_view text) {
        const auto units = read_units(text, "u.csv", product.project);
        return units ? std::string("no error") : units.error();
    };
    EXPECT_EQ(wrong(""), "u.csv: it is empty; expected a row of column names\n");
    EXPECT_EQ(wrong("calibration.gain\n1\n"),
              "u.csv: row 1, column 1 (calibration.gain): no column \"serial\"; expected one that "
              "names each unit\n");
    EXPECT_EQ(wrong("serial,calibration.gian\nA,1\n"),
              "u.csv: row 1, column 2 (calibration.gian): \"calibration.gian\" is no field of the project; expected "
              "record.field; nearest: calibration.gain\n");
    EXPECT_EQ(
        wrong("serial,calibration.zero\nA,40000\nA,1\nB/,2\nC\n"),
        "u.csv: row 2, column 2 (calibration.zero): \"40000\" does not fit; expected a whole number from -32768 to "
        "32767\n"
        "u.csv: row 3, column 1 (serial): serial \"A\" is there twice\n"
        "u.csv: row 4, column 1 (serial): \"B/\" cannot name a file; expected 1 to 64 letters, digits, '-', '_' or "
        "'.'\n"
        "u.csv: row 5, column 1 (serial): 1 cells; expected 2 as in the first row\n");
    EXPECT_EQ(wrong("serial\n"), "u.csv: row 2, column 1 (serial): no unit; expected a row for each\n");
    const auto units = read_units(
        "\xEF\xBB\xBFserial,settings.label,settings.delay_s\r\nA-1,\"a,b\",\r\nA-2,hex:00010203040506070809,0x10\r\n",
        "u.csv", product.project);
    ASSERT_TRUE(units) << units.error();
    ASSERT_EQ(units->size(), 2U);
    EXPECT_EQ((*units)[0].values.size(), 1U);
    EXPECT_EQ(show_value((*units)[0].values.at({2, 1})), "\"a,b\"");
    EXPECT_EQ(show_value((*units)[1].values.at({2, 1})), "hex:00010203040506070809");
    EXPECT_EQ(show_value((*units)[1].values.at({2, 0})), "16");
}

// FIPS 180-4's example of one block (NIST, "SHA256.pdf" of the examples with intermediate values: "abc"), and the check
// value of CRC-32/ISO-HDLC in the published catalogue of parametrised CRC algorithms.
TEST(Image, ChecksumsAreThePublishedOnes) {
    const std::vector<uint8_t> abc{'a', 'b', 'c'};
    EXPECT_EQ(checksum_of(Checksum::sha256, abc), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    const std::vector<uint8_t> digits{'1', '2', '3', '4', '5', '6', '7', '8', '9'};
    EXPECT_EQ(checksum_of(Checksum::crc32, digits), "cbf43926");
}

} // namespace
} // namespace perdure::returned
