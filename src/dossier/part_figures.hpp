// A catalogued part as its figures with their sources, and whether it can carry a store as it is.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "catalog/catalog.hpp"

namespace perdure {

/// One figure of a part, as text, under its column's name.
struct Figure {
    std::string_view column;
    std::string value; ///< empty when the catalogue has none
};

/// Every figure that the catalogue may have, in its order.
std::vector<Figure> figures_of(const Device& part);

/// What stands between a part and a project that only names it.
struct Readiness {
    bool ready = false;
    bool never = false;               ///< no figure would help
    std::string why_not;              ///< empty when ready
    std::vector<std::string> missing; ///< columns of the figures to give
};

Readiness readiness(const Device& part);

/// What has to be said before any figure of a part; empty if nothing. The catalogue keeps it in the part's note.
std::string part_caution(const Device& part);

nlohmann::json part_json(const Device& part);

} // namespace perdure
