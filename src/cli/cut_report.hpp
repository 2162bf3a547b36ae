// What `perdure cut` found, as a table for people and as JUnit XML.
#pragma once

#include <iosfwd>
#include <string>
#include <vector>

#include <nlohmann/json_fwd.hpp>

#include "cuts/proof.hpp"

namespace perdure {

struct CutPart {
    std::string name, about;
    unsigned depth = 0;
    SearchResult result;
    double seconds = 0;
};

constexpr unsigned shards_most = 10'000;

struct CutArea {
    std::string project, file, area, part;
    std::string options; ///< those that change what is played, as they are typed, each with a space before it
    std::string sha256;  ///< of the project file, as it was read
    FlashGeometry geometry;
    uint32_t check_bits = 16;
    unsigned shard = 1, shards = 1;
    std::vector<unsigned> shards_seen; ///< after merging
    std::vector<CutPart> parts;
};

/// Torn units that pass a check code of `check_bits` by chance: how many are expected of `torn`, and the most that
/// still agree with that (Poisson, one in a million).
struct ChanceLimit {
    double expected = 0;
    double most = 0;
};
ChanceLimit chance_limit(uint64_t torn, uint32_t check_bits);

SearchCounts sum_of(const CutArea& area);

/// No failure, and no more chance matches than the check code explains.
bool holds(const CutArea& area);

/// Prints all areas; true if all hold.
bool report(const std::vector<CutArea>& areas, bool json, std::ostream& out);

/// The failure of a part: what is wrong, what led there, the line that plays it again; with `flash` the area before the
/// first cut and at the start that shows it.
void print_failure(const ProofPart& part, const SearchFailure& failure, const CutArea& area, bool flash,
                   std::ostream& out);

std::string junit_of(const std::vector<CutArea>& areas);

} // namespace perdure
