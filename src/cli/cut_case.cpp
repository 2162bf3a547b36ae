#include "cli/cut_case.hpp"

#include <ostream>

#include <fmt/format.h>
#include <nlohmann/json.hpp>

#include "dump/listing.hpp"
#include "inspect/inspection.hpp"

namespace perdure {
namespace {

/// The area as a listing; empty where `bytes` is.
std::string flash_text(const ProofPart& part, const std::vector<uint8_t>& bytes, const std::vector<uint8_t>& faulting,
                       const std::vector<uint8_t>& before) {
    if (bytes.empty()) { return {}; }
    const AreaLayout& layout = part.search.layout;
    const FlashGeometry& geometry = layout.geometry;
    const AreaView view{{geometry.ring_blocks, geometry.units_per_ring_block(), geometry.unit_bytes,
                         layout.check_bytes * 8, geometry.blank},
                        bytes,
                        faulting};
    return listing(view, labels_of(part.search.records), before);
}

/// How many actions came before those of the story; empty: none.
std::string earlier_text(const PlayedCase& played) {
    if (played.earlier == 0) { return {}; }
    return fmt::format("{} earlier action{} without a cut", played.earlier, played.earlier == 1 ? "" : "s");
}

} // namespace

std::string_view name_of(Outcome outcome) {
    switch (outcome) {
    case Outcome::as_before:
        return "as before";
    case Outcome::as_new:
        return "as new";
    case Outcome::nothing:
        break;
    }
    return "nothing was under way";
}

void print_flash(const ProofPart& part, const std::vector<uint8_t>& before, const std::vector<uint8_t>& after,
                 const std::vector<uint8_t>& faulting, std::string_view at_the_start, std::ostream& out) {
    if (!before.empty()) { out << "\nThe flash before the first cut:\n" << flash_text(part, before, {}, {}); }
    out << fmt::format("\nThe flash at {}, as it reads there; * changed since:\n", at_the_start)
        << flash_text(part, after, faulting, before);
}

void print_case(const ProofPart& part, const PlayedCase& played, std::ostream& out) {
    out << fmt::format("A case of {} that loses nothing:\n", part.name);
    if (const std::string earlier = earlier_text(played); !earlier.empty()) { out << "  " << earlier << '\n'; }
    for (const std::string& line : played.story) { out << "  " << line << '\n'; }
    out << (played.outcome == Outcome::nothing
                ? std::string("  at the start every record reads as before: nothing was under way\n")
                : fmt::format("  at the start the record under way reads {}; nothing is lost\n",
                              name_of(played.outcome)));
    print_flash(part, played.before, played.after, played.faulting, "that start", out);
}

nlohmann::json case_json(const ProofPart& part, const SearchResult& result) {
    nlohmann::json out{{"part", part.name}, {"about", part.about}, {"holds", !result.failure}};
    if (result.failure) {
        const SearchFailure& failure = *result.failure;
        out["what"] = failure.what;
        out["steps"] = failure.story;
        out["flash_before"] = flash_text(part, failure.before, {}, {});
        out["flash_after"] = flash_text(part, failure.after, failure.faulting, failure.before);
    } else if (result.played) {
        const PlayedCase& played = *result.played;
        out["reads"] = name_of(played.outcome);
        out["steps"] = played.story;
        if (const std::string earlier = earlier_text(played); !earlier.empty()) {
            out["steps"].insert(out["steps"].begin(), earlier);
        }
        out["flash_before"] = flash_text(part, played.before, {}, {});
        out["flash_after"] = flash_text(part, played.after, played.faulting, played.before);
    }
    return out;
}

} // namespace perdure
