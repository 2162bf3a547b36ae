// What a firmware's ELF file puts where: read with libelf, as plain structs.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "firmware/elf_machine.hpp"

namespace perdure {

/// A section with contents, where the loader programs it (its load address, which for initialised data is in flash).
struct LoadedPiece {
    std::string name; ///< ".text"; "segment 2" in a file without sections
    uint64_t begin = 0;
    uint64_t bytes = 0;
};

/// A function or object of such a section, at its load address.
struct LoadedSymbol {
    std::string name;
    std::string piece;
    uint64_t begin = 0;
    uint64_t bytes = 0;
};

struct ElfImage {
    ElfMachine machine;
    std::vector<LoadedPiece> pieces;    ///< by address
    std::vector<LoadedSymbol> symbols;  ///< by address; empty in a stripped file
    std::vector<LoadedSymbol> absolute; ///< symbols that the linker script defines
};

/// Reads an ELF file of either size and byte order. Errors are texts without a full stop: not there, no ELF, no
/// program.
tl::expected<ElfImage, std::string> read_elf(const std::string& path);

} // namespace perdure
