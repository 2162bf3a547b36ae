// Factory images: what the store would have put into a blank part, for the programmer to put there.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include <tl/expected.hpp>

#include "budget/findings.hpp"
#include "hex/hex.hpp"
#include "project/field_value.hpp"
#include "project/place.hpp"

namespace perdure {

/// One area as it is to be filled.
struct ImageArea {
    std::string name;
    AreaLayout layout;
    AreaPlace place;
    std::vector<const Record*> records; ///< of the layout, in its order
};

/// What all images of a project share. Points into the project.
struct ImagePlan {
    const Project* project = nullptr;
    std::vector<ImageArea> areas;
};

/// Refused where the budget is, or an area cannot be laid out or placed. `flash_start` stands in where the project does
/// not say where flash starts.
tl::expected<ImagePlan, Refusal> make_image_plan(const Project& project, std::optional<uint64_t> flash_start);

/// The data of one unit: values of fields by record and field; what is not here has its default.
struct UnitData {
    std::string serial;
    std::map<std::pair<uint16_t, size_t>, FieldValue> values; ///< by the record's id and the field's place
};

/// One area of one unit.
struct AreaImage {
    std::vector<uint8_t> bytes;      ///< the whole area, as a read of it must give them
    std::vector<Segment> programmed; ///< the units that the store programmed; addresses count from the area's start
    uint32_t records_stored = 0;
    std::vector<const Record*> left_out; ///< with if_lost = "refuse", and nothing given: no default stands in for them
    std::vector<std::string> defaulted;  ///< "record.field" not given, of such a record of which another field was
};

/// Runs the store on a blank simulated part: format, then a put of every record of the area, in the order of their ids.
/// Of one that is refused where it is lost, and with `only_given` of every one, only if `data` holds a field of it.
/// Then it opens what came of it once more and reads every record back. The error says what the store refused, or what
/// did not read as it was put.
tl::expected<AreaImage, std::string> make_area_image(const ImageArea& area, const UnitData& data, bool only_given);

/// The areas' programmed units at their addresses (offsets from the start of flash where those are not known). Units
/// that stay blank are left out: on flash with ECC a programmer that programs them makes them unusable to the store.
Memory memory_of(const ImagePlan& plan, const std::vector<AreaImage>& images);

/// Adds a firmware. Refused, saying where, when it holds a byte of an area, blank ones too.
std::string add_firmware(Memory& memory, const ImagePlan& plan, const Memory& firmware);

/// Where an area begins in an image's addresses.
uint64_t address_of(const ImageArea& area);

} // namespace perdure
