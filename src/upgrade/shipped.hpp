// The table of a product's shipped versions, `shipped.csv` in the folder `versions` beside its project file. Pure: no
// file is touched here.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include <tl/expected.hpp>

namespace perdure {

/// One line: version N is the project file `N.toml` beside the table.
struct Shipped {
    uint32_t number = 0;   ///< 1, 2, 3 ...
    int store_release = 0; ///< PERDURE_STORE_VERSION of its firmware
    std::string sha256;    ///< of the project file as it was filed; the emitted sources name it too
    std::string note;      ///< free text
};

/// Reads the table. The error is a whole line: "path:3: ...".
tl::expected<std::vector<Shipped>, std::string> read_shipped(std::string_view text, const std::string& path);

/// The table as text.
std::string write_shipped(const std::vector<Shipped>& all);

} // namespace perdure
