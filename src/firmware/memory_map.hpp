// A firmware's memory map held against the areas of its project. Pure.
#pragma once

#include <string>
#include <vector>

#include "firmware/elf_image.hpp"
#include "firmware/plan.hpp"

namespace perdure {

/// One area and what is wrong with where it lies.
struct MappedArea {
    std::string name;
    uint64_t begin = 0; ///< address
    uint64_t bytes = 0;
    std::vector<std::string> problems; ///< sentences without a full stop; empty: nothing is in the way
};

/// Holds every area against the image: no loaded section in it, aligned to erase blocks, inside flash, clear of the
/// project's protected ranges, and where the linker script of emit was used at the address it says. Needs
/// project.flash_start_address.
std::vector<MappedArea> map_areas(const Project& project, const FirmwarePlan& plan, const ElfImage& image);

} // namespace perdure
