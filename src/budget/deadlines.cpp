// What may wait for the flash: deadlines of the product against the longest call or operation of the aged part.
#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "budget/conditions.hpp"
#include "budget/sources.hpp"

namespace perdure {

namespace {

/// The longest wait, and the call behind it.
struct Wait {
    double ms = 0;
    std::string behind = "nothing";
    void take(double other_ms, const std::string& what) {
        if (other_ms > ms) {
            ms = other_ms;
            behind = what;
        }
    }
};

/// The longest call that may be under way, in an area whose blocks have been erased so often.
Wait longest_call(const Deadline& deadline, const AreaBudget& area, const Latency& latency) {
    Wait out;
    if (deadline.put) { out.take(latency.put_serviced_ms, area.lazy_start ? "the first put after a start" : "a put"); }
    if (deadline.service && latency.service_can_help) { out.take(latency.service_step_ms, "one call of service"); }
    if (deadline.open) { out.take(latency.open_ms, area.lazy_start ? "a lazy open" : "open after a cut"); }
    return out;
}

/// The longest single operation: an erase, but for puts that service spares it. A lazy start's erases are its first
/// put's.
Wait longest_operation(const Deadline& deadline, const AreaBudget& area, const OperationTimes& times) {
    const bool can_help = area.latency && area.latency->service_can_help;
    Wait out;
    out.take(times.program_us / 1e3, "one program");
    const bool put_erases = !can_help || area.lazy_start;
    if ((deadline.open && !area.lazy_start) || (deadline.service && can_help) || (deadline.put && put_erases)) {
        out.take(times.erase_ms, "one erase");
    }
    return out;
}

bool reads_while_writing(const Device& part) {
    return part.read_while_write == "dual-bank" || part.read_while_write == "data-bank" ||
           part.read_while_write == "sector" || part.read_while_write == "yes";
}

Wait longest_wait(const Project& project, const Deadline& deadline, const std::vector<AreaBudget>& areas, bool aged) {
    Wait out;
    double opens_ms = 0; // a start opens one area after the other
    for (const AreaBudget& area : areas) {
        const auto times = area.laid_out ? times_after(project, aged ? erases_of(project, area) : 0) : std::nullopt;
        if (!times) { continue; }
        const Latency latency = latency_of(area.layout, *times, area.wear, area.lazy_start);
        const Wait wait = deadline.counts == DeadlineCounts::call ? longest_call(deadline, area, latency)
                                                                  : longest_operation(deadline, area, *times);
        out.take(wait.ms, wait.behind);
        opens_ms += latency.open_ms;
    }
    if (deadline.open && deadline.counts == DeadlineCounts::call && areas.size() > 1) {
        out.take(opens_ms, "opening all areas");
    }
    return out;
}

/// The part's own times where no step of [[aged]] replaces them, and those steps.
void add_times(const Project& project, Finding& out) {
    const auto own = operation_times(project.part);
    bool erase = false, program = false;
    for (const AgedTimes& row : project.conditions.aged) {
        const std::string up_to = fmt::format("up to {:g} erases", row.erases);
        if (row.erase_ms_max) { out.from.push_back(from_file(project, row.place, up_to, *row.erase_ms_max, "ms")); }
        if (row.program_us_max) { out.from.push_back(from_file(project, row.place, up_to, *row.program_us_max, "us")); }
        erase = erase || row.erase_ms_max;
        program = program || row.program_us_max;
    }
    const bool erase_max = !project.part.erase_ms_max.empty(), program_max = project.part.program_us_max.has_value();
    if (!program) {
        out.from.push_back(
            from_part(project.part, program_max ? "program_us_max" : "program_us_typ", own->program_us, "us a unit"));
    }
    if (!erase) {
        out.from.push_back(
            from_part(project.part, erase_max ? "erase_ms_max" : "erase_ms_typ", own->erase_ms, "ms an erase block"));
    }
}

Finding deadline_finding(const Project& project, const Deadline& deadline, const std::vector<AreaBudget>& areas) {
    Finding out = named("deadline " + deadline.name, "", "ms");
    const Device& part = project.part;
    out.from = {from_file(project, deadline.limit_place, "limit", deadline.limit_ms, "ms")};
    if (!operation_times(part)) {
        out.status = FindingStatus::unknown;
        out.note = "needs program_us_max and erase_ms_max of the part: not known";
        return out;
    }
    const Wait aged = longest_wait(project, deadline, areas, true);
    const Wait fresh = longest_wait(project, deadline, areas, false);
    const bool other_bank = deadline.code == CodeIn::other_bank;
    const bool free = deadline.code == CodeIn::ram || (other_bank && reads_while_writing(part));
    judge(out, free ? 0 : aged.ms, deadline.limit_ms);
    out.note = fmt::format("behind {}: {:.3g} ms aged, {:.3g} ms fresh", aged.behind, aged.ms, fresh.ms);
    if (free) {
        out.note = fmt::format("its code is {}, so it does not wait for {:.3g} ms of {}",
                               other_bank ? "in the other bank" : "in RAM", aged.ms, aged.behind);
    } else if (other_bank) {
        out.note += "; this part stalls the whole flash, so another bank does not help";
    }
    if (deadline.code_place.line != 0) {
        out.from.push_back(from_file(project, deadline.code_place, "wait of its code", out.need, "ms"));
    }
    if (other_bank) {
        out.from.push_back(assume("bank", 0, "ms", "the areas lie in the bank that this code does not run from"));
        out.from.push_back(from_part(part, "read_while_write", reads_while_writing(part) ? 1 : 0, "banks more"));
    }
    add_times(project, out);
    if (project.conditions.aged.empty()) {
        out.from.push_back(assume("ageing", 1, "times", "the maximum times are taken to hold up to the last erase"));
    }
    out.from.push_back(by_formula("wait", aged.ms, "ms", "the longest of the calls named, at the aged part's times"));
    return out;
}

Finding service_finding(const Project& project, double every_s, const std::vector<AreaBudget>& areas) {
    Finding out = named("service interval", "", "s");
    double have_s = std::numeric_limits<double>::infinity();
    bool helps = false;
    for (const AreaBudget& area : areas) {
        if (!area.latency || !area.latency->service_can_help) { continue; }
        helps = true;
        have_s = std::min(have_s, area.latency->service_every_s);
    }
    out.from = {from_file(project, project.conditions.require.service_every_place, "service_every", every_s, "s"),
                by_formula("interval", have_s, "s", "time in which a block fills / steps of emptying one")};
    if (!helps || !std::isfinite(have_s)) {
        out.note = helps ? "nothing is ever saved: any interval does" : "two blocks: service cannot clean ahead";
        return out;
    }
    judge(out, every_s, have_s);
    out.note = "how often the firmware calls it against how often it has to run, on average";
    return out;
}

} // namespace

std::string caution_of(const Conditions& conditions) {
    const ConditionRequirements& asked = conditions.require;
    if (conditions.deadlines.empty() && !conditions.qualification && !conditions.wear_out && !asked.wrong_entries_max &&
        !asked.failed_share_max) {
        return "";
    }
    return "Caution: failing shares, wrong entries and deadlines are reckoned here from what the file states; that is "
           "no "
           "safety case and no type approval. Where people may be harmed, local codes and licensed practice come "
           "first.";
}

std::vector<Finding> deadline_findings(const Project& project, const std::vector<AreaBudget>& areas) {
    std::vector<Finding> out;
    for (const Deadline& deadline : project.conditions.deadlines) {
        out.push_back(deadline_finding(project, deadline, areas));
    }
    if (project.conditions.require.service_every_s) {
        out.push_back(service_finding(project, *project.conditions.require.service_every_s, areas));
    }
    return out;
}

} // namespace perdure
