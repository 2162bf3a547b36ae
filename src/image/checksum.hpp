// Checksums of images, by libraries: SHA-256 (FIPS 180-4; libmd) and CRC-32 (the catalogue's CRC-32/ISO-HDLC;
// Boost.CRC).
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>

#include <cstdint>

namespace perdure {

enum class Checksum : uint8_t { sha256, crc32 };

std::optional<Checksum> checksum_of_word(std::string_view word);
/// "SHA-256" or "CRC-32".
std::string_view name_of(Checksum checksum);
/// Lower-case hexadecimal digits, the upper byte first.
std::string checksum_of(Checksum checksum, std::span<const uint8_t> bytes);

} // namespace perdure
