#include "budget/saves.hpp"

#include "project/show_save.hpp"

namespace perdure {

namespace {

/// Units of one save of the record, on average over its full and short entries; 0 in an area that is not laid out.
double units_a_save(const AreaBudget& area, size_t record, SaveWhen when) {
    const RecordLayout& layout = area.layout.records[record];
    if (when == SaveWhen::at_power_fail) { return layout.restart_units; }
    const RecordWear& wear = area.wear.records[record];
    const double saves = wear.full_saves + wear.short_saves;
    if (saves <= 0) { return layout.full_units; }
    return (wear.full_saves * layout.full_units + wear.short_saves * layout.short_units) / saves;
}

} // namespace

std::vector<SavePart> save_parts(const Project& project, const std::vector<AreaBudget>& areas, const Demand& demand) {
    std::vector<SavePart> out;
    for (size_t i = 0; i < project.records.size(); ++i) {
        const Record& record = project.records[i];
        for (size_t j = 0; j < record.saves.size(); ++j) {
            const SavePolicy& save = record.saves[j];
            SavePart& part = out.emplace_back();
            part.record = record.name;
            part.when = show_save(record, save, project.product.year_days);
            part.saves = demand.records[i].policies[j].sizing_saves;
            part.loses = show_loss(project, record, save);
            for (const AreaBudget& area : areas) {
                for (size_t k = 0; area.laid_out && k < area.layout.records.size(); ++k) {
                    if (area.layout.records[k].id != record.id) { continue; }
                    part.units = part.saves * units_a_save(area, k, save.when);
                    const double blocks = demand.life_s / area.wear.block_s; // 0 where a block never fills
                    if (blocks > 0) { part.wear_share = part.units / (blocks * area.layout.capacity_units); }
                }
            }
        }
    }
    return out;
}

} // namespace perdure
