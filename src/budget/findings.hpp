// What the budget finds: each requirement with what it needs, what there is, and where every number came from.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "budget/demand.hpp"
#include "budget/hold_up.hpp"
#include "budget/latency.hpp"
#include "budget/log.hpp"
#include "budget/loss.hpp"
#include "budget/ring_wear.hpp"
#include "project/layout.hpp"

namespace perdure {

enum class SourceKind { part, file, formula, assumption };

/// Where one number came from.
struct Source {
    std::string what;
    double value = 0;
    std::string unit;
    SourceKind kind = SourceKind::formula;
    std::string text;         ///< the catalogue's source, "file:line", the formula, or the assumption
    bool from_memory = false; ///< a catalogue figure with no document behind it
};

enum class FindingStatus {
    holds,
    fails,
    unknown, ///< a figure is missing
    informs, ///< nothing was asked; the figure is for the reader
};

/// margin = had / needed; where smaller is better (a stall) the need is the figure itself and what is had is what is
/// allowed.
struct Finding {
    std::string name;
    std::string area;
    double need = 0;
    double have = 0;
    double margin = 0; ///< 0 when nothing was asked
    double margin_min = 1;
    std::string unit;
    FindingStatus status = FindingStatus::informs;
    std::string note;
    std::vector<Source> from;

    [[nodiscard]] bool holds() const { return status != FindingStatus::fails && status != FindingStatus::unknown; }
    [[nodiscard]] bool from_memory() const;
    [[nodiscard]] bool assumed() const;
};

struct RecordBudget {
    uint16_t id = 0;
    std::string name;
    RecordDemand demand;
    RecordLayout layout;
    double saves = 0;         ///< over life, sizing
    double copies = 0;        ///< over life, made by cleaning
    double payload_bytes = 0; ///< saved over life
    double units = 0;         ///< programmed over life, copies included
    double wear_share = 0;    ///< of all units used, 0..1
};

/// Where an area's number of ring blocks comes from.
enum class RingFound {
    given,            ///< the file says the size
    fewest,           ///< the fewest that hold
    fewest_but_stall, ///< no number holds; the fewest from three on that hold but for the stall of put
    most_by_share,    ///< no number holds; the most that flash_share leaves room for
    most_by_start,    ///< no number holds; the most that start_up allows
    most,             ///< no number holds; the most that the part has
    least             ///< no number holds, and even the fewest break flash_share or start_up
};

/// In words, for behind a number of blocks: "the fewest that hold"; empty for a given size.
const char* words_of(RingFound found);

/// One area. Figures with 'sizing' behind them unless nominal is in the name.
struct AreaBudget {
    std::string name;
    RingFound found = RingFound::given;
    bool laid_out = false; ///< false: only name and the layout finding are there
    AreaLayout layout;
    RingWear wear, nominal_wear;
    Erases erases, nominal_erases;
    std::optional<Latency> latency; ///< absent when the part's times are not known
    std::vector<RecordBudget> records;
    std::optional<LogBudget> log; ///< where the area holds one
    bool lazy_start = false;      ///< starts program nothing before a put: those that store nothing are free
    std::optional<double> other_start_erases; ///< mean erases a block with the other kind of start
    double erases_allowed = 0;                ///< endurance x spend limit / margin asked
    std::optional<uint32_t> fewest_blocks;    ///< ring blocks; absent: no number on this part holds
    std::optional<double> longest_life_years; ///< absent: it never wears out
    std::optional<double> fastest_periodic;   ///< how many times as often all periodic saves could come; absent: there
                                              ///< are none, or none hold
};

/// One reason to save, with what it costs and what it alone leaves open.
struct SavePart {
    std::string record;
    std::string when;      ///< "every 1 min"
    double saves = 0;      ///< over life, sizing; of a log, entries
    double units = 0;      ///< program units of these saves over life, without copies
    double wear_share = 0; ///< of all units that the area's blocks have over life, 0..1
    std::string loses;
};

struct Budget {
    std::string project;
    double life_years = 0;
    std::vector<AreaBudget> areas;
    std::vector<RecordLoss> losses; ///< by record, in the project's order
    std::vector<SavePart> saves;    ///< one a save of the project file, by record
    std::optional<HoldUp> hold_up;  ///< with [supply] and a record that is saved at power failure
    std::vector<Finding> findings;
    std::string caution; ///< what the reader has to know besides; empty where nothing of the kind was asked
    [[nodiscard]] bool holds() const;
};

/// The whole budget of a project. Refused only where nothing can be computed: a part that cannot carry a store, or a
/// figure of it that is not known (the text names it). Live data that does not fit is a finding that fails.
tl::expected<Budget, Refusal> make_budget(const Project& project);

/// The fewest ring blocks of `area` on the project's part for which wear and, where asked, the stall of put hold.
std::optional<uint32_t> fewest_blocks(const Project& project, const Area& area, const Demand& demand);

/// Erases of each block that may be spent: endurance x spend limit / margin, over the erase of formatting. 0 without a
/// figure.
double erases_allowed(const Project& project);

/// The part's times at their maximum, or typical where the data sheet gives no maximum; absent where neither is known.
std::optional<OperationTimes> operation_times(const Device& part);

} // namespace perdure
