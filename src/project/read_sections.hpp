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

/// [area.NAME] -> project.areas, in the order of the file; one named "store" when there is none. Needs project.part.
void read_areas(Source& source, const toml::table& file, Project& project);

/// [record.NAME] -> project.records, by id. Needs project.areas and project.product.
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
std::vector<Field> read_fields(const Section& record, std::optional<RecordKind> kind);

/// Save policies of one record.
std::vector<SavePolicy> read_saves(const Section& record, double year_days);

/// Notes an error unless `name` can be used as a name in C (it becomes one in the firmware).
void check_c_name(Source& source, const Span& span, std::string_view what, std::string_view name);

} // namespace perdure
