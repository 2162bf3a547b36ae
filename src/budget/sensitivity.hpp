// Which input kills the margin first, and the shortest change that would make a failing requirement hold. One input is
// moved at a time, on the layout that the budget found; the rest stays.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "budget/findings.hpp"

namespace perdure {

/// One input that can be moved. Most by a factor; temperatures by degrees.
struct Lever {
    std::string name;
    double value = 0; ///< as it stands
    std::string unit;
    Place place; ///< of the file; none: from the catalogue or a default
    bool more_is_worse = true;
    bool by_degrees = false;
    double least = 0; ///< values that make sense
    double most = 1e300;
    std::function<void(Project&, double)> set; ///< to a value
    bool whole = false;                        ///< counts things: whole numbers only
};

/// The inputs of a project that its findings depend on.
std::vector<Lever> levers_of(const Project& project);

/// Where one input makes the first requirement fail that holds now.
struct Breaking {
    Lever lever;
    std::optional<double> at; ///< the value; absent: none within a factor of 1000 (150 degrees)
    std::string finding;      ///< what fails there
    double distance = 0;      ///< how far: |ln(at / value)|, or degrees x ln 2 / 10 (common practice, no source)
};

/// One change that makes a failing requirement hold.
struct Mending {
    std::string finding;
    std::string change; ///< in words, with both values
    double distance = 0;
    bool everything_holds = false; ///< with this change no requirement is left that fails
};

struct Sensitivity {
    std::vector<Breaking> breaking;   ///< nearest first, then those that never break
    std::vector<std::string> already; ///< fail before anything is moved, and are not among what breaks
    std::vector<Mending> mending;     ///< of each failing requirement, nearest first; five at most
    std::vector<std::string> beyond;  ///< failing requirements that no single change mends
    std::vector<std::string> drawn;   ///< failing requirements that are drawn for the fleet, and not followed
};

/// Moves every input, wear reckoned (coarse.hpp): where starts take much, a failing point is off as far as the
/// reckoning. The wear of a fleet with several spread inputs is drawn, too slow to follow here, and left out.
/// Needs a budget of this very project.
Sensitivity sensitivity_of(const Project& project, const Budget& budget);

std::string sensitivity_text(const Sensitivity& sensitivity);
nlohmann::json sensitivity_json(const Sensitivity& sensitivity);

} // namespace perdure
