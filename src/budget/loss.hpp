// What a sudden cut takes: for each record the time, and of its numbers the amount, that were not saved yet.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "project/project.hpp"

namespace perdure {

struct Finding;

/// Of one number: a field, or of a log its samples.
struct LostAmount {
    std::string what;           ///< the field's name, or "samples"
    std::optional<double> most; ///< absent: nothing bounds it
    std::optional<double> mean; ///< at its mean rate, over the time lost at most
    std::string why;
    Place asked_place;
    std::optional<double> allowed;
};

/// A record's loss window with all its saves taken together.
struct RecordLoss {
    std::string name;
    double time_s = 0;           ///< at most; infinite where nothing bounds it
    std::string why;             ///< the save that bounds it
    Place place;                 ///< of that save
    bool by_event = false;       ///< nothing but events and starts saves it
    bool by_hold_up = false;     ///< the save at power failure is relied on
    double time_otherwise_s = 0; ///< where that save does not come off: a reset, a hold-up that fails
    std::vector<LostAmount> amounts;
};

/// `hold_up_holds`: the save at power failure comes off. A cut may always take a put that has not returned.
RecordLoss loss_of(const Project& project, const Record& record, bool hold_up_holds);

/// What one save alone leaves open: "1 min", "500 steps", "0".
std::string show_loss(const Project& project, const Record& record, const SavePolicy& save);

/// Findings where a loss window was asked for.
std::vector<Finding> loss_findings(const Project& project, const std::vector<RecordLoss>& losses);

} // namespace perdure
