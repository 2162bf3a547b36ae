// External memories: values written in place where there is no erase, the store on a serial NOR.
#include <algorithm>
#include <cmath>
#include <numeric>

#include <fmt/format.h>

#include "choose/bus.hpp"
#include "choose/candidate.hpp"
#include "physics/energy.hpp"

namespace perdure {

namespace {

/// Beside the payload and the check code: which of the slots is the newest.
constexpr uint32_t number_bytes = 4;

/// A unit of the store on a serial NOR, which programs 1 to 256 bytes of a page at a time.
constexpr uint32_t nor_unit_bytes = 16;

struct Slots {
    double saves = 0; ///< over life, sizing
    uint64_t pages = 1;
    uint64_t slots = 2;
    [[nodiscard]] double wear() const { return saves / double(slots); }
};

std::vector<std::string> columns_from_memory(const ExternalMemory& memory) {
    std::vector<std::string> out;
    for (const char* column :
         {"size_bytes", "erase_bytes", "page_bytes", "write_ms_max", "erase_ms_max", "endurance_cycles"}) {
        const auto found = memory.provenance.find(column);
        if (found != memory.provenance.end() && found->second.from_memory) { out.emplace_back(column); }
    }
    return out;
}

std::string missing_figures(const ExternalMemory& memory) {
    std::string out;
    const auto need = [&](bool known, const char* column) {
        if (!known) { out += (out.empty() ? "not known: " : ", ") + std::string(column); }
    };
    need(memory.size_bytes.has_value(), "size_bytes");
    need(memory.page_bytes.has_value(), "page_bytes");
    need(memory.write_ms_max.has_value(), "write_ms_max");
    need(memory.endurance_cycles.has_value(), "endurance_cycles");
    return out;
}

/// One save on the bus: a transfer a page. Absent without a clock.
std::optional<double> bus_of_save(const ExternalMemory& memory, uint64_t bytes) {
    const uint64_t page_bytes = *memory.page_bytes > 1 ? *memory.page_bytes : bytes;
    const auto whole = bus_write_ms(memory.bus, *memory.size_bytes, page_bytes),
               rest = bus_write_ms(memory.bus, *memory.size_bytes, bytes % page_bytes);
    if (!whole || !rest) { return std::nullopt; }
    return double(bytes / page_bytes) * *whole + (bytes % page_bytes > 0 ? *rest : 0);
}

uint64_t pages_of(const std::vector<Slots>& all) {
    uint64_t out = 0;
    for (const Slots& slots : all) { out += slots.pages * slots.slots; }
    return out;
}

/// More slots for the most worn record, until none wears more than allowed or the memory is full.
void spread_wear(std::vector<Slots>& all, uint64_t pages, double allowed) {
    for (;;) {
        const auto most = std::max_element(all.begin(), all.end(),
                                           [](const Slots& a, const Slots& b) { return a.wear() < b.wear(); });
        if (most == all.end() || most->wear() <= allowed) { return; }
        const auto wanted = static_cast<uint64_t>(std::min(1e12, std::ceil(most->saves / allowed)));
        const uint64_t free = pages - std::min(pages, pages_of(all));
        const uint64_t more = std::min(wanted - most->slots, free / most->pages);
        if (more == 0) { return; }
        most->slots += more;
    }
}

} // namespace

Candidate in_place(const Project& project, const ExternalMemory& memory, const SaveChange& policy) {
    Candidate out;
    out.kind = CandidateKind::external;
    out.id = memory.id;
    out.maker = memory.maker;
    out.policy = policy;
    out.from_memory = columns_from_memory(memory);
    out.note = "values in place, slots in turn";
    for (const Record& record : project.records) {
        for (const SavePolicy& save : record.saves) {
            if (save.when == SaveWhen::periodic) { out.loss_s = std::max(out.loss_s, save.every_s); }
        }
    }
    if (const std::string missing = missing_figures(memory); !missing.empty()) {
        out.reasons = {missing};
        return out;
    }
    for (const Record& record : project.records) {
        if (record.kind != RecordKind::log) { continue; }
        out.reasons = {fmt::format("{} is a log: logs in place are not judged here", record.name)};
        return out;
    }
    const Demand demand = demand_of(project);
    const uint64_t page_bytes = std::max<uint64_t>(*memory.page_bytes, 1);
    const double allowed =
        *memory.endurance_cycles * project.requirements.spend_limit / project.requirements.margin_min;
    std::vector<Slots> all;
    uint64_t longest_pages = 1;
    double page_writes = 0, bus_ms = 0;
    std::optional<double> longest_bus_ms = 0;
    for (size_t i = 0; i < project.records.size(); ++i) {
        const uint64_t bytes = project.records[i].payload_bytes() + project.areas[0].check_bits / 8 + number_bytes;
        Slots& slots = all.emplace_back();
        slots.saves = demand.records[i].sizing_saves;
        slots.pages = (bytes + page_bytes - 1) / page_bytes;
        longest_pages = std::max(longest_pages, page_bytes == 1 ? 1 : slots.pages);
        page_writes += slots.saves * double(page_bytes == 1 ? 1 : slots.pages);
        const auto on_bus = bus_of_save(memory, bytes);
        longest_bus_ms = on_bus && longest_bus_ms ? std::optional(std::max(*longest_bus_ms, *on_bus)) : std::nullopt;
        bus_ms += slots.saves * on_bus.value_or(0);
    }
    const uint64_t pages = *memory.size_bytes / page_bytes;
    spread_wear(all, pages, allowed);
    out.unit_bytes = static_cast<uint32_t>(page_bytes);
    out.bytes = pages_of(all) * page_bytes;
    double wear = 0;
    for (const Slots& slots : all) { wear = std::max(wear, slots.wear()); }
    out.margin = wear > 0 ? std::min(1e9, *memory.endurance_cycles * project.requirements.spend_limit / wear) : 1e9;
    out.stall_ms = double(longest_pages) * *memory.write_ms_max + longest_bus_ms.value_or(0);
    out.bus_not_counted = !longest_bus_ms;
    out.note += longest_bus_ms ? fmt::format("; {} at its highest clock counted", memory.bus)
                               : "; no clock of its bus known: the bus not counted";
    if (memory.write_ma && (*memory.write_ms_max > 0 || longest_bus_ms)) { // without either nothing is known
        const double volts = project.conditions.energy ? project.conditions.energy->voltage_v : assumed_voltage_v;
        const double run_ma = project.conditions.energy ? project.conditions.energy->run_ma : 0;
        out.energy_j = energy_mj(volts, *memory.write_ma + run_ma, page_writes * *memory.write_ms_max + bus_ms) / 1e3 /
                       project.product.life_days();
    }
    if (pages_of(all) > pages) {
        out.reasons.push_back(fmt::format("size: needs {} bytes, has {}", out.bytes, *memory.size_bytes));
    }
    if (out.margin < project.requirements.margin_min) {
        out.reasons.push_back(fmt::format("wear: needs {:.4g} cycles, has {:.4g}", wear,
                                          *memory.endurance_cycles * project.requirements.spend_limit));
    }
    const auto stall_max = project.requirements.put_stall_max_ms;
    if (stall_max && *out.stall_ms > *stall_max) {
        out.reasons.push_back(fmt::format("put stall: needs {:.4g} ms, has {:.4g}", *out.stall_ms, *stall_max));
    }
    out.holds = out.reasons.empty();
    return out;
}

std::optional<Device> nor_part(const ExternalMemory& memory, std::string& missing) {
    missing = missing_figures(memory);
    if (!memory.erase_ms_max) { missing += (missing.empty() ? "not known: " : ", ") + std::string("erase_ms_max"); }
    if (!missing.empty()) { return std::nullopt; }
    Device out;
    out.id = memory.id;
    out.maker = memory.maker;
    out.flash_bytes = *memory.size_bytes;
    out.runs = {BlockRun{static_cast<uint32_t>(*memory.size_bytes / *memory.erase_bytes), *memory.erase_bytes, 0}};
    out.program_bytes = std::min<uint32_t>(nor_unit_bytes, *memory.page_bytes);
    out.program_rule = "no";
    out.erased_value = "0xFF";
    out.read_while_write = "yes";
    out.erase_ms_max = {*memory.erase_ms_max};
    const auto on_bus = bus_write_ms(memory.bus, *memory.size_bytes, *out.program_bytes);
    out.program_us_max = (*memory.write_ms_max + on_bus.value_or(0)) * 1e3;
    out.endurance_cycles = memory.endurance_cycles;
    out.program_ma = memory.write_ma;
    out.provenance = memory.provenance;
    for (const auto& [column, here] :
         {std::pair{"erase_bytes", "erase_layout"}, std::pair{"page_bytes", "program_bytes"},
          std::pair{"write_ms_max", "program_us_max"}, std::pair{"write_ma", "program_ma"}}) {
        const auto found = memory.provenance.find(column);
        if (found != memory.provenance.end()) { out.provenance[here] = found->second; }
    }
    return out;
}

} // namespace perdure
