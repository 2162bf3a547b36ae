// Runs of units that no entry claims, in blocks that are read, and what explains them.
#include <algorithm>

#include <fmt/format.h>

#include "dump/damage_finder.hpp"

namespace perdure {

void DamageFinder::read_block(uint32_t block) {
    const UnitMark* marks = &label(block, 0);
    const auto claimed = [&](uint32_t at) {
        return marks[at].kind == UnitKind::entry || marks[at].kind == UnitKind::more;
    };
    for (uint32_t unit = first_unit_; unit < shape_.block_units; unit++) {
        if (claimed(unit)) { continue; }
        UnitRun run{block, unit, unit};
        while (run.end < shape_.block_units && !claimed(run.end)) { run.end++; }
        unclaimed(run);
        unit = run.end;
    }
}

/// A run between two entries, or before the block's end.
void DamageFinder::unclaimed(UnitRun run) {
    const bool to_the_end = run.end == shape_.block_units;
    while (run.begin < run.end && label(run.block, run.begin).kind == UnitKind::blank) { run.begin++; }
    UnitRun bad = run;
    while (bad.end > bad.begin && label(bad.block, bad.end - 1).kind == UnitKind::blank) { bad.end--; }
    const bool blank_before =
        run.begin > first_unit_ && run.size() != 0 && label(run.block, run.begin - 1).kind == UnitKind::blank;
    if (bad.size() == 0) {
        blank_run(run, to_the_end);
    } else if (!any(bad, UnitKind::bad)) {
        pads_only(bad, to_the_end);
    } else if (shut_off(age(bad.block, bad.begin))) {
        add(Cause::cut, bad, true, counted_units(bad.size()) + " that a start has shut off",
            "the restart entry behind them voids all from before them on: the power went while they were "
            "programmed, and the start after it went on behind them");
    } else if (!to_the_end) {
        between_entries(bad, run.end);
    } else if (one_bit(bad, bad.end, true) != 0) {
        return; // the entries behind it were lost with it
    } else if (bad.block == decoded_.head) {
        end_of_head(bad, blank_before);
    } else {
        end_of_block(bad);
    }
}

void DamageFinder::blank_run(const UnitRun& run, bool to_the_end) {
    if (to_the_end || run.end <= first_unit_) { return; }
    // Blank units in front of an entry that is believed: the walk stands at run.begin == run.end.
    UnitRun blank{run.block, run.end, run.end};
    while (blank.begin > first_unit_ && label(blank.block, blank.begin - 1).kind == UnitKind::blank) { blank.begin--; }
    if (blank.size() == 0 || shut_off(age(blank.block, blank.begin))) { return; }
    add(Cause::unclear, blank, false, counted_units(blank.size()) + " blank between entries",
        "the store leaves no gap: what stood here was not programmed in truth, or lost its charge")
        .hides = true;
}

void DamageFinder::pads_only(const UnitRun& run, bool to_the_end) {
    if (any(run, UnitKind::faulting) || shut_off(age(run.block, run.begin))) { return; }
    const bool at_the_end = to_the_end && (run.block == decoded_.head || next_is_unread(run.block));
    add(at_the_end ? Cause::cut : Cause::unclear, run, at_the_end, counted_units(run.size()) + " of pads",
        at_the_end ? "a start was cut before its restart entry stood, and no start has come since"
                   : "a start puts them before its restart entry, and none stands behind them");
}

/// Entries behind show that the power did not go here.
void DamageFinder::between_entries(UnitRun run, uint32_t next) {
    const std::string behind = "entries of the same run stand behind it, so it was whole once";
    while (run.size() != 0) {
        const uint32_t units = one_bit(run, next, false);
        if (units == 0) { break; }
        run.begin = std::min(run.begin + units, run.end);
    }
    if (run.size() != 0) { not_one_bit(run, behind); }
}

/// Adds the entry at the run's begin as bit rot if one bit makes it whole (`followed`: it, and another behind it that
/// is read with it). Gives the units that are explained so, 0 for none. `next`: where the next entry begins.
uint32_t DamageFinder::one_bit(const UnitRun& run, uint32_t next, bool followed) {
    const auto repair = find_repair(view_, run.block, run.begin, next - run.begin, labels_, tries_);
    if (!repair || (followed && repair->whole_units == repair->units)) { return 0; }
    const uint8_t reads = view_.bytes[repair->byte];
    const uint32_t others = repair->whole_units - repair->units;
    Damage& damage = add(
        Cause::rot, {run.block, run.begin, run.begin + repair->whole_units}, false,
        "one bit of an entry: " + repair->text,
        fmt::format("byte 0x{:02X} at 0x{:X} read as 0x{:02X} makes its check code right: bit {} {}; {}", reads,
                    repair->byte, reads ^ (1U << repair->bit), repair->bit,
                    repair->lost_charge ? "lost its charge" : "was programmed since",
                    others == 0 ? "entries of the same run stand behind it, so it was whole once"
                                : fmt::format("{} behind it, which can only be read with it, is whole then, so it was "
                                              "whole once",
                                              counted_units(others))));
    damage.hides = repair->id.has_value();
    damage.id = repair->id;
    return repair->whole_units;
}

void DamageFinder::not_one_bit(const UnitRun& run, const std::string& behind) {
    const std::string text = text_in(bytes(run));
    Cause cause = Cause::unclear;
    std::string why = "more than one bit differs from any entry that could have stood here; " + behind;
    if (!text.empty()) {
        cause = Cause::overwritten;
        why = fmt::format("it holds the text \"{}\"; {}", text, behind);
    } else if (run.size() > longest_) {
        cause = Cause::overwritten;
        why = fmt::format("it is longer than the longest entry, {}; {}", counted_units(longest_), behind);
    } else if (tries_ == 0) {
        why = "not looked into: too much else differs in this dump; " + behind;
    }
    add(cause, run, false, counted_units(run.size()) + " between entries", why).hides = true;
}

void DamageFinder::end_of_head(const UnitRun& run, bool blank_before) {
    const std::string text = text_in(bytes(run));
    const bool in_a_start = any(run, UnitKind::pad) && text.empty(); // each start that is cut leaves more pads
    if (!in_a_start && (!text.empty() || blank_before || run.size() > longest_)) {
        add(Cause::overwritten, run, false, counted_units(run.size()) + " in the free part of the head",
            !text.empty()  ? fmt::format("they hold the text \"{}\"", text)
            : blank_before ? "blank units stand before them, and the store goes on where the last entry ends"
                           : "they are more than any put or start that was cut can leave")
            .hides = true;
        return;
    }
    std::string why =
        "they are the last that was programmed, and no start has come since: the power went there, and the "
        "put had not returned";
    if (any(run, UnitKind::pad)) {
        why = "pads of a start stand among them: it was cut, and none has come since";
    } else if (find_repair(view_, run.block, run.begin, run.size(), labels_, tries_)) {
        why += " (one bit turned round would make it whole, so it may have been whole and lost that bit)";
    }
    add(Cause::cut, run, true, counted_units(run.size()) + " at the end of the head", why);
}

void DamageFinder::end_of_block(const UnitRun& run) {
    const std::string text = text_in(bytes(run));
    if (!text.empty() || run.size() > longest_) {
        add(Cause::overwritten, run, false, counted_units(run.size()) + " at the end of a block",
            text.empty() ? fmt::format("they are more than the longest entry, {}", counted_units(longest_))
                         : fmt::format("they hold the text \"{}\"", text))
            .hides = true;
        return;
    }
    if (next_is_unread(run.block)) {
        add(Cause::unclear, run, false, counted_units(run.size()) + " at the end of a block",
            "the block behind it cannot be read")
            .hides = true;
        return;
    }
    if (auto repair = find_repair(view_, run.block, run.begin, run.size(), labels_, tries_);
        repair && run.begin + repair->units == shape_.block_units) {
        Damage& damage = add(Cause::rot, run, false, "one bit of an entry: " + repair->text,
                             "turned round it makes the check code right, and the store went on in the next block");
        damage.hides = repair->id.has_value();
        damage.id = repair->id;
        return;
    }
    add(Cause::worn, run, false, counted_units(run.size()) + " that could not be programmed",
        "no start stands behind them, and the store went on in the next block, as it does when a program "
        "fails when it is read back; what was to stand here was put there");
}

} // namespace perdure
