// The sections of the project file, one function each. Only src/project includes this.
#pragma once

#include "catalog/catalog.hpp"
#include "project/project.hpp"
#include "project/section.hpp"

namespace perdure {

/// [product] -> project.product.
void read_product(Source& source, const toml::table& file, Project& project);

/// [require] -> project.requirements.
void read_requirements(Source& source, const toml::table& file, Project& project);

/// [part] -> project.part: the catalogue's figures, then what the file overrides, then the check that nothing needed is
/// missing.
void read_part(Source& source, const toml::table& file, const Catalog& catalog, Project& project);

/// [supply] -> project.supply. Needs project.product.
void read_supply(Source& source, const toml::table& file, Project& project);

/// [area.NAME] -> project.areas, in the order of the file; one named "store" when there is none. Needs project.part.
void read_areas(Source& source, const toml::table& file, Project& project);

/// [record.NAME] -> project.records, by id. Needs project.areas, product, supply and requirements.
void read_records(Source& source, const toml::table& file, Project& project);

/// The sections about what the product lives through -> project.conditions. Need project.part and project.records.
void read_temperatures(Source& source, const toml::table& file,
                       Project& project);                                     ///< profile, endurance, retention, aged
void read_reviews(Source& source, const toml::table& file, Project& project); ///< deadlines, energy, samples, spreads

/// What [require] asks of them, and the keys it uses.
extern const std::vector<std::string> condition_requirement_keys;
void read_condition_requirements(const Section& require, ConditionRequirements& out);

/// The tables of an array, [[KEY]] or a list of inline tables, each with a name for messages: "PREFIX 2".
std::vector<Section> tables_of(const Section& section, std::string_view key, const std::string& prefix,
                               std::string_view example);

/// The place of a key's value, or none when the file leaves the key out.
Place place_if_given(const Section& section, std::string_view key);

/// Fields of one record, whose kind is unknown after an error. Errors are noted in the section's source.
std::vector<Field> read_fields(const Section& record, std::optional<RecordKind> kind, double year_days);

/// Save policies of one record, whose kind and fields are known.
std::vector<SavePolicy> read_saves(const Section& section, const Record& record, double year_days);

/// Keys of a record's life through versions: retired, from, if_lost, erase_within. `kind_known`: its kind was read.
void read_life_in_versions(const Section& section, bool kind_known, Record& record);

/// Notes an error for each name in a `from` that is no retired record of the same area.
void check_sources(Source& source, const std::vector<std::pair<Record, Span>>& records);

/// Depth and batch of a record of kind log, whose fields and saves are known. Needs project.requirements.
LogShape read_log(const Section& section, const Record& record, const Project& project);

/// Notes an error where records cannot share their area: two saved at power failure, or a log beside what it cannot
/// share with. `spans` are those of the records.
void check_area_shares(Source& source, const Project& project, const std::vector<std::pair<Record, Span>>& records);

/// What a loss window may be asked to be.
inline constexpr Bounds loss_bounds{0, 3.2e9, true, false, "above 0 s and at most 100 years"};

/// Notes an error unless `name` can be used as a name in C (it becomes one in the firmware).
void check_c_name(Source& source, const Span& span, std::string_view what, std::string_view name);

} // namespace perdure
