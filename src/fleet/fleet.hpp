// Many dumps at once: read and inspected in parallel, handed on one after the other.
#pragma once

#include <functional>
#include <map>
#include <string>
#include <vector>

#include "fleet/summary.hpp"

namespace perdure {

struct FleetOptions {
    unsigned threads = 1;
    std::optional<uint64_t> base; ///< of binaries
    std::optional<double> age_years;
    std::map<std::string, double, std::less<>> ages; ///< by serial; before age_years
    bool gaps_are_blank = false;
    uint64_t file_bytes_max = 1U << 28U; ///< a larger file is not read, and its row says so
    size_t tries_max = 5'000;            ///< as of InspectOptions
};

/// The files of a folder that a name's ending calls a dump, in the order of their names. Others are counted in
/// `left_out`.
std::vector<std::string> dumps_in(const std::string& folder, size_t& left_out);

/// Inspects every file. `take` is called on the calling thread, in whatever order they are done, and ends all by false.
/// At most `threads` files and a few rows for each thread are held at a time.
void inspect_fleet(const Expected& expected, const std::vector<std::string>& files, const FleetOptions& options,
                   const std::function<bool(UnitRow&&)>& take);

/// One file.
UnitRow inspect_file(const Expected& expected, const std::string& path, const FleetOptions& options);

} // namespace perdure
