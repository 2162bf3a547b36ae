#include "upgrade/meaning.hpp"

#include <fmt/format.h>

namespace perdure {
namespace {

std::string_view word_of(IfLost if_lost) {
    switch (if_lost) {
    case IfLost::defaults:
        return "\"default\"";
    case IfLost::last_good:
        return "\"last_good\"";
    case IfLost::refuse:
        return "\"refuse\"";
    case IfLost::tell:
        return "not said";
    }
    return "";
}

std::string word_of(const std::string& unit) {
    return unit.empty() ? "none" : fmt::format("\"{}\"", unit);
}

} // namespace

void compare_if_lost(RecordChange& record, const std::string& who, SchemaChange& out) {
    const IfLost from = record.from->if_lost;
    const IfLost to = record.to->if_lost;
    if (from == to) { return; }
    record.text += fmt::format("{}if_lost {}, was {}", record.text.empty() ? "" : "; ", word_of(to), word_of(from));
    out.warnings.push_back(
        fmt::format("{}: if_lost is {} and was {}: its load answers otherwise where nothing good is stored{}", who,
                    word_of(to), word_of(from),
                    from == IfLost::refuse ? ", and a value that was refused becomes a default; put it back, or see "
                                             "that the product asks for it"
                                           : "; see that the product is made for that"));
}

void compare_units(const Field& from, const Field& to, const std::string& who, FieldChange& field, SchemaChange& out) {
    if (from.unit == to.unit) { return; }
    const std::string text =
        fmt::format("unit {}, was {}: the stored number is not converted", word_of(to.unit), word_of(from.unit));
    field.text += (field.text.empty() ? "" : "; ") + text;
    out.warnings.push_back(fmt::format("{}: field {}: {}; where it means another quantity now: a new record with an id "
                                       "of its own and from = [...]",
                                       who, to.name, text));
}

} // namespace perdure
