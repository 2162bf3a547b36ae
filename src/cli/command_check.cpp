#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "cli/commands.hpp"
#include "cli/files.hpp"
#include "cli/text.hpp"
#include "dossier/project_json.hpp"
#include "firmware/memory_map.hpp"
#include "project/read.hpp"
#include "project/show_save.hpp"
#include "project/units.hpp"

namespace perdure {
namespace {

void show_part(const Device& part, std::ostream& out) {
    out << fmt::format("part     {}{}{}\n", part.id, part.example_part.empty() ? "" : ", ", part.example_part);
    for (const BlockRun& run : part.runs) {
        out << fmt::format("         {} erase blocks of {}\n", run.count, show_bytes(run.erase_bytes));
    }
    out << fmt::format("         program unit {}, blank {}, {:.0f} erases\n", show_bytes(*part.program_bytes),
                       part.erased_value, *part.endurance_cycles);
    std::string erase;
    for (const double ms : part.erase_ms_max) { erase += (erase.empty() ? "" : " / ") + show_seconds(ms / 1e3); }
    out << fmt::format("         at most {} to erase, {} to program a unit\n", erase,
                       show_seconds(*part.program_us_max / 1e6));
    const std::string memory = columns_from_memory(part);
    if (!memory.empty()) { out << "         " << wrapped("from memory, check before use: " + memory, 11, 9) << '\n'; }
}

std::string show_log(const LogShape& log, uint32_t sample_bytes) {
    const std::string batch = log.short_log ? "one value that holds them all"
                              : log.batch > 1
                                  ? fmt::format("{} an entry{}", log.batch, log.batch_found ? " (found)" : "")
                                  : "each an entry of its own";
    return fmt::format("         {} samples of {} kept, {}\n", log.depth_samples, show_bytes(sample_bytes), batch);
}

void show_supply(const Supply& supply, std::ostream& out) {
    const std::string load =
        supply.load_ma > 0 ? fmt::format("{:g} mA", supply.load_ma) : fmt::format("{:g} mW", supply.load_mw);
    out << fmt::format("supply   trips at {:g} V after {}, draws {}, capacitor {}\n", supply.trips_at_v,
                       show_seconds(supply.detection_s), load,
                       supply.capacitance_uf ? fmt::format("{:g} uF", *supply.capacitance_uf) : "to be found");
    if (supply.trips_per_day() > 0) {
        out << fmt::format("         {:.4g} dips a day beside the ordinary starts\n", supply.trips_per_day());
    }
}

void show_project(const Project& project, std::ostream& out) {
    const Product& product = project.product;
    out << fmt::format("product  {}\n         {:g} y of {:g} d, {:.4g} start{} a day, fleet of {}\n", product.name,
                       product.life_years, product.year_days, product.starts_per_day,
                       product.starts_per_day == 1 ? "" : "s", product.fleet_units);
    if (product.lazy_start) { out << "         starts are lazy: nothing is programmed before the first put\n"; }
    show_part(project.part, out);
    if (project.supply) { show_supply(*project.supply, out); }
    for (const Area& area : project.areas) {
        out << fmt::format("area     {}: {}, {}, {}-bit check\n", area.name,
                           area.size_bytes ? show_bytes(*area.size_bytes) : "smallest that holds",
                           area.start_address ? fmt::format("at 0x{:08X}", *area.start_address) : "at the top",
                           area.check_bits);
    }
    for (const Record& record : project.records) {
        out << fmt::format("record   {} (id {}, {}, {} B in {})\n", record.name, record.id, kind_word(record),
                           record.payload_bytes(), record.area);
        if (record.log) { out << show_log(*record.log, record.fields_bytes()); }
        std::string fields;
        for (const Field& field : record.fields) { fields += (fields.empty() ? "fields: " : ", ") + field.name; }
        out << "         " << wrapped(fields, 17, 9) << '\n';
        for (const SavePolicy& save : record.saves) {
            out << "         saved " << show_save(record, save, product.year_days) << '\n';
        }
        if (record.heavy_user_factor > 1) {
            out << fmt::format("         heavy user: {:g} times that\n", record.heavy_user_factor);
        }
    }
}

/// The share of flash that the areas take, when all sizes are given; else the answer needs the budget.
std::optional<double> flash_share(const Project& project) {
    if (!project.part.flash_bytes) { return std::nullopt; }
    double bytes = 0;
    for (const Area& area : project.areas) {
        if (!area.size_bytes) { return std::nullopt; }
        bytes += static_cast<double>(*area.size_bytes);
    }
    return bytes / static_cast<double>(*project.part.flash_bytes);
}

/// The areas in the firmware of that ELF file, or why that cannot be said.
tl::expected<std::vector<MappedArea>, std::string> map_firmware(const Project& project, const std::string& elf) {
    const auto image = read_elf(elf);
    if (!image) { return tl::unexpected(fmt::format("perdure: error: {}\n", image.error())); }
    if (const auto why = why_other_machine(image->machine, project.part.core)) {
        return tl::unexpected(fmt::format("perdure: error: {}\n", wrapped(fmt::format("{} {}", elf, *why), 2, 16)));
    }
    if (!project.flash_start_address) {
        return tl::unexpected(
            fmt::format("{}:{}: error: --elf needs the address at which flash starts\n  expected: a line such as "
                        "flash_start = \"0x08000000\" in [part]\n",
                        project.path, project.part_place.line));
    }
    const auto budget = make_budget(project);
    if (!budget) { return tl::unexpected(fmt::format("{}: error: {}\n", project.path, budget.error().text)); }
    const auto plan = plan_firmware(project, *budget);
    if (!plan) { return tl::unexpected(render(plan.error())); }
    return map_areas(project, *plan, *image);
}

void show_map(const std::vector<MappedArea>& areas, const std::string& elf, std::ostream& out) {
    for (const MappedArea& area : areas) {
        const std::string place = fmt::format("0x{:08X}, {}", area.begin, show_bytes(area.bytes));
        if (area.problems.empty()) {
            out << fmt::format("map      area {} at {}: nothing of {} is in the way\n", area.name, place, elf);
        }
        for (const std::string& problem : area.problems) {
            out << "map      " << wrapped(fmt::format("area {} at {}: {}", area.name, place, problem), 9, 9) << '\n';
        }
    }
}

nlohmann::json json_of(const std::vector<MappedArea>& areas) {
    nlohmann::json out = nlohmann::json::array();
    for (const MappedArea& area : areas) {
        out.push_back(
            {{"area", area.name}, {"address", area.begin}, {"bytes", area.bytes}, {"problems", area.problems}});
    }
    return out;
}

} // namespace

int run_check(const CommandInput& input, std::ostream& out, std::ostream& err) {
    const auto project = load_project(input.arguments.front(), catalog());
    // A file may hold any text: bytes that are not UTF-8 become the replacement character in JSON.
    const auto print = [&](const nlohmann::json& json) {
        out << json.dump(2, ' ', false, nlohmann::json::error_handler_t::replace) << '\n';
    };
    if (!project) { return complain(input, project.error(), out, err); }
    const std::optional<double> share = flash_share(*project);
    const std::optional<double> share_max = project->requirements.flash_share_max;
    bool met = !share || !share_max || *share <= *share_max;
    const bool share_met = met;
    std::vector<MappedArea> map;
    const auto elf = input.options.find("--elf");
    if (elf != input.options.end()) {
        auto mapped = map_firmware(*project, elf->second);
        if (!mapped) { return complain_rendered(input, mapped.error(), out, err); }
        map = std::move(*mapped);
        for (const MappedArea& area : map) { met = met && area.problems.empty(); }
    }
    if (input.json) {
        nlohmann::json json = project_json(*project);
        if (elf != input.options.end()) { json["map"] = json_of(map); }
        json["holds"] = met;
        print(json);
    } else {
        show_project(*project, out);
        if (share && share_max) {
            out << fmt::format("require  flash_share: {:.4g} taken, {:.4g} allowed: {}\n", *share, *share_max,
                               share_met ? "holds" : "does not hold");
        }
        if (elf != input.options.end()) { show_map(map, elf->second, out); }
        out << fmt::format("{}: no errors{}\n", project->path,
                           met ? "" : " in the file, but what it asks for does not hold");
    }
    return met ? exit_ok : exit_not_met;
}

} // namespace perdure
