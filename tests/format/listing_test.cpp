// What a listing says of the worked examples of store/format.md, to the letter: tests/format/listings/*.txt. With
// PERDURE_WRITE_LISTINGS set those files are written instead; read them beside the document before they are kept.
#include <cstdlib>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

#include "dump/listing.hpp"
#include "tests/format/area.hpp"
#include "tests/format/document.hpp"
#include "tests/paths.hpp"

namespace perdure::format_examples {
namespace {

using Bytes = std::vector<uint8_t>;

/// An area of the document: blank, but for the stamps of a fresh format and the lines of an example.
struct Image {
    AreaShape shape;
    Bytes bytes;

    explicit Image(const AreaShape& s) : shape(s), bytes(size_t{s.blocks} * s.block_units * s.unit_bytes, s.blank) {
        for (uint32_t block = 0; block < s.blocks; block++) { stamp(block, block + 1, block == 0 ? 2 : 1); }
    }
    void stamp(uint32_t block, uint32_t number, uint32_t erases) {
        uint8_t* at = bytes.data() + size_t{block} * shape.block_units * shape.unit_bytes;
        const auto put = [&](uint32_t value, unsigned count) {
            for (; count != 0; count--, value >>= 8) { *at++ = static_cast<uint8_t>(value); }
        };
        const uint8_t* first = at;
        put(0x10 + shape.check_bits / 8, 1);
        put(shape.unit_bytes, 2);
        put(shape.blocks, 2);
        put(shape.block_units, 2);
        put(number, 4);
        put(erases, 3);
        put(format_check(16)(0xFFFF0000U, first, 14) >> 16, 2);
    }
    /// Lines "block:unit bytes", from number `first` up to `end`.
    void put(const Lines& lines, size_t first = 0, size_t end = SIZE_MAX) {
        for (size_t i = first; i < std::min(end, lines.size()); i++) {
            std::istringstream words(lines[i]);
            uint32_t block = 0;
            uint32_t unit = 0;
            char colon = 0;
            words >> block >> colon >> unit >> std::hex;
            size_t at = (size_t{block} * shape.block_units + unit) * shape.unit_bytes;
            for (uint32_t byte = 0; words >> byte;) { bytes.at(at++) = static_cast<uint8_t>(byte); }
        }
    }
    [[nodiscard]] AreaView view() const { return {shape, bytes, {}}; }
};

/// Names for the records of the examples.
const RecordLabels& labels() {
    static const RecordLabels known{{1, {"settings", {{"delay", 2}, {"offset", 2, true}}}},
                                    {2, {"water", {{"litres", 4}, {"pulses", 2}}}}};
    return known;
}

Lines example(const std::string& name) {
    const auto document = read_document();
    const auto found = document.find(name);
    EXPECT_NE(found, document.end()) << "store/format.md has no example '" << name << "'";
    return found == document.end() ? Lines{} : found->second;
}

/// Compares with tests/format/listings/<name>.txt.
void compare(const std::string& name, const std::string& text) {
    const std::string path = source_path("tests/format/listings/") + name + ".txt";
    if (std::getenv("PERDURE_WRITE_LISTINGS") != nullptr) {
        std::ofstream(path) << text;
        GTEST_SKIP() << "wrote " << path;
    }
    std::stringstream golden;
    golden << std::ifstream(path).rdbuf();
    EXPECT_EQ(golden.str(), text) << path;
    std::istringstream lines(text);
    for (std::string line; std::getline(lines, line);) { EXPECT_LE(line.size(), 80U) << line; }
}

void compare_example(const std::string& name, const std::string& file, const AreaShape& shape = {2, 40, 8, 16, 0xFF}) {
    Image image(shape);
    image.put(example(name));
    compare(file, listing(image.view(), labels()));
}

TEST(DumpListing, AValue) {
    compare_example("value", "value");
}
TEST(DumpListing, ATotalInFieldsShortEntriesCarriedUp) {
    compare_example("total", "total");
}
TEST(DumpListing, AnIdOfThreeBytes) {
    compare_example("long id", "long-id");
}
TEST(DumpListing, APayloadOfManyUnits) {
    compare_example("long payload", "long-payload", {2, 160, 32, 16, 0xFF});
}
TEST(DumpListing, TwoRestartEntries) {
    compare_example("restart", "restart");
}
TEST(DumpListing, ALoneRestartEntry) {
    compare_example("lone restart", "lone-restart");
}
TEST(DumpListing, ABlockSetAside) {
    compare_example("set aside", "set-aside", {4, 40, 8, 16, 0xFF});
}
TEST(DumpListing, AFormatThatDidNotEnd) {
    compare_example("format begun", "format-begun");
}
TEST(DumpListing, BlankIsZero) {
    compare_example("blank 0x00", "blank-zero", {2, 60, 6, 16, 0x00});
}
TEST(DumpListing, AMarkAndTheEraseBehindIt) {
    compare_example("mark", "mark");
}

TEST(DumpListing, AnEraseThatIsPending) {
    Image image({2, 40, 8, 16, 0xFF});
    image.stamp(0, 1, 2);
    image.stamp(1, 2, 1);
    image.put(example("pending"), 0, 11); // up to the restart entry
    compare("pending", listing(image.view(), labels()));
}

TEST(DumpListing, BeforeAndAfter) {
    const Lines lines = example("restart");
    Image before({2, 40, 8, 16, 0xFF});
    before.put(lines, 0, 2);
    Image after = before;
    after.put(lines, 0, 9); // the first restart entry
    before.bytes[3 * 8 + 3] = 0xFE;
    compare("before-and-after", listing(after.view(), labels(), before.bytes));
}

TEST(DumpListing, FaultsRubbishAndDoubt) {
    Image image({2, 40, 8, 16, 0xFF});
    const Lines lines = example("total");
    image.put(lines);
    image.bytes[6 * 8 + 2] ^= 0x10; // the second short entry no longer passes; the full one behind it is not believed
    image.bytes[size_t{40 + 30} * 8] = 0x12;
    Bytes faulting(80);
    faulting[5] = 1;
    AreaView view = image.view();
    view.faulting = faulting;
    compare("faults", listing(view, labels()));
}

TEST(DumpListing, SomethingElse) {
    Image image({2, 40, 8, 16, 0xFF});
    image.put(example("value"));
    AreaView view = image.view();
    view.shape.block_units = 20;
    view.shape.blocks = 4;
    compare("another-shape", listing(view, labels()));
    const Bytes blank(640, 0xFF);
    view.bytes = blank;
    EXPECT_EQ(listing(view, {}), "nothing stored: blank, or a format that did not end\n"
                                 "\nblock 0\n  0:0   0x000                           blank       20 units, to 0:19\n"
                                 "\nblock 1\n  1:0   0x0A0                           blank       20 units, to 1:19\n"
                                 "\nblock 2\n  2:0   0x140                           blank       20 units, to 2:19\n"
                                 "\nblock 3\n  3:0   0x1E0                           blank       20 units, to 3:19\n");
}

TEST(DumpListing, PayloadsAsFields) {
    const RecordLabels known{
        {1,
         {"mixed",
          {{"a", 1, true}, {"b", 8, true}, {"c", 8}, {"d", 4, false, true}, {"e", 8, false, true}, {"serial", 10}}}}};
    Bytes payload{0xFE, 0xFD, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF,
                  0xFF, 0xFF, 0x00, 0x00, 0x20, 0xC0, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0xF8, 0x3F};
    EXPECT_EQ(payload_text(1, payload, known),
              "a = -2, b = -3, c = 18446744073709551615, d = -2.5, e = 1.5, serial not stored");
    for (uint8_t i = 1; i <= 11; i++) { payload.push_back(i); }
    EXPECT_EQ(payload_text(1, payload, known), "a = -2, b = -3, c = 18446744073709551615, d = -2.5, e = 1.5, serial = "
                                               "01 02 03 04 05 06 07 08 09 0A, and more: 0B");
    EXPECT_EQ(payload_text(7, Bytes{1, 2}, known), "01 02");
    EXPECT_EQ(payload_text(7, Bytes(130), known), "00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 .. (130 bytes)");
    EXPECT_EQ(payload_text(0xFFFF, Bytes{2, 0, 0, 1}, known), "2, 256");
    EXPECT_EQ(payload_text(0xFFFF, {}, known), "none");
}

} // namespace
} // namespace perdure::format_examples
