#include "upgrade/schema.hpp"

#include <algorithm>
#include <map>

#include <fmt/format.h>

#include "project/default_bytes.hpp"
#include "upgrade/fixed_place.hpp"
#include "upgrade/meaning.hpp"

namespace perdure {
namespace {

constexpr std::string_view rule_ids = "an id means one record for ever";
constexpr std::string_view rule_end = "fields are added at a record's end only";
constexpr std::string_view rule_kind = "a record keeps its kind";
constexpr std::string_view rule_area = "a record stays in its area";
constexpr std::string_view rule_flash = "an area keeps its place, size, units and check width";
constexpr std::string_view rule_unknown = "a firmware carries few records that it does not know";

const std::string new_id_instead = "a new record with an id of its own, from = [\"...\"] naming this one, and "
                                   "retired = true in this one, which keeps its id and fields";

std::string kind_word(const Record& record) {
    return record.kind == RecordKind::total ? "total" : record.kind == RecordKind::log ? "log" : "value";
}

std::string type_word(const Field& field) {
    switch (field.type) {
    case FieldType::i8:
    case FieldType::i16:
    case FieldType::i32:
    case FieldType::i64:
        return fmt::format("i{}", field.bytes * 8);
    case FieldType::f32:
    case FieldType::f64:
        return fmt::format("f{}", field.bytes * 8);
    case FieldType::bytes:
        return fmt::format("bytes:{}", field.bytes);
    default:
        return fmt::format("u{}", field.bytes * 8);
    }
}

bool same_type(const Field& a, const Field& b) {
    return a.type == b.type && a.bytes == b.bytes;
}

const Record* find(const std::vector<Record>& records, uint16_t id) {
    const auto at = std::find_if(records.begin(), records.end(), [&](const Record& r) { return r.id == id; });
    return at == records.end() ? nullptr : &*at;
}

const Record* find(const std::vector<Record>& records, std::string_view name) {
    const auto at = std::find_if(records.begin(), records.end(), [&](const Record& r) { return r.name == name; });
    return at == records.end() ? nullptr : &*at;
}

/// Two records of one id that share neither their own name nor any field's at its place.
bool is_another(const Record& a, const Record& b) {
    if (a.name == b.name) { return false; }
    for (size_t i = 0; i < std::min(a.fields.size(), b.fields.size()); i++) {
        if (a.fields[i].name == b.fields[i].name && same_type(a.fields[i], b.fields[i])) { return false; }
    }
    return true;
}

class Comparison {
public:
    Comparison(const ProductVersion& from, const ProductVersion& to, SchemaChange& out)
        : from_(from), to_(to), out_(out) {}

    void records() {
        std::map<uint16_t, RecordChange> all;
        for (const Record& record : from_.project.records) { all[record.id].from = &record; }
        for (const Record& record : to_.project.records) { all[record.id].to = &record; }
        for (auto& [id, change] : all) {
            if (change.from == nullptr) {
                only_new(change);
            } else if (change.to == nullptr) {
                only_old(change);
            } else {
                both(change);
            }
            out_.records.push_back(std::move(change));
        }
        unknown_records();
    }

    void areas() {
        for (const ImageArea& area : to_.plan.areas) {
            const ImageArea* before = nullptr;
            for (const ImageArea& other : from_.plan.areas) {
                if (other.name == area.name) { before = &other; }
            }
            AreaChange& change = out_.areas.emplace_back(AreaChange{area.name, before, &area, {}});
            if (before != nullptr) { hold_flash(change); }
        }
        for (const ImageArea& area : from_.plan.areas) {
            const bool known = std::any_of(to_.plan.areas.begin(), to_.plan.areas.end(),
                                           [&](const ImageArea& other) { return other.name == area.name; });
            if (!known) { out_.areas.push_back({area.name, &area, nullptr, {}}); }
        }
    }

private:
    void breach(std::string_view rule, std::string text, std::string instead) {
        out_.breaches.push_back({std::string(rule), std::move(text), std::move(instead)});
    }

    void only_new(RecordChange& change) const {
        const Record& record = *change.to;
        change.fate = record.from.empty() ? Fate::defaulted : Fate::converted;
        change.text = record.from.empty()
                          ? (record.has_log_entries() ? "begins without samples" : "reads as its defaults until saved")
                          : fmt::format("by its conversion, from {}", fmt::join(record.from, ", "));
        if (record.retired) { change.text = "never shipped by this version's predecessor; reads as its defaults"; }
    }

    void only_old(RecordChange& change) const {
        change.fate = Fate::carried;
        change.text = "not known to this firmware: kept alive in flash, for one that knows it";
        if (change.from->has_log_entries()) {
            change.fate = Fate::lost;
            change.text = "a log's samples are not copied: they go with their blocks";
        }
    }

    void both(RecordChange& change) {
        const Record& from = *change.from;
        const Record& to = *change.to;
        const std::string who = fmt::format("record {} (id {})", to.name, to.id);
        if (is_another(from, to)) {
            change.fate = Fate::misread;
            change.text = fmt::format("the id was that of {}", from.name);
            breach(rule_ids,
                   fmt::format("id {} is {} in {} and {} in {}", to.id, from.name, from_.name, to.name, to_.name),
                   "an id that no shipped version has used");
            return;
        }
        if (from.name != to.name) {
            change.fate = Fate::renamed;
            change.text = fmt::format("was {}", from.name);
        }
        if (from.kind != to.kind || from.has_log_entries() != to.has_log_entries()) {
            change.fate = Fate::misread;
            change.text = fmt::format("was a {}", kind_word(from));
            breach(rule_kind, fmt::format("{} was a {} and is a {}", who, kind_word(from), kind_word(to)),
                   new_id_instead);
            return;
        }
        if (from.area != to.area) {
            change.fate = Fate::lost;
            change.text = fmt::format("its data stay in area {}", from.area);
            breach(rule_area, fmt::format("{} was in area {} and is in {}", who, from.area, to.area),
                   "the area it was in; or a new id there, and a put of the old record's values by the product");
            return;
        }
        if (to.retired && !from.retired) { change.text += change.text.empty() ? "retired" : ", retired"; }
        if (!to.retired && from.retired) {
            change.text += "as it was when the later firmware retired it: what that one saved since is elsewhere";
        }
        fields(change, who);
        short_log(change, who);
        compare_if_lost(change, who, out_);
    }

    void fields(RecordChange& change, const std::string& who) {
        const std::vector<Field>& from = change.from->fields;
        const std::vector<Field>& to = change.to->fields;
        bool whole = true; // up to here every byte stands where it stood
        for (size_t i = 0; i < to.size(); i++) {
            FieldChange field{to[i].name, Fate::kept, {}};
            if (i >= from.size()) {
                field.fate = whole ? Fate::defaulted : Fate::misread;
                if (whole && to[i].default_value) { field.text = fmt::format("{:g}", *to[i].default_value); }
            } else if (!whole || !same_type(from[i], to[i])) {
                field.fate = Fate::misread;
                field.text = fmt::format("would be read from where {} ({}) stands", from[i].name, type_word(from[i]));
                if (whole) {
                    breach(rule_end,
                           fmt::format("{}: field {} is {} ({}) and was {} ({})", who, i + 1, to[i].name,
                                       type_word(to[i]), from[i].name, type_word(from[i])),
                           new_id_instead);
                }
                whole = false;
            } else if (from[i].name != to[i].name) {
                field.fate = Fate::renamed;
                field.text = fmt::format("was {}: the same bytes under another name", from[i].name);
            } else if (from[i].default_value != to[i].default_value && !out_.back) {
                field.text = "another default, for units that never saved it";
            }
            if (whole && i < from.size()) { compare_units(from[i], to[i], who, field, out_); }
            change.fields.push_back(std::move(field));
        }
        if (!whole) {
            change.fate = Fate::misread;
            return;
        }
        for (size_t i = to.size(); i < from.size(); i++) {
            change.fields.push_back({from[i].name, Fate::lost, "not known here, and gone with the next save"});
            if (!out_.back) {
                breach(rule_end, fmt::format("{}: field {} is left out", who, from[i].name),
                       "keep it as a field that nobody uses: a downgrade still needs it");
            }
        }
    }

    /// Its samples stand behind one another in one payload, so neither their number nor their size may change.
    void short_log(RecordChange& change, const std::string& who) {
        const Record& from = *change.from;
        const Record& to = *change.to;
        if (!to.log || !to.log->short_log || from.payload_bytes() == to.payload_bytes()) { return; }
        change.fate = Fate::misread;
        breach(rule_end,
               fmt::format("{} keeps {} samples of {} bytes among the values, and kept {} of {}", who,
                           to.log->depth_samples, to.fields_bytes(), from.log->depth_samples, from.fields_bytes()),
               "a new record with an id of its own");
    }

    void unknown_records() {
        std::map<std::string, std::vector<std::string>> by_area;
        for (const RecordChange& change : out_.records) {
            if (change.fate == Fate::carried) { by_area[change.from->area].push_back(change.from->name); }
        }
        for (const auto& [area, names] : by_area) {
            if (names.size() <= unknown_max) { continue; }
            breach(rule_unknown,
                   fmt::format("area {} holds {} records that {} does not know ({}), and it carries {}: the area would "
                               "be read-only",
                               area, names.size(), to_.name, fmt::join(names, ", "), unknown_max),
                   "fewer new records; or retired = true in place of leaving one out");
        }
    }

    void hold_flash(AreaChange& change) {
        const FlashGeometry& a = change.from->layout.geometry;
        const FlashGeometry& b = change.to->layout.geometry;
        const auto hold = [&](std::string_view what, uint64_t before, uint64_t now, std::string_view unit) {
            if (before == now) { return; }
            change.differs.push_back(fmt::format("{} {}{} instead of {}", what, now, unit, before));
        };
        hold("size", a.area_bytes(), b.area_bytes(), " B");
        hold("ring blocks", a.ring_blocks, b.ring_blocks, "");
        hold("block", a.ring_block_bytes(), b.ring_block_bytes(), " B");
        hold("program unit", a.unit_bytes, b.unit_bytes, " B");
        hold("check code", change.from->layout.check_bytes * 8, change.to->layout.check_bytes * 8, " bits");
        hold("blank byte", a.blank, b.blank, "");
        hold("offset in flash", change.from->place.offset, change.to->place.offset, "");
        const auto& before = change.from->place.address;
        const auto& now = change.to->place.address;
        if (before && now && *before != *now && change.from->place.offset == change.to->place.offset) {
            change.differs.push_back(fmt::format("address 0x{:08X} instead of 0x{:08X}", *now, *before));
        }
        if (change.differs.empty()) { return; }
        breach(rule_flash, fmt::format("area {}: {}", change.name, fmt::join(change.differs, ", ")),
               "the size, the start, the flash_start and the check_bits that were shipped; to change them all the "
               "same, see docs/upgrade.md, \"Another area\"");
    }

    const ProductVersion& from_;
    const ProductVersion& to_;
    SchemaChange& out_;
};

} // namespace

std::string_view name_of(Fate fate) {
    switch (fate) {
    case Fate::kept:
        return "kept";
    case Fate::renamed:
        return "renamed";
    case Fate::defaulted:
        return "new";
    case Fate::converted:
        return "converted";
    case Fate::carried:
        return "carried";
    case Fate::lost:
        return "lost";
    case Fate::misread:
        return "misread";
    }
    return "";
}

std::string place_version(ProductVersion& version) {
    auto plan = make_image_plan(version.project, std::nullopt);
    if (!plan) { return fmt::format("{}: {}", version.path, plan.error().text); }
    version.plan = std::move(*plan);
    return {};
}

SchemaChange compare(const ProductVersion& from, const ProductVersion& to) {
    SchemaChange out;
    out.back = to.number != 0 && (from.number == 0 || from.number > to.number);
    Comparison comparison(from, to, out);
    comparison.areas();
    comparison.records();
    if (from.project.part.id != to.project.part.id) {
        out.notes.push_back(fmt::format("the part is {} instead of {}: no firmware update makes one of the other; what "
                                        "is tried is a flash whose bytes were copied over",
                                        to.project.part.id, from.project.part.id));
    }
    for (const ProductVersion* version : {&from, &to}) {
        if (version->number == 0) { continue; } // it may still be written down
        for (const Breach& open : check_places(*version)) {
            out.notes.push_back(
                fmt::format("{}: {}; what it was shipped with: {}?", version->name, open.text, open.instead));
        }
    }
    for (Breach& breach : check_ids({&from, &to})) { out.breaches.push_back(std::move(breach)); }
    return out;
}

std::vector<Breach> check_ids(const std::vector<const ProductVersion*>& all) {
    std::vector<Breach> out;
    for (size_t i = 0; i < all.size(); i++) {
        for (const Record& record : all[i]->project.records) {
            for (size_t j = 0; j < i; j++) {
                const std::vector<Record>& before = all[j]->project.records;
                const Record* same_id = find(before, record.id);
                const Record* same_name = find(before, record.name);
                if (all.size() > 2 && same_id != nullptr && is_another(*same_id, record)) {
                    out.push_back({std::string(rule_ids),
                                   fmt::format("id {} is {} in {} and {} in {}", record.id, same_id->name, all[j]->name,
                                               record.name, all[i]->name),
                                   "an id that no shipped version has used"});
                    break;
                }
                // A record that goes on under another id, whose old one is neither retired nor what it is made from.
                if (same_name == nullptr || same_name->id == record.id || same_id != nullptr) { continue; }
                const Record* retired = find(all[i]->project.records, same_name->id);
                const bool made = retired != nullptr &&
                                  std::find(record.from.begin(), record.from.end(), retired->name) != record.from.end();
                if (made) { continue; }
                out.push_back(
                    {std::string(rule_ids),
                     fmt::format("record {} has id {} in {} and {} in {}: what was saved stays under {}", record.name,
                                 same_name->id, all[j]->name, record.id, all[i]->name, same_name->id),
                     "the id it was shipped with"});
                break;
            }
        }
    }
    return out;
}

} // namespace perdure
