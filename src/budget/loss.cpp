#include "budget/loss.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "budget/sources.hpp"
#include "project/units.hpp"

namespace perdure {

namespace {

constexpr double unbounded = std::numeric_limits<double>::infinity();
constexpr double day_s = 86400;

/// Samples a second that a log takes, of an ordinary user: fewer samples leave a batch open longer.
double samples_per_s(const Project& project, const Record& record) {
    double sum = 0;
    for (const SavePolicy& save : record.saves) {
        const double per_s = save.when == SaveWhen::periodic   ? (save.every_s > 0 ? 1 / save.every_s : 0)
                             : save.when == SaveWhen::at_start ? project.starts_per_day() / day_s
                                                               : save.events_per_day / day_s;
        sum += per_s * save.changed_share;
    }
    return sum;
}

/// The time that one save alone leaves open at most. A save by an event leaves nothing of what changes with the event;
/// one at the start leaves the run that follows.
double open_s(const SavePolicy& save, bool hold_up_holds) {
    switch (save.when) {
    case SaveWhen::periodic:
        return save.every_s;
    case SaveWhen::settled:
        return save.latest_s.value_or(unbounded);
    case SaveWhen::at_power_fail:
        return hold_up_holds ? 0 : unbounded;
    case SaveWhen::moved:
    case SaveWhen::at_start:
        return unbounded;
    case SaveWhen::events:
        return 0;
    }
    return unbounded;
}

/// Saves of what is known only then; others save what moves all the time.
bool saves_an_event(const SavePolicy& save) {
    return save.when == SaveWhen::events || save.when == SaveWhen::at_start;
}

/// With a rate the user says that the field moves by itself, not only when an event or a start comes.
bool moves_between(const Record& record) {
    return std::any_of(record.fields.begin(), record.fields.end(),
                       [](const Field& field) { return field.rate_per_day.has_value(); });
}

std::string name_of(const SavePolicy& save) {
    switch (save.when) {
    case SaveWhen::periodic:
        return "saved every " + show_seconds(save.every_s);
    case SaveWhen::settled:
        return save.latest_s ? "saved at the latest " + show_seconds(*save.latest_s) + " after a change"
                             : "saved " + show_seconds(save.settle_s) + " after the last change";
    case SaveWhen::at_power_fail:
        return "saved at power failure";
    case SaveWhen::moved:
        return fmt::format("saved when moved by {:g}", save.moved_by);
    case SaveWhen::events:
        return "saved at each event";
    case SaveWhen::at_start:
        return "saved at each start";
    }
    return "";
}

struct Window {
    double time_s = unbounded;
    const SavePolicy* by = nullptr;
    bool by_event = false; ///< nothing but events and starts saves the record
};

Window window_of(const Record& record, bool hold_up_holds) {
    const bool only_events = std::all_of(record.saves.begin(), record.saves.end(), saves_an_event);
    Window out;
    for (const SavePolicy& save : record.saves) {
        if (saves_an_event(save) && !only_events) { continue; }
        const double time_s = only_events && moves_between(record) ? unbounded : open_s(save, hold_up_holds);
        if (out.by == nullptr || time_s < out.time_s) { out = {time_s, &save, only_events}; }
    }
    return out;
}

/// An event's save leaves nothing of a field that moves with events alone.
bool moves_with_events(const Record& record, const Field& field) {
    return !field.rate_per_day && std::any_of(record.saves.begin(), record.saves.end(),
                                              [](const SavePolicy& save) { return save.when == SaveWhen::events; });
}

LostAmount amount_of(const Record& record, size_t place, const RecordLoss& loss) {
    const Field& field = record.fields[place];
    LostAmount out;
    out.what = field.name;
    out.allowed = field.loss_amount_max;
    out.asked_place = field.loss_place;
    const auto bound = [&](double most, const std::string& why) {
        if (out.most && *out.most <= most) { return; }
        out.most = most;
        out.why = why;
    };
    if (loss.by_event ? moves_with_events(record, field) : loss.time_s <= 0) { bound(0, loss.why); }
    for (const SavePolicy& save : record.saves) {
        if (save.when == SaveWhen::moved && save.field == place) { bound(save.moved_by, name_of(save)); }
    }
    if (field.movement_max > 0 && (std::isfinite(loss.time_s) || loss.by_event)) {
        bound(double(field.movement_max), "its movement between two saves");
    }
    if (field.rate_per_day && std::isfinite(loss.time_s)) {
        out.mean = *field.rate_per_day / day_s * loss.time_s;
        if (out.most) { out.mean = std::min(*out.mean, *out.most); }
    }
    return out;
}

RecordLoss loss_of_log(const Project& project, const Record& record) {
    RecordLoss out;
    out.name = record.name;
    const uint32_t batch = record.log->batch;
    const double per_s = samples_per_s(project, record);
    const bool clocked = std::all_of(record.saves.begin(), record.saves.end(), [](const SavePolicy& save) {
        return save.when == SaveWhen::periodic && save.changed_share >= 1;
    });
    // One sample an entry leaves nothing but the sample in flight.
    out.time_s = batch <= 1 ? 0 : per_s > 0 ? batch / per_s : unbounded;
    out.why = batch <= 1
                  ? "each sample is put at once"
                  : fmt::format("{} samples wait for their batch{}", batch, clocked ? "" : ", at their mean rate");
    out.place = record.log->batch_place;
    out.time_otherwise_s = out.time_s;
    if (batch > 1) { out.amounts.push_back({"samples", double(batch), std::nullopt, out.why, {}, std::nullopt}); }
    return out;
}

Finding time_finding(const Project& project, const RecordLoss& loss, const Record& record) {
    Finding out = named("loss of " + loss.name, "", "s");
    const bool own = record.loss_time_max_s.has_value();
    const double allowed = own ? *record.loss_time_max_s : *project.requirements.loss_time_max_s;
    judge(out, loss.time_s, allowed);
    out.note = std::isfinite(loss.time_s) ? loss.why : loss.why + ": nothing bounds the time";
    if (loss.by_hold_up && loss.time_otherwise_s > 0) {
        out.note += std::isfinite(loss.time_otherwise_s)
                        ? "; " + show_seconds(loss.time_otherwise_s) + " where that save does not come off"
                        : "; without that save nothing bounds it";
    }
    out.from = {
        from_file(project, loss.place, "save", loss.time_s, "s"),
        from_file(project, own ? record.loss_place : project.requirements.loss_time_place, "loss_time", allowed, "s")};
    return out;
}

Finding amount_finding(const Project& project, const RecordLoss& loss, const LostAmount& amount) {
    Finding out = named(fmt::format("loss of {}.{}", loss.name, amount.what), "", "steps");
    const auto need = amount.most ? amount.most : amount.mean;
    if (!need) {
        out.status = FindingStatus::unknown;
        out.have = *amount.allowed;
        out.note = fmt::format("{}needs a save that bounds it: moved_by, or every with the field's movement or rate",
                               loss.by_event ? loss.why + ", it moves in between: " : "");
        return out;
    }
    judge(out, *need, amount.allowed);
    out.note = amount.most ? amount.why : "at its mean rate, over the time lost at most";
    out.from = {by_formula("amount", *need, "steps", out.note),
                from_file(project, amount.asked_place, "loss_amount", *amount.allowed, "steps")};
    return out;
}

} // namespace

RecordLoss loss_of(const Project& project, const Record& record, bool hold_up_holds) {
    if (record.has_log_entries()) { return loss_of_log(project, record); }
    RecordLoss out;
    out.name = record.name;
    if (record.retired) {
        out.why = "retired: never saved";
        out.place = record.place;
        return out;
    }
    const Window window = window_of(record, hold_up_holds);
    const Window otherwise = window_of(record, false);
    out.time_s = window.time_s;
    out.time_otherwise_s = otherwise.time_s;
    out.by_hold_up = window.by != nullptr && window.by->when == SaveWhen::at_power_fail && hold_up_holds;
    out.by_event = window.by_event;
    out.why = window.by == nullptr ? "never saved" : name_of(*window.by);
    out.place = window.by == nullptr ? record.place : window.by->place;
    for (size_t i = 0; i < record.fields.size(); ++i) {
        const Field& field = record.fields[i];
        if (field.movement_max > 0 || field.rate_per_day || field.loss_amount_max) {
            out.amounts.push_back(amount_of(record, i, out));
        }
    }
    return out;
}

std::string show_loss(const Project& project, const Record& record, const SavePolicy& save) {
    if (record.has_log_entries()) {
        const RecordLoss loss = loss_of_log(project, record);
        return loss.time_s > 0 ? show_seconds(loss.time_s) : "0";
    }
    switch (save.when) {
    case SaveWhen::periodic:
        return show_seconds(save.every_s);
    case SaveWhen::settled:
        return save.latest_s ? show_seconds(*save.latest_s) : "no bound";
    case SaveWhen::moved:
        return fmt::format("{:g} steps", save.moved_by);
    case SaveWhen::at_power_fail:
        return "0 held up";
    case SaveWhen::events:
        return moves_between(record) ? "no bound" : "0";
    case SaveWhen::at_start:
        return "one run";
    }
    return "";
}

std::vector<Finding> loss_findings(const Project& project, const std::vector<RecordLoss>& losses) {
    std::vector<Finding> out;
    for (size_t i = 0; i < losses.size(); ++i) {
        const Record& record = project.records[i];
        if (record.loss_time_max_s || project.requirements.loss_time_max_s) {
            out.push_back(time_finding(project, losses[i], record));
        }
        for (const LostAmount& amount : losses[i].amounts) {
            if (amount.allowed) { out.push_back(amount_finding(project, losses[i], amount)); }
        }
    }
    return out;
}

} // namespace perdure
