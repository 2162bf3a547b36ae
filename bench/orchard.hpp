// The product that every measurement uses: the orchard valve of examples/, its area laid out as the budget chooses.
#pragma once

#include <stdexcept>
#include <string>
#include <vector>

#include "budget/findings.hpp"
#include "life/life.hpp"
#include "project/read.hpp"

namespace perdure::bench {

struct Orchard {
    Project project;
    AreaLayout layout;
    FlashCosts costs;
};

inline Orchard read_orchard() {
    const std::string path = PERDURE_SOURCE_DIR "/examples/orchard-valve/orchard-valve.toml";
    const auto project = load_project(path, catalog());
    if (!project) { throw std::runtime_error(path + ": " + project.error().front().message); }
    const auto budget = make_budget(*project);
    if (!budget || !budget->areas.at(0).laid_out) { throw std::runtime_error(path + ": no layout"); }
    return {*project, budget->areas[0].layout, flash_costs(project->part)};
}

/// Read once. Throws when the example cannot be read or laid out: a measurement of nothing would be worse.
inline const Orchard& orchard() {
    static const Orchard read = read_orchard();
    return read;
}

/// The records of its one area.
inline std::vector<const Record*> orchard_records() {
    return records_of(orchard().project, orchard().project.areas.at(0));
}

} // namespace perdure::bench
