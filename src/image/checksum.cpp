#include "image/checksum.hpp"

#include <array>

#include <boost/crc.hpp>
#include <fmt/format.h>
#include <sha256.h>

namespace perdure {

std::optional<Checksum> checksum_of_word(std::string_view word) {
    if (word == "sha256") { return Checksum::sha256; }
    if (word == "crc32") { return Checksum::crc32; }
    return std::nullopt;
}

std::string_view name_of(Checksum checksum) {
    return checksum == Checksum::sha256 ? "SHA-256" : "CRC-32";
}

std::string checksum_of(Checksum checksum, std::span<const uint8_t> bytes) {
    if (checksum == Checksum::crc32) {
        boost::crc_32_type code;
        code.process_bytes(bytes.data(), bytes.size());
        return fmt::format("{:08x}", code.checksum());
    }
    std::array<char, SHA256_DIGEST_STRING_LENGTH> out{};
    SHA256Data(bytes.data(), bytes.size(), out.data());
    return out.data();
}

} // namespace perdure
