// Parts, layouts, save policies and external memories compared over one project file: filtered by what must hold,
// ranked by what the user weighs, each loser with its reason.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "budget/findings.hpp"
#include "catalog/catalog.hpp"
#include "project/project.hpp"

namespace perdure {

/// What a ranking weighs. 0: does not count.
struct Weights {
    double flash = 1;  ///< bytes of memory used, less is better
    double life = 1;   ///< margin of wear, more is better
    double stall = 1;  ///< longest put with service called in time, less is better
    double energy = 1; ///< of a day, less is better
    double loss = 1;   ///< longest time between periodic saves, less is better
};

/// A way to save: what the file says, with these changes.
struct SaveChange {
    double stretch = 1;            ///< periodic saves come so many times as far apart
    std::optional<uint32_t> batch; ///< samples an entry of every log that has entries of its own
    bool lazy_start = false;       ///< starts program nothing before the first put
};

/// "/4 batch16 lazy": what is changed; empty where nothing is.
std::string words_of(const SaveChange& change);

/// Why a change does not fit the project; empty where it does.
std::string refused(const Project& project, const SaveChange& change);

constexpr uint32_t layouts_max = 8;

struct ChooseOptions {
    Weights weights;
    std::vector<std::string> only; ///< ids of parts and external memories; empty: the whole catalogue
    std::vector<SaveChange> policies{{}};
    uint32_t layouts = 3; ///< rings tried where sizes may be chosen: the fewest blocks, one more, twice as many, up to
                          ///< layouts_max: four times, eight times, one and a half, three and six times
    bool externals = true;
};

enum class CandidateKind { own, part, external };

/// One way to store the project's records. Figures that are not known are absent.
struct Candidate {
    CandidateKind kind = CandidateKind::part;
    std::string id;
    std::string maker;
    SaveChange policy;
    uint32_t ring_blocks = 0; ///< of all areas; 0 where values are written in place
    uint32_t block_bytes = 0, unit_bytes = 0;
    uint64_t bytes = 0;             ///< of memory used
    double margin = 0;              ///< of wear
    std::optional<double> stall_ms; ///< longest put with service in time
    std::optional<double> energy_j; ///< a day
    double loss_s = 0;              ///< longest time between periodic saves, times a log's batch; 0 without any
    bool holds = false;
    std::vector<std::string> reasons;     ///< what does not hold, or is not known; first the one that weighs most
    std::vector<std::string> from_memory; ///< columns behind the figures that have no document
    std::string note;
    bool bus_not_counted = false; ///< an external memory whose bus has no clock in the catalogue
    double may_be_off = 0; ///< share of its wear that is in doubt, as starts take much and are reckoned; 0: counted
    std::shared_ptr<const Project> judged; ///< what was judged; null in place
    bool on_front = false; ///< no other that holds is as good in everything and better in something; what rests on
                           ///< memory beats only its like
    double score = 0;      ///< weighted mean of how many times worse than the best; 1 is best in everything
    std::string behind;    ///< against the winner, in words; empty for the winner
    [[nodiscard]] bool reckoned() const { return may_be_off > 0; }
};

struct Choice {
    std::string project;
    Weights weights;
    std::vector<Candidate> candidates; ///< those that hold first, by score; then the others, nearest to holding first
    std::optional<size_t> winner;      ///< the first that holds and rests on no figure from memory
    std::optional<size_t> second;      ///< best other maker's or other part with another geometry, by the same rule
    std::vector<size_t> passed_over;   ///< those that rank above the winner but rest on figures from memory
    std::vector<std::string> assumptions;
};

/// Compares. The winner and the second source are counted as perdure budget counts; where starts take more than a few
/// per cent of the units, the others are reckoned and say so. The project's own part keeps what the file says of it;
/// others come as catalogued, so [endurance], [aged], [wear_out], [qualification] and the pairs of [retention] do not
/// speak of them. Sizes and places of areas are searched anew. `unknown_ids` of `only` are refused by the caller
/// (known_ids), and so are policies that do not fit (refused).
Choice choose(const Project& project, const Catalog& catalog, const ChooseOptions& options);

/// The project on another part: what its file says of its own part is left out.
Project on_part(const Project& project, const Device& part);

/// Every id that `only` may name.
std::vector<std::string> known_ids(const Catalog& catalog);

} // namespace perdure
