#include "catalog/catalog.hpp"

#include <algorithm>
#include <stdexcept>

#include "catalog/embedded.hpp"
#include "catalog/read.hpp"

namespace perdure {

const Device* Catalog::find(std::string_view id) const {
    const auto it = std::find_if(devices.begin(), devices.end(), [&](const Device& device) { return device.id == id; });
    return it == devices.end() ? nullptr : &*it;
}

const Catalog& catalog() {
    // The tables are built in and tested: if they do not read, the build is broken and nothing could be said about any
    // part.
    static const Catalog built_in = [] {
        auto read = read_catalog(embedded_file("devices.csv"), embedded_file("externals.csv"));
        if (!read) { throw std::logic_error("the built-in catalogue: " + read.error()); }
        return std::move(*read);
    }();
    return built_in;
}

std::optional<BlockRun> best_run(const Device& device) {
    std::optional<BlockRun> best;
    for (const BlockRun& run : device.runs) {
        if (run.count >= 2 && (!best || run.erase_bytes <= best->erase_bytes)) { best = run; }
    }
    return best;
}

} // namespace perdure
