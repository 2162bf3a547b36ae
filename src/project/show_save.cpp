#include "project/show_save.hpp"

#include <fmt/format.h>

#include "project/units.hpp"

namespace perdure {

namespace {

/// "4 a day", "6 a year": the span in which it happens at least once.
std::string show_rate(double per_day, double year_days) {
    return per_day >= 1 ? fmt::format("{:.4g} a day", per_day) : fmt::format("{:.4g} a year", per_day * year_days);
}

} // namespace

std::string show_save(const Record& record, const SavePolicy& save, double year_days) {
    std::string text;
    switch (save.when) {
    case SaveWhen::periodic:
        text = "every " + show_seconds(save.every_s);
        break;
    case SaveWhen::events:
        text = show_rate(save.events_per_day, year_days);
        break;
    case SaveWhen::at_start:
        text = "at each start";
        break;
    case SaveWhen::moved:
        text = fmt::format("when {} moved by {:g}", record.fields.at(save.field).name, save.moved_by);
        break;
    case SaveWhen::settled:
        text = fmt::format("{} after a change", show_seconds(save.settle_s));
        if (save.latest_s) { text += ", at most " + show_seconds(*save.latest_s); }
        text += fmt::format(" ({} changes)", show_rate(save.events_per_day, year_days));
        break;
    case SaveWhen::at_power_fail:
        text = "at power failure";
        break;
    }
    if (save.confidence) { text += fmt::format(" (events, {:g} % sure)", *save.confidence * 100); }
    if (save.changed_share < 1) { text += fmt::format(", {:g} % of them changed", save.changed_share * 100); }
    return text;
}

} // namespace perdure
