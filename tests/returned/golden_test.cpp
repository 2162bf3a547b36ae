// What the commands print, to the letter, on dumps that are kept in tests/returned/dumps. With PERDURE_WRITE_GOLDEN set
// the texts are written instead (read them before they are kept), with PERDURE_WRITE_DUMPS the dumps.
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

#include "cli/commands.hpp"
#include "tests/own_folder.hpp"
#include "tests/paths.hpp"
#include "tests/returned/returned_unit.hpp"
#include "tests/run_program.hpp"

namespace perdure::returned {
namespace {

const std::string folder = source_path("tests/returned/");

using Ran = ProgramRan;

Ran run(const std::vector<std::string>& words) {
    return run_program(words);
}

std::string contents_of(const std::string& path) {
    std::stringstream text;
    text << std::ifstream(path, std::ios::binary).rdbuf();
    return text.str();
}

/// `text` with this tree's and the test's folders taken out of it.
std::string without_folders(std::string text) {
    for (const std::string& place : {folder, own_folder()}) {
        for (size_t at = text.find(place); at != std::string::npos; at = text.find(place)) {
            text.erase(at, place.size());
        }
    }
    return text;
}

void hold(const std::string& name, const Ran& ran) {
    const std::string path = folder + "golden/" + name;
    const std::string printed = without_folders(ran.out + ran.err) + "exit code " + std::to_string(ran.code) + "\n";
    if (std::getenv("PERDURE_WRITE_GOLDEN") != nullptr) { std::ofstream(path, std::ios::binary) << printed; }
    EXPECT_EQ(contents_of(path), printed) << name;
    size_t begin = 0;
    for (size_t end = printed.find('\n'); end != std::string::npos; begin = end + 1, end = printed.find('\n', begin)) {
        const std::string line = printed.substr(begin, end - begin);
        const bool names_a_file = line.find("error: ") != std::string::npos;
        EXPECT_LE(line.size(), names_a_file                                ? 1000U
                               : name.find("listing") == std::string::npos ? 80U
                                                                           : 100U)
            << name << ": " << line;
    }
}

void write_dump(const std::string& name, const std::vector<uint8_t>& area) {
    const Memory memory{{{0x08001800, area}}, {}, {}, {}};
    std::ofstream(folder + "dumps/" + name) << write_intel_hex(memory);
}

/// The dumps that the golden texts are of: one unit, ever more of it damaged.
void write_dumps() {
    std::ofstream(folder + "dumps/door-counter.toml") << project_text(4);
    const Product product(project_text(4));
    UsedUnit unit(product, 12);
    unit.use(150);
    unit.cut(2, 1, true);
    unit.use(9);
    std::vector<uint8_t> bytes = unit.flash();
    write_dump("in-order.hex", bytes);
    const Decoded decoded = decode({product.expected.areas[0].shape, bytes, {}});
    const DumpEntry& entry = decoded.entries[decoded.entries.size() - 5];
    bytes[(size_t{entry.block} * 64 + entry.unit) * 8 + 2] ^= 0x04;
    write_dump("one-bit.hex", bytes);
    const std::string text = "ASSERT motor.c:812";
    const size_t victim = (decoded.head + 3) % 4 * 512 + 200;
    std::copy(text.begin(), text.end(), bytes.begin() + static_cast<std::ptrdiff_t>(victim));
    write_dump("overwritten.hex", bytes);
    const std::string whole = write_intel_hex({{{0x08001800, bytes}}, {}, {}, {}});
    std::ofstream(folder + "dumps/cut-short.hex") << whole.substr(0, whole.size() * 2 / 3);
}

TEST(Golden, Inspect) {
    if (std::getenv("PERDURE_WRITE_DUMPS") != nullptr) { write_dumps(); }
    const std::string project = folder + "dumps/door-counter.toml";
    for (const std::string name : {"in-order", "one-bit", "overwritten", "cut-short"}) {
        hold("inspect-" + name + ".txt", run({"inspect", project, folder + "dumps/" + name + ".hex", "--age", "2"}));
    }
    hold("inspect-listing.txt", run({"inspect", project, folder + "dumps/one-bit.hex", "--listing", "--history", "0"}));
    hold("inspect-help.txt", run({"inspect", "--help"}));
}

TEST(Golden, InspectJsonSaysTheSame) {
    const std::string project = folder + "dumps/door-counter.toml";
    const Ran ran = run({"inspect", project, folder + "dumps/overwritten.hex", "--json", "--listing"});
    EXPECT_EQ(ran.code, exit_not_met);
    const nlohmann::json json = nlohmann::json::parse(ran.out);
    EXPECT_FALSE(json.at("holds").get<bool>());
    const nlohmann::json& area = json.at("areas").at(0);
    EXPECT_EQ(area.at("begin"), 0x08001800);
    uint64_t sum = 0;
    for (const auto& [kind, bytes] : area.at("byte_totals").items()) { sum += bytes.get<uint64_t>(); }
    EXPECT_EQ(sum, 2048U);
    uint64_t at = 0;
    for (const nlohmann::json& range : area.at("ranges")) {
        EXPECT_EQ(range.at("offset").get<uint64_t>(), at);
        at += range.at("bytes").get<uint64_t>();
    }
    EXPECT_EQ(at, 2048U);
    std::vector<std::string> causes;
    for (const nlohmann::json& damage : area.at("damage")) { causes.push_back(damage.at("cause")); }
    EXPECT_NE(std::ranges::find(causes, "overwritten"), causes.end());
    EXPECT_NE(std::ranges::find(causes, "bit rot"), causes.end());
}

TEST(Golden, InspectRefusals) {
    const std::string project = folder + "dumps/door-counter.toml";
    const std::string dump = folder + "dumps/in-order.hex";
    const std::string empty = own_folder() + "empty.bin";
    std::ofstream(empty).flush();
    Ran all;
    for (const std::vector<std::string>& words :
         std::vector<std::vector<std::string>>{{project, folder + "nothing.hex"},
                                               {project, folder},
                                               {project, empty},
                                               {project, dump, "--base", "0x08000000"},
                                               {project, dump, "--base", "here"},
                                               {project, dump, "--format", "elf"},
                                               {project, dump, "--age", "-1"},
                                               {project, dump, "--history", "many"},
                                               {project}}) {
        std::vector<std::string> line{"inspect"};
        line.insert(line.end(), words.begin(), words.end());
        const Ran ran = run(line);
        EXPECT_EQ(ran.code, exit_input_wrong);
        all.err += ran.err;
    }
    all.code = exit_input_wrong;
    hold("inspect-refusals.txt", all);
}

TEST(Golden, Image) {
    const std::string project = folder + "dumps/door-counter.toml";
    const std::string out = own_folder() + "unit.hex";
    hold("image-one.txt", run({"image", project, "-o", out, "--set", "calibration.gain=1.5,settings.label=door 7"}));
    EXPECT_EQ(run({"inspect", project, out, "--blank-gaps"}).code, exit_ok);
    const Ran json = run({"image", project, "-o", own_folder() + "unit.srec", "--json", "--checksum", "crc32"});
    EXPECT_EQ(json.code, exit_ok);
    EXPECT_EQ(nlohmann::json::parse(json.out).at("format"), "S-records");
    EXPECT_EQ(nlohmann::json::parse(json.out).at("keep").at(0).at("begin"), 0x08001800);
    hold("image-help.txt", run({"image", "--help"}));
}

TEST(Golden, ImagesOfATable) {
    const std::string project = folder + "dumps/door-counter.toml";
    const std::string table = own_folder() + "units.csv";
    std::ofstream file(table);
    file << "serial,calibration.zero,settings.label\n";
    for (int i = 0; i < 300; i++) { file << "D-" << 1000 + i << ',' << i - 150 << ",\"door, " << i << "\"\n"; }
    file.close();
    const std::string out = own_folder() + "images";
    std::filesystem::remove_all(out);
    hold("image-table.txt", run({"image", project, "--units", table, "-o", out, "--threads", "2"}));
    const nlohmann::json manifest = nlohmann::json::parse(contents_of(out + "/manifest.json"));
    ASSERT_EQ(manifest.at("units").size(), 300U);
    for (const int i : {0, 150, 299}) {
        const nlohmann::json& unit = manifest.at("units").at(static_cast<size_t>(i));
        EXPECT_EQ(unit.at("serial"), "D-" + std::to_string(1000 + i));
        const std::string path = out + "/" + unit.at("file").get<std::string>();
        const Ran read = run({"inspect", project, path, "--blank-gaps", "--json"});
        EXPECT_EQ(read.code, exit_ok);
        const nlohmann::json records = nlohmann::json::parse(read.out).at("areas").at(0).at("records");
        EXPECT_EQ(records.at(2).at("fields").at(1).at("value"), i - 150);
        EXPECT_EQ(records.at(1).at("fields").at(1).at("value"), "\"door, " + std::to_string(i) + "\"");
    }
}

TEST(Golden, ImageRefusals) {
    const std::string project = folder + "dumps/door-counter.toml";
    const std::string out = own_folder() + "refused.hex";
    std::filesystem::remove(out);
    const std::string firmware = own_folder() + "fw.hex";
    std::ofstream(firmware) << write_intel_hex({{{0x08001F00, std::vector<uint8_t>(16, 0xFF)}}, {}, {}, {}});
    const std::string broken = own_folder() + "broken.hex";
    std::ofstream(broken) << ":0300300002337A1F\n:00000001FF\n";
    Ran all;
    for (const std::vector<std::string>& words : std::vector<std::vector<std::string>>{
             {project},
             {project, "-o", out, "--set", "calibration.gian=1"},
             {project, "-o", out, "--set", "calibration.zero=99999"},
             {project, "-o", out, "--set", "settings.label=a label that is too long"},
             {project, "-o", out, "--set", "settings.label"},
             {project, "-o", out, "--merge", firmware},
             {project, "-o", out, "--merge", broken},
             {project, "-o", out, "--format", "elf"},
             {project, "-o", out, "--checksum", "md5"},
             {project, "-o", out, "--flash-start", "0x1G"},
             {project, "-o", own_folder() + "no/such/folder.hex"},
             {source_path("examples/grain-dryer-meter/grain-dryer-meter.toml"), "-o", out}}) {
        std::vector<std::string> line{"image"};
        line.insert(line.end(), words.begin(), words.end());
        const Ran ran = run(line);
        EXPECT_EQ(ran.code, exit_input_wrong);
        std::string said = ran.err;
        const std::string examples = source_path("examples");
        if (const size_t at = said.find(examples); at != std::string::npos) { said.erase(at, examples.size() + 1); }
        all.err += said;
    }
    all.code = exit_input_wrong;
    EXPECT_FALSE(std::filesystem::exists(out));
    const std::string path = folder + "golden/image-refusals.txt";
    const std::string printed = without_folders(all.err);
    if (std::getenv("PERDURE_WRITE_GOLDEN") != nullptr) { std::ofstream(path) << printed; }
    EXPECT_EQ(contents_of(path), printed);
}

} // namespace
} // namespace perdure::returned
