// Two versions of a product's records, held against each other: what a firmware makes of the data of the other one, and
// which rules were broken. Pure; what the store really does with it is tried in trial.hpp.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "image/image.hpp"
#include "project/project.hpp"

namespace perdure {

/// One version of a product: its project, laid out and placed.
struct ProductVersion {
    std::string name;      ///< "version 1", "the present one"
    std::string path;      ///< of its project file
    uint32_t number = 0;   ///< as shipped; 0: not shipped, which is later than all that are
    int store_release = 0; ///< PERDURE_STORE_VERSION of its firmware
    Project project;
    ImagePlan plan; ///< of `project`; set by place_version
};

/// Lays out and places the areas. Call it again when the version has moved in memory. Empty, or why it cannot be.
std::string place_version(ProductVersion& version);

/// What becomes of a field, or of a whole record.
enum class Fate {
    kept,      ///< the same bytes mean the same
    renamed,   ///< the same bytes under another name
    defaulted, ///< new: reads as its default until it is saved
    converted, ///< made from retired records by a conversion
    carried,   ///< not known to the firmware that opens: kept alive, not read
    lost,      ///< read no more, and gone with the next save
    misread    ///< the bytes would be read as something else
};
std::string_view name_of(Fate fate);

struct FieldChange {
    std::string name; ///< as the firmware that opens says
    Fate fate = Fate::kept;
    std::string text; ///< what to know; may be empty
};

struct RecordChange {
    const Record* from = nullptr; ///< null: the opening firmware alone has it
    const Record* to = nullptr;   ///< null: it does not know it
    Fate fate = Fate::kept;
    std::string text;
    std::vector<FieldChange> fields;
    [[nodiscard]] const Record& any() const { return to != nullptr ? *to : *from; }
};

/// A rule that the two versions break, and what to do instead.
struct Breach {
    std::string rule; ///< "ids are for ever"
    std::string text;
    std::string instead;
};

struct AreaChange {
    std::string name;
    const ImageArea* from = nullptr;  ///< null: the area is new
    const ImageArea* to = nullptr;    ///< null: it is given up
    std::vector<std::string> differs; ///< in what the flash of the one is not the flash of the other; empty: in nothing
    [[nodiscard]] bool same_flash() const { return from != nullptr && to != nullptr && differs.empty(); }
};

struct SchemaChange {
    bool back = false; ///< to an earlier version
    std::vector<AreaChange> areas;
    std::vector<RecordChange> records; ///< by id
    std::vector<Breach> breaches;
    std::vector<std::string> warnings; ///< what breaks no rule, and may be meant otherwise
    std::vector<std::string> notes;
};

/// What `to` makes of the data of `from`. Both are placed, and must outlive the result.
SchemaChange compare(const ProductVersion& from, const ProductVersion& to);

/// Ids that meant something else in some version, and records that had another id. `all`: oldest first.
std::vector<Breach> check_ids(const std::vector<const ProductVersion*>& all);

/// Records that a firmware carries along without knowing them, as emitted.
constexpr uint16_t unknown_max = 4;

} // namespace perdure
