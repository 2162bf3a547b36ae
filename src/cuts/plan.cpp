// What a proof is made of: which searches, on which rings, with which actions.
#include <algorithm>
#include <numeric>

#include <fmt/format.h>

#include "cuts/proof.hpp"

namespace perdure {
namespace {

constexpr size_t records_max = 3; ///< whose puts are combined with each other on the small ring
/// A log's own ring is played on so many bytes at most, and four blocks at least: each trial reads all of it.
constexpr uint64_t log_ring_bytes_max = 8192;
constexpr uint32_t log_ring_blocks_min = 4;

/// What the area's records ask of its proof.
struct Needs {
    bool log = false, save = false, lazy = false;
    /// Logs, saves and lazy starts make each trial longer; and a start that is an action counts among those cut in a
    /// row.
    [[nodiscard]] bool any() const { return log || save || lazy; }
};

Needs needs_of(const std::vector<const Record*>& records, bool lazy) {
    Needs needs;
    needs.lazy = lazy;
    for (const Record* record : records) {
        needs.log = needs.log || record->has_log_entries();
        needs.save = needs.save || record->saved_at_power_fail();
    }
    return needs;
}

/// The smallest ring blocks in which the records fit: four of them at most, or the fewest that take the records at all.
tl::expected<AreaLayout, Refusal> small_ring(const AreaLayout& own, const std::vector<const Record*>& records,
                                             uint32_t check_bits) {
    FlashGeometry geometry = own.geometry;
    geometry.ring_blocks = std::min(geometry.ring_blocks, 4U);
    geometry.erase_blocks_per_ring_block = 1;
    for (uint32_t units = 8;; units++) {
        geometry.erase_block_bytes = units * geometry.unit_bytes;
        auto layout = lay_out_ring(geometry, check_bits, records);
        if (layout) { return layout; }
        if (units < own.geometry.units_per_ring_block()) { continue; }
        if (geometry.ring_blocks == own.geometry.ring_blocks) { return layout; }
        geometry.ring_blocks++; // what is live lies in more blocks than four have for it
        units = 7;
    }
}

/// Records by how often they are saved, the largest entry second, so that few stand for all.
std::vector<uint16_t> chosen_records(const AreaLayout& layout, const std::vector<double>& weights) {
    std::vector<uint16_t> order(weights.size());
    std::iota(order.begin(), order.end(), uint16_t{0});
    std::stable_sort(order.begin(), order.end(), [&](uint16_t a, uint16_t b) { return weights[a] > weights[b]; });
    if (order.size() > 2) {
        const auto largest = std::max_element(order.begin() + 1, order.end(), [&](uint16_t a, uint16_t b) {
            return layout.records[a].full_units < layout.records[b].full_units;
        });
        std::rotate(order.begin() + 1, largest, largest + 1);
    }
    order.resize(std::min(order.size(), records_max));
    return order;
}

std::vector<Action> alphabet(const AreaLayout& layout, const std::vector<const Record*>& records,
                             const std::vector<double>& weights, bool lazy) {
    std::vector<Action> actions;
    for (const uint16_t record : chosen_records(layout, weights)) {
        const Record& of = *records[record];
        const bool batched = of.has_log_entries() && of.log->batch > 1;
        actions.push_back({Action::Kind::put_small, record});
        if (of.kind == RecordKind::total || batched) { actions.push_back({Action::Kind::put_large, record}); }
    }
    actions.push_back({Action::Kind::service, 0});
    actions.push_back({Action::Kind::restart, 0});
    if (lazy) { actions.push_back({Action::Kind::restart_lazy, 0}); }
    return actions;
}

/// Saves in the proportions of life, every record at least once, until about a turn of the ring has been filled. A log
/// is appended to by whole entries.
std::vector<Action> turn_of_life(const AreaLayout& layout, const std::vector<const Record*>& records,
                                 const std::vector<double>& weights) {
    std::vector<Action> actions;
    const double most = *std::max_element(weights.begin(), weights.end());
    const double units = double(layout.geometry.units_per_ring_block()) * (layout.geometry.ring_blocks + 1);
    std::vector<double> due(weights.size(), 1);
    double used = 0;
    while (used < units) {
        for (size_t i = 0; i < weights.size(); i++) {
            due[i] += most > 0 ? weights[i] / most : 1;
            if (due[i] < 1) { continue; }
            due[i] -= 1;
            const bool whole = records[i]->has_log_entries();
            actions.push_back({whole ? Action::Kind::put_large : Action::Kind::put_small, static_cast<uint16_t>(i)});
            actions.push_back({Action::Kind::service, 0});
            const RecordLayout& record = layout.records[i];
            used += record.short_units != 0 ? record.short_units : record.full_units;
        }
    }
    return actions;
}

std::string cuts_in_starts(unsigned deep) {
    return fmt::format("{} more cut{} in starts", deep, deep == 1 ? "" : "s");
}

/// Makes the parts of one area's proof.
class Planner {
public:
    Planner(const ProofArea& area, const ProofOptions& options)
        : area_(area), options_(options), needs_(needs_of(area.records, area.lazy_starts)),
          depth_(std::min(options.depth_max, area.layout.geometry.ring_blocks < 4 ? 1U : 2U)) {}

    std::vector<ProofPart> plan() {
        const auto small = small_ring(area_.layout, area_.records, area_.check_bits);
        if (small) {
            small_ = *small;
            actions_ = alphabet(area_.layout, area_.records, area_.weights, needs_.lazy);
            small_parts(false);
            if (needs_.save) { small_parts(true); }
            small_turn();
        }
        own_turn(false);
        if (needs_.save) { own_turn(true); }
        return std::move(parts_);
    }

private:
    void small_parts(bool saves) {
        const bool long_trials = needs_.any();
        for (unsigned deep = long_trials ? 0U : std::min(depth_, 1U); deep <= std::min(depth_, saves ? 1U : 2U);
             deep++) {
            for (const Begin begin : {Begin::fresh, Begin::nearly_full, Begin::wrapped, Begin::bad_block}) {
                // One block that failed leaves three good ones, and their depth.
                if (begin == Begin::bad_block && (small_.geometry.ring_blocks < 4 || deep > 1 || saves)) { continue; }
                const bool sequences = long_trials ? deep == 0 : deep < 2;
                small_part(begin, deep, sequences && begin != Begin::bad_block ? options_.length_max : 1, saves);
            }
        }
    }

    void small_part(Begin begin, unsigned deep, unsigned length, bool saves) {
        ProofPart part;
        part.search = base(small_, begin, deep, saves);
        part.search.device.all_torn_bits = needs_.any() ? deep < 1 && !saves : deep < 2;
        part.actions = actions_;
        part.length = length;
        std::string word{name_of(begin)};
        std::replace(word.begin(), word.end(), ' ', '-');
        part.name = fmt::format("{}-{}-{}", saves ? "saves" : "small", word, deep);
        part.about = fmt::format("{} blocks of {} units, {}: every sequence of up to {} of {} actions, {}{}{}{}",
                                 small_.geometry.ring_blocks, small_.geometry.units_per_ring_block(), name_of(begin),
                                 length, part.actions.size(), cuts_in_starts(deep), saves_words(part.search),
                                 lazy_words(), part.search.device.all_torn_bits ? "" : torn_words);
        parts_.push_back(std::move(part));
    }

    /// What a cut erase has left weak is trusted only once its block is used again: saves behind each start, until
    /// then.
    void small_turn() {
        ProofPart part;
        part.workload = true;
        part.actions = turn_of_life(small_, area_.records, area_.weights);
        part.length = 1;
        part.search = base(small_, Begin::fresh, 0, false);
        part.search.device.all_torn_bits = false;
        part.search.cut_one_in = static_cast<unsigned>(part.actions.size()); // elsewhere small_parts cuts
        // Each action of two is a save, and they fill a block more than the ring has.
        const uint32_t blocks = small_.geometry.ring_blocks;
        part.search.next_puts = static_cast<unsigned>(part.actions.size()) / 2 * (blocks - 1) / (blocks + 1);
        part.name = "small-turn";
        part.about = fmt::format(
            "{} blocks of {} units: {} saves and calls of service, cuts wherever a block is opened or erased, {} saves "
            "after the start, the power lost again behind each{}{}",
            blocks, small_.geometry.units_per_ring_block(), part.actions.size(), part.search.next_puts, lazy_words(),
            torn_words);
        parts_.push_back(std::move(part));
    }

    /// The project's own blocks, more than a turn of them.
    void own_turn(bool saves) {
        AreaLayout layout = area_.layout;
        const uint32_t blocks = layout.geometry.ring_blocks;
        if (needs_.log) {
            const auto fit = static_cast<uint32_t>(
                std::min<uint64_t>(blocks, log_ring_bytes_max / layout.geometry.ring_block_bytes()));
            layout.geometry.ring_blocks = std::min(blocks, std::max(fit, log_ring_blocks_min));
        }
        ProofPart part;
        part.workload = true;
        part.actions = turn_of_life(layout, area_.records, area_.weights);
        part.length = one_in(part.actions.size(), options_.nested_saves);
        part.search = base(layout, Begin::wrapped, saves ? 0U : std::min(depth_, 1U), saves);
        part.search.device.all_torn_bits = false;
        if (needs_.log || saves) { part.search.cut_one_in = part.length; }
        const std::string shorter =
            layout.geometry.ring_blocks < blocks ? fmt::format(" (of the project's {})", blocks) : "";
        const std::string where =
            part.search.cut_one_in > 1
                ? fmt::format("cuts in one of {} of them and wherever a block is opened or erased", part.length)
                : fmt::format("a cut in the start after one in {} of them and wherever a block is opened or erased",
                              part.length);
        part.name = saves ? "own-turn-saves" : "own-turn";
        part.about = fmt::format("{}{} blocks of {} units: {} saves and calls of service, more than a turn; {}{}{}{}",
                                 layout.geometry.ring_blocks, shorter, layout.geometry.units_per_ring_block(),
                                 part.actions.size(), where, saves_words(part.search), lazy_words(), torn_words);
        parts_.push_back(std::move(part));
    }

    [[nodiscard]] Search base(const AreaLayout& layout, Begin begin, unsigned deep, bool saves) const {
        Search search;
        search.layout = layout;
        search.records = area_.records;
        search.device = options_.device;
        search.begin = begin;
        search.depth = deep;
        search.saves = saves;
        search.saves_in_reads = saves && deep == 0;
        search.lazy = needs_.lazy;
        return search;
    }

    static unsigned one_in(size_t actions, unsigned wanted) {
        return static_cast<unsigned>(std::max<size_t>(1, actions / std::max(1U, wanted)));
    }
    static std::string saves_words(const Search& search) {
        if (!search.saves) { return {}; }
        return fmt::format("; the supply fails and a record is saved in each {}program and erase, and the cut is there",
                           search.saves_in_reads ? "read, " : "");
    }
    [[nodiscard]] std::string lazy_words() const {
        return needs_.lazy ? "; starts after a cut are lazy, with a put behind each" : "";
    }

    static constexpr std::string_view torn_words = "; a torn unit reads blank, whole or as half of its bits";

    const ProofArea& area_;
    const ProofOptions& options_;
    Needs needs_;
    unsigned depth_;
    AreaLayout small_;
    std::vector<Action> actions_;
    std::vector<ProofPart> parts_;
};

} // namespace

std::vector<ProofPart> plan_proof(const ProofArea& area, const ProofOptions& options) {
    return Planner(area, options).plan();
}

} // namespace perdure
