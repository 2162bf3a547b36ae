// What a power-cut search tries, and what it found: plain structs.
#pragma once

#include <array>
#include <cstdint>
#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "flash/forking.hpp"
#include "project/layout.hpp"
#include "project/project.hpp"

namespace perdure {

/// One thing that a product does.
struct Action {
    enum class Kind : uint8_t {
        put_small, ///< of a log: appends one sample
        put_large, ///< of a log: appends as many as one entry takes
        service,
        restart,      ///< a start without a cut before it
        restart_lazy, ///< the same, that programs nothing until something is put
    } kind = Kind::put_small;
    uint16_t record = 0;
    bool operator==(const Action&) const = default;
};

/// How far the area has been used before the cuts begin.
enum class Begin : uint8_t {
    fresh,       ///< just formatted
    nearly_full, ///< the head has room for one more entry
    wrapped,     ///< one and a half turns on
    bad_block,   ///< wrapped, and one block has been set aside
    failing,     ///< wrapped, and one block begins to fail now: its programs and its erases
};
constexpr unsigned begin_kinds = 5;
std::string_view name_of(Begin begin);

struct Search {
    AreaLayout layout;
    std::vector<const Record*> records; ///< those of the layout, in its order
    CutDevice device;
    Begin begin = Begin::fresh;
    unsigned depth = 1; ///< cuts in the starts that follow the first cut
    unsigned chain = 0; ///< further cuts after completed starts, one put each
    /// Puts after the last completed start, without cuts, and a start behind each: what a cut left weak may have become
    /// part of the ring by then.
    unsigned next_puts = 1;
    bool lazy = false; ///< starts after a cut are lazy, a put follows each
    /// The record that is saved at power failure is so in an interrupt: in each program and erase of each action,
    /// before it, inside it, and behind it. What is cut then is the save, and what is left of the operation.
    bool saves = false;
    bool saves_in_reads = false; ///< that interrupt comes in each read as well
    unsigned cut_one_in = 1; ///< of a workload: cuts in one of so many actions, and in those that erase or open a block
    uint64_t ways_max = 4096; ///< ways to read the weak units that are tried at one start; beyond, a sample of so many
    unsigned check_code = 0;  ///< other than 0: to tell chance matches
    unsigned shard = 0;       ///< of the cuts that come first, only those whose number is `shard` modulo `shards`
    unsigned shards = 1;
    std::optional<std::vector<uint64_t>> replay; ///< only this path
    double seconds_max = 0;                      ///< 0: no limit
    std::function<void(double)> progress;        ///< share done; may be empty
};

/// Where the first cut fell.
enum class CutCall : uint8_t { put, service, start };
enum class CutOperation : uint8_t { program, erase, between };
constexpr unsigned cut_calls = 3, cut_operations = 3, cut_readings = reading_kinds + torn_erase_kinds + 1;
std::string_view name_of(CutCall call);
std::string_view name_of(CutOperation operation);
/// Of what a cut hit, by its place in SearchCounts::cells: "even bits", "only the stamp", "not begun". A unit and a
/// block may have the same one.
std::string_view reading_name(unsigned reading);

/// What the record in flight reads as at the start after the first cut.
enum class Outcome : uint8_t { as_before, as_new, nothing /**< was in flight */ };
constexpr unsigned outcomes = 3;

/// Cases counted, by their outcome.
struct Cell {
    uint64_t as_before = 0, as_new = 0, nothing = 0;
    uint64_t& of(Outcome outcome) {
        return outcome == Outcome::as_before ? as_before : outcome == Outcome::as_new ? as_new : nothing;
    }
};

/// The first case met of one cell and one outcome: its path plays it again.
struct CellCase {
    CutCall call = CutCall::put;
    CutOperation operation = CutOperation::program;
    unsigned reading = 0; ///< place in SearchCounts::cells
    Outcome outcome = Outcome::nothing;
    std::vector<uint64_t> path;
};
/// Adds those of `more` whose cell and outcome have none yet.
void add_cases(std::vector<CellCase>& to, const std::vector<CellCase>& more);

struct SearchCounts {
    uint64_t actions = 0; ///< played with cuts in them
    uint64_t cuts = 0;    ///< cut points, those in starts included
    uint64_t trials = 0;  ///< starts from a state not met before: opened, both oracles, next put, power lost again
    uint64_t starts = 0;  ///< all starts that were run
    uint64_t saves = 0;   ///< interrupts in which a record was saved
    uint64_t equal = 0;   ///< starts from a state that had been tried
    uint64_t sampled = 0; ///< starts whose ways to read were too many to try all
    uint64_t torn = 0;    ///< trials in which some weak unit read as neither blank nor complete
    uint64_t chance = 0;  ///< violations that are gone under other check codes
    /// By where the first cut fell, and what the unit or block that it hit read as at the start after it.
    std::array<std::array<std::array<Cell, cut_readings>, cut_operations>, cut_calls> cells{};
    SearchCounts& operator+=(const SearchCounts& more);
};

struct SearchFailure {
    std::string what;                   ///< what is wrong
    std::vector<uint64_t> path;         ///< leads there again
    std::vector<std::string> story;     ///< what happened on that path, a line each
    std::vector<uint8_t> before, after; ///< the area before the first cut, and at the start that showed it
    std::vector<uint8_t> faulting;      ///< by unit, of `after`
};

/// A path that was played again to its end, and at whose last start nothing was wrong.
struct PlayedCase {
    std::vector<std::string> story;     ///< what happened on that path, a line each
    size_t earlier = 0;                 ///< actions that came before those of the story, without a cut
    std::vector<uint8_t> before, after; ///< the area before the first cut, and at the start as it read then
    std::vector<uint8_t> faulting;      ///< by unit, of `after`
    Outcome outcome = Outcome::nothing; ///< at that start
};

struct SearchResult {
    SearchCounts counts;
    bool complete = true; ///< false: the time was up, or a failure ended it
    double share = 1;     ///< of the actions
    std::optional<SearchFailure> failure;
    std::vector<CellCase> cases;      ///< at most one for each cell and outcome
    std::optional<PlayedCase> played; ///< of a path that was asked for
    /// Adds what another share of the same search found. The shorter failure stays.
    void add(SearchResult&& more);
};

/// All sequences of up to `length` of `actions` from search.begin, the power cut everywhere.
SearchResult search_sequences(const Search& search, const std::vector<Action>& actions, unsigned length);

/// One after another, the power cut everywhere in each of `actions`. From `every` > 1 on, cuts in starts are tried in
/// one of so many actions only, and in those that erase or open a block.
SearchResult search_workload(const Search& search, const std::vector<Action>& actions, unsigned every);

} // namespace perdure
