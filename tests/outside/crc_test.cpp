// The store's check codes, and those of the reader of dumps, against the published catalogue of parametrised CRC
// algorithms (reveng.sourceforge.io/crc-catalogue) and against Boost.CRC. The check value of CRC-24/OPENPGP is from
// memory and was recomputed; its polynomial is RFC 4880's.
#include "dump/decode.hpp"
#include "unit/unit.hpp"

#include <cstring>
#include <random>

#include <boost/crc.hpp>
#include <gtest/gtest.h>

namespace perdure {
namespace {

struct Code {
    uint32_t bits;
    uint32_t start; ///< initial value
    uint32_t check; ///< over "123456789"
};

// CRC-8/NRSC-5, CRC-16/IBM-3740, CRC-24/OPENPGP, CRC-32/MPEG-2: none reflected, none with a final exclusive or.
constexpr Code codes[] = {
    {8, 0xFF, 0xF7}, {16, 0xFFFF, 0x29B1}, {24, 0xB704CE, 0x21CF02}, {32, 0xFFFFFFFF, 0x0376E6E7}};

uint32_t by_table(const Code& code, const uint8_t* from, uint32_t bytes) {
    return check_by_table(code.bits, code.start << (32 - code.bits), from, bytes) >> (32 - code.bits);
}

/// The reader's, carried over two pieces.
uint32_t by_reader(const Code& code, const uint8_t* from, uint32_t bytes, uint32_t first) {
    const CheckFunction check = format_check(code.bits);
    const uint32_t state = check(code.start << (32 - code.bits), from, first);
    return check(state, from + first, bytes - first) >> (32 - code.bits);
}

template <size_t Bits, uint32_t Polynomial, uint32_t Start> uint32_t by_boost(const std::vector<uint8_t>& bytes) {
    boost::crc_optimal<Bits, Polynomial, Start, 0, false, false> crc;
    crc.process_bytes(bytes.data(), bytes.size());
    return static_cast<uint32_t>(crc.checksum());
}

TEST(CheckCodes, GiveTheCataloguesCheckValues) {
    for (const Code& code : codes) {
        const auto* digits = reinterpret_cast<const uint8_t*>("123456789");
        EXPECT_EQ(by_table(code, digits, 9), code.check) << code.bits << " bits";
        for (uint32_t first = 0; first <= 9; first++) {
            EXPECT_EQ(by_reader(code, digits, 9, first), code.check) << code.bits << " bits, " << first;
        }
    }
}

TEST(CheckCodes, AgreeWithBoostOnRandomBytes) {
    std::mt19937_64 random(4);
    for (int i = 0; i < 2000; i++) {
        std::vector<uint8_t> bytes(random() % 64);
        for (uint8_t& byte : bytes) { byte = static_cast<uint8_t>(random()); }
        const auto size = static_cast<uint32_t>(bytes.size());
        ASSERT_EQ(by_table(codes[0], bytes.data(), size), (by_boost<8, 0x31, 0xFF>(bytes)));
        ASSERT_EQ(by_table(codes[1], bytes.data(), size), (by_boost<16, 0x1021, 0xFFFF>(bytes)));
        ASSERT_EQ(by_table(codes[2], bytes.data(), size), (by_boost<24, 0x864CFB, 0xB704CE>(bytes)));
        ASSERT_EQ(by_table(codes[3], bytes.data(), size), (by_boost<32, 0x04C11DB7, 0xFFFFFFFF>(bytes)));
        const auto first = static_cast<uint32_t>(random() % (size + 1));
        for (const Code& code : codes) {
            ASSERT_EQ(by_reader(code, bytes.data(), size, first), by_table(code, bytes.data(), size)) << code.bits;
        }
    }
}

// The store's own bitwise code and the hook leave the same bytes in flash.
TEST(CheckCodes, TheStoresOwnCodeWritesWhatTheHookWrites) {
    for (const Code& code : codes) {
        Record record;
        record.id = 9;
        Field field;
        field.type = FieldType::bytes;
        field.bytes = 21;
        record.fields = {field};
        FlashGeometry geometry;
        geometry.ring_blocks = 3;
        const std::vector<const Record*> records{&record};
        const auto layout = lay_out_ring(geometry, code.bits, records);
        ASSERT_TRUE(layout);
        Unit with_hook(*layout, records, {});
        Unit bitwise(*layout, records, {});
        perdure_port port = *bitwise.config().port;
        port.check = nullptr;
        perdure_config config = bitwise.config();
        config.port = &port;
        perdure_store store;
        ASSERT_EQ(with_hook.format(), PERDURE_OK);
        ASSERT_EQ(perdure_format(&store, &config), PERDURE_OK);
        std::mt19937_64 random(code.bits);
        for (int put = 0; put < 300; put++) { // round the ring and more
            uint8_t value[21];
            for (uint8_t& byte : value) { byte = static_cast<uint8_t>(random()); }
            ASSERT_EQ(with_hook.put(0, value), PERDURE_OK);
            ASSERT_EQ(perdure_put(&store, 0, value), PERDURE_OK);
        }
        EXPECT_EQ(with_hook.flash().image(), bitwise.flash().image()) << code.bits << " bits";
    }
}

} // namespace
} // namespace perdure
