// How long puts and the start take at worst, as findings.
#include <fmt/format.h>

#include "budget/findings.hpp"
#include "budget/sources.hpp"

namespace perdure {

namespace {

std::vector<Source> time_sources(const Project& project, const OperationTimes& times, uint32_t units, uint32_t erases,
                                 bool reads) {
    std::vector<Source> out;
    const bool program_max = project.part.program_us_max.has_value();
    const bool erase_max = !project.part.erase_ms_max.empty();
    out.push_back(
        from_part(project.part, program_max ? "program_us_max" : "program_us_typ", times.program_us, "us a unit"));
    if (!program_max) {
        out.push_back(
            assume("program time", times.program_us, "us", "no maximum known: the typical time stands in for it"));
    }
    if (erases > 0) {
        out.push_back(
            from_part(project.part, erase_max ? "erase_ms_max" : "erase_ms_typ", times.erase_ms, "ms an erase block"));
        if (!erase_max) {
            out.push_back(
                assume("erase time", times.erase_ms, "ms", "no maximum known: the typical time stands in for it"));
        }
    }
    out.push_back(assume("reading", times.read_us_per_byte, "us a byte",
                         "reading with the check code; measure it on the target"));
    out.push_back(
        by_formula("units", units, "units",
                   reads ? "restart, copies of all live data, marks, stamps" : "entries programmed, each read back"));
    if (erases > 0) {
        out.push_back(by_formula("erases", erases, "erase blocks", "of the ring blocks emptied or made again"));
    }
    return out;
}

std::vector<Source> put_sources(const Project& project, const OperationTimes& times, const Latency& latency,
                                uint32_t units, uint32_t erases, bool lazy_start) {
    std::vector<Source> out = time_sources(project, times, units, erases, lazy_start);
    if (!lazy_start) { return out; }
    out.push_back(from_file(project, project.product.lazy_place, "lazy_start", 1, ""));
    out.push_back(by_formula("reading again", latency.put_read_ms, "ms",
                             "where starts have filled up a broken job; the first reading is the start's own"));
    return out;
}

Finding missing_times(const std::string& name, const std::string& area, bool asked) {
    Finding out = named(name, area, "ms");
    out.status = asked ? FindingStatus::unknown : FindingStatus::informs;
    out.note = "needs program_us_max and erase_ms_max of the part: not known";
    return out;
}

} // namespace

std::vector<Finding> latency_findings(const Project& project, const AreaBudget& area) {
    std::vector<Finding> out;
    const Requirements& asked = project.requirements;
    const auto times = operation_times(project.part);
    if (!times || !area.latency) {
        out.push_back(missing_times("put stall", area.name, asked.put_stall_max_ms.has_value()));
        out.push_back(missing_times("start-up", area.name, asked.start_up_max_ms.has_value()));
        return out;
    }
    const Latency& latency = *area.latency;
    Finding served = named("put stall", area.name, "ms");
    judge(served, latency.put_serviced_ms, asked.put_stall_max_ms);
    served.note = latency.service_can_help ? fmt::format("with service called every {:.0f} s", latency.service_every_s)
                                           : "two blocks: service cannot clean ahead";
    if (area.lazy_start) {
        served.note = fmt::format("the first put after a lazy start does the start's work; others {:.3g} ms",
                                  latency.put_later_ms);
    }
    served.from =
        put_sources(project, *times, latency, latency.put_serviced_units, latency.put_serviced_erases, area.lazy_start);
    if (asked.put_stall_max_ms) {
        served.from.push_back(from_file(project, asked.put_stall_place, "put_stall", *asked.put_stall_max_ms, "ms"));
    }
    out.push_back(served);

    Finding alone = named("put stall alone", area.name, "ms");
    judge(alone, latency.put_alone_ms, std::nullopt);
    alone.note = area.lazy_start ? "without service: the start's work, and the tail emptied"
                                 : "without service: one put empties the tail";
    alone.from =
        put_sources(project, *times, latency, latency.put_alone_units, latency.put_alone_erases, area.lazy_start);
    out.push_back(alone);

    Finding start = named("start-up", area.name, "ms");
    judge(start, latency.open_ms, asked.start_up_max_ms);
    start.note = area.lazy_start
                     ? "lazy: reading alone, the first put does the rest"
                     : fmt::format("after a cut while emptying a block; {:.3g} ms of it reading", latency.open_read_ms);
    start.from = time_sources(project, *times, latency.open_units, latency.open_erases, true);
    if (asked.start_up_max_ms) {
        start.from.push_back(from_file(project, asked.start_up_place, "start_up", *asked.start_up_max_ms, "ms"));
    }
    out.push_back(start);
    return out;
}

std::vector<Finding> start_findings(const Project& project, const std::vector<AreaBudget>& areas) {
    const Requirements& asked = project.requirements;
    Finding all = named("start-up of all", "", "ms");
    double open_ms = 0;
    for (const AreaBudget& area : areas) {
        if (!area.latency) { return {}; }
        open_ms += area.latency->open_ms;
        all.from.push_back(by_formula("start-up of " + area.name, area.latency->open_ms, "ms", "its own finding"));
    }
    if (areas.size() < 2) { return {}; }
    judge(all, open_ms, asked.start_up_max_ms);
    all.note = "the areas are opened one after the other; each at its longest";
    if (asked.start_up_max_ms) {
        all.from.push_back(from_file(project, asked.start_up_place, "start_up", *asked.start_up_max_ms, "ms"));
    }
    return {all};
}

} // namespace perdure
