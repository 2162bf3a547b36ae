// Blocks as wholes, and areas without a ring. What stands between entries is damage_runs.cpp's.
#include <algorithm>
#include <array>

#include <fmt/format.h>

#include "dump/damage_finder.hpp"
#include "dump/locate.hpp"

namespace perdure {
namespace {

constexpr size_t text_bytes_min = 8; ///< printable characters in a row that are taken for a text

} // namespace

std::string text_in(std::span<const uint8_t> bytes) {
    std::string best;
    std::string run;
    for (const uint8_t byte : bytes) {
        if (byte < 0x20 || byte >= 0x7F) {
            run.clear();
            continue;
        }
        run += static_cast<char>(byte);
        if (run.size() > best.size()) { best = run; }
    }
    return best.size() < text_bytes_min ? "" : best.substr(0, 24);
}

std::string counted_units(size_t units) {
    return fmt::format("{} unit{}", units, units == 1 ? "" : "s");
}

void DamageFinder::look_at(uint32_t block) {
    missing_in(block);
    if (block == next_ && lost_next(block)) { return; }
    const DumpStamp& stamp = decoded_.stamps[block];
    const UnitRun whole{block, 0, shape_.block_units};
    const bool waits = stamp.counts && !stamp.is_read;
    if (decoded_.set_aside(block)) {
        add(Cause::worn, whole, false, "a block that is set aside",
            "the store's own list names it: an erase, a stamp or a program in it failed");
    } else if (decoded_.pending == block) {
        if (!stamp.counts || any(whole, UnitKind::unread) || any(whole, UnitKind::bad)) {
            add(Cause::cut, whole, true, "a block whose erase may be unfinished",
                "a mark says that it was emptied, and nothing later that its erase is complete: the power went "
                "in between; the next start erases it again");
        }
    } else if (stamp.is_read) {
        if (!stamp.counts) { lost_stamp(block); }
        read_block(block);
    } else if (waits) {
        waiting_block(block);
    } else {
        lost_block(block);
    }
}

void DamageFinder::missing_in(uint32_t block) {
    if (view_.faulting.empty()) { return; }
    for (uint32_t unit = 0; unit < shape_.block_units; unit++) {
        if (label(block, unit).kind != UnitKind::faulting) { continue; }
        UnitRun run{block, unit, unit};
        while (run.end < shape_.block_units && label(block, run.end).kind == UnitKind::faulting) { run.end++; }
        const bool may_hide =
            decoded_.pending != block && (decoded_.stamps[block].is_read || !decoded_.stamps[block].counts);
        add(Cause::missing, run, false, counted_units(run.size()) + " that the dump does not hold",
            "no byte of the dump stands for these addresses")
            .hides = may_hide;
        if (block == next_ && next_may_be_head(block)) { hides_newer_ones(); }
        unit = run.end;
    }
}

/// With units of it missing: may it have been the head, with entries newer than those of the block before it?
bool DamageFinder::next_may_be_head(uint32_t block) const {
    const DumpStamp& stamp = decoded_.stamps[block];
    if (stamp.counts) { return !stamp.is_read; } // cuts may have left blank units before its first entry
    // With entries of the turn before it is the oldest block.
    return std::ranges::none_of(decoded_.entries, [&](const DumpEntry& entry) { return entry.block == block; });
}

/// Do entries stand in it under the number that it has as the next head? Asked with the stamp that it would have then.
bool DamageFinder::is_next_head(uint32_t block) const {
    const size_t at = size_t{block} * shape_.block_units * shape_.unit_bytes;
    if (size_t{shape_.block_units} * shape_.unit_bytes < 16) { return false; }
    std::vector<uint8_t> copy(view_.bytes.begin(), view_.bytes.end());
    size_t to = at;
    const auto put = [&](uint32_t value, unsigned count) {
        for (unsigned i = 0; i < count; i++) { copy[to++] = static_cast<uint8_t>(value >> 8 * i); }
    };
    const uint32_t steps = (block + shape_.blocks - decoded_.head) % shape_.blocks;
    put(0x10 + shape_.check_bits / 8, 1);
    for (const uint32_t value : {shape_.unit_bytes, shape_.blocks, shape_.block_units}) { put(value, 2); }
    put(decoded_.sequence + steps, 4);
    put(0, 3);
    put(format_check(16)(0xFFFF0000U, copy.data() + at, 14) >> 16, 2);
    return decode({shape_, copy, view_.faulting, view_.check}).head == block;
}

/// The block behind the head, where its stamp does not count: what was put last may have stood there, and the head be
/// no more than the block before it. False if that cannot be.
bool DamageFinder::lost_next(uint32_t block) {
    const UnitRun stamp{block, 0, std::min(first_unit_, shape_.block_units)};
    const UnitRun behind{block, stamp.end, shape_.block_units};
    if (decoded_.stamps[block].counts || !next_may_be_head(block)) { return false; }
    if (any(stamp, UnitKind::faulting)) { return true; } // said already
    const bool newer = is_next_head(block);
    if (decoded_.pending == block && !newer) { return false; }
    const auto has = [&](const UnitRun& run) {
        return any(run, UnitKind::bad) || any(run, UnitKind::unread) || any(run, UnitKind::pad) ||
               any(run, UnitKind::faulting) || any(run, UnitKind::stamp);
    };
    const auto bit = stamp_bit(block);
    const std::string turned =
        bit ? fmt::format("bit {} of byte {} turned round makes its check code right", *bit % 8, *bit / 8) : "";
    if (!has(behind) && bit) {
        add(Cause::rot, stamp, false, "one bit of a stamp",
            turned + "; nothing stands behind it, so only its erase count is lost");
        return true;
    }
    const std::string may = "; it is the next behind the head, so what was put last may have stood in it";
    if (!has(behind) && !has(stamp)) {
        add(Cause::erased, {block, 0, shape_.block_units}, false, "a blank block without a stamp",
            "the store stamps a block right after its erase, and no mark says that an erase was under way" + may);
    } else {
        const std::string text = text_in(bytes(stamp));
        const Cause cause = bit ? Cause::rot : text.empty() ? Cause::unclear : Cause::overwritten;
        const std::string why = bit            ? turned
                                : !has(stamp)  ? "it reads blank"
                                : text.empty() ? "more than one bit of it differs"
                                               : fmt::format("it holds the text \"{}\"", text);
        add(cause, stamp, false, bit ? "one bit of a stamp" : "a stamp that is not whole",
            why + (newer ? "; entries of a newer head stand behind it, and without it neither this reader nor a "
                           "firmware takes them: the values shown are those before"
                         : may));
    }
    hides_newer_ones();
    return true;
}

void DamageFinder::lost_stamp(uint32_t block) {
    const UnitRun run{block, 0, std::min(first_unit_, shape_.block_units)};
    if (any(run, UnitKind::faulting)) { return; } // said already
    const bool blank = !any(run, UnitKind::bad) && !any(run, UnitKind::pad);
    const bool empty = blank && !any({block, first_unit_, shape_.block_units}, UnitKind::entry) &&
                       !any({block, first_unit_, shape_.block_units}, UnitKind::bad);
    if (empty) {
        add(Cause::erased, {block, 0, shape_.block_units}, false, "a blank block without a stamp",
            "the store stamps a block right after its erase, and no mark says that an erase was under way")
            .hides = true;
        return;
    }
    const std::string number = "; its number follows from its neighbours', so only its erase count is lost";
    if (blank) {
        add(Cause::unclear, run, false, "a stamp that reads blank", "entries stand behind it" + number);
    } else if (const auto bit = stamp_bit(block)) {
        add(Cause::rot, run, false, "one bit of a stamp",
            fmt::format("bit {} of byte {} turned round makes its check code right{}", *bit % 8, *bit / 8, number));
    } else {
        const std::string text = text_in(bytes(run));
        add(text.empty() ? Cause::unclear : Cause::overwritten, run, false, "a stamp that is not whole",
            (text.empty() ? "more than one bit of it differs" : fmt::format("it holds the text \"{}\"", text)) +
                number);
    }
}

std::optional<size_t> DamageFinder::stamp_bit(uint32_t block) const {
    const auto at = size_t{block} * shape_.block_units * shape_.unit_bytes;
    if (size_t{shape_.block_units} * shape_.unit_bytes < 16) { return std::nullopt; }
    std::array<uint8_t, 16> stamp{};
    std::ranges::copy(view_.bytes.subspan(at, 16), stamp.begin());
    for (size_t bit = 0; bit < 128; bit++) {
        stamp[bit / 8] ^= static_cast<uint8_t>(1U << bit % 8);
        const uint32_t code = format_check(16)(0xFFFF0000U, stamp.data(), 14) >> 16;
        if (code == static_cast<uint32_t>(stamp[14] | stamp[15] << 8)) { return bit; }
        stamp[bit / 8] ^= static_cast<uint8_t>(1U << bit % 8);
    }
    return std::nullopt;
}

void DamageFinder::waiting_block(uint32_t block) {
    UnitRun run{block, first_unit_, shape_.block_units};
    while (run.begin < run.end && label(block, run.begin).kind == UnitKind::blank) { run.begin++; }
    while (run.end > run.begin && label(block, run.end - 1).kind == UnitKind::blank) { run.end--; }
    const uint32_t steps = (block + shape_.blocks - decoded_.head) % shape_.blocks;
    const bool expected = decoded_.stamps[block].number == decoded_.sequence + steps;
    if (!expected) {
        add(Cause::unclear, {block, 0, shape_.block_units}, false, "a block with a number of no use",
            fmt::format("its stamp says number {}; in this ring it would wait for number {}",
                        decoded_.stamps[block].number, decoded_.sequence + steps));
        if (block == next_) { hides_newer_ones(); }
        return;
    }
    if (run.size() == 0 || !(any(run, UnitKind::unread) || any(run, UnitKind::pad))) { return; }
    const std::string text = text_in(bytes(run));
    const bool opened = block == next_in_ring(decoded_.head) && run.begin == first_unit_;
    // What stands there is newer than the head's entries. A block whose only full entry was lost is no head any more.
    const auto newest = [&] { out_.back().age = int64_t{shape_.blocks} << 32 | run.begin; };
    if (opened && one_bit(run, run.end, true) != 0) {
        newest();
    } else if (opened && text.empty() && run.size() <= 3 * longest_ + 2) {
        add(Cause::cut, run, true, counted_units(run.size()) + " at the beginning of a blank block",
            "the block is the next to be filled: the power went in the first thing that was put there");
        newest();
    } else {
        add(Cause::overwritten, run, false, counted_units(run.size()) + " in a block that waits erased",
            text.empty() ? "the store puts nothing there before the block is the head"
                         : fmt::format("they hold the text \"{}\"", text));
        if (block == next_) { hides_newer_ones(); } // a head's only entries may have stood there
    }
}

void DamageFinder::lost_block(uint32_t block) {
    const UnitRun whole{block, 0, shape_.block_units};
    if (any(whole, UnitKind::faulting)) { return; } // said already
    const bool blank = !any(whole, UnitKind::unread) && !any(whole, UnitKind::pad) && !any(whole, UnitKind::stamp);
    add(blank ? Cause::erased : Cause::overwritten, whole, false,
        blank ? "a blank block without a stamp" : "a block whose stamp is not this ring's",
        blank ? "the store stamps a block right after its erase, and no mark says that an erase was under way"
              : "the store stamps a block right after its erase, and what stands here is no stamp of it");
}

void DamageFinder::whole_area() {
    const size_t blocks = shape_.blocks;
    const UnitRun first{0, 0, shape_.block_units};
    const auto add_all = [&](Cause cause, bool harmless, std::string what, std::string why) {
        Damage& damage = add(cause, first, harmless, std::move(what), std::move(why));
        damage.units = static_cast<uint32_t>(units_.size());
        damage.hides = !harmless;
    };
    const auto has = [&](UnitKind kind) {
        return std::ranges::any_of(units_, [&](const UnitMark& unit) { return unit.kind == kind; });
    };
    const auto areas = find_areas(view_.bytes, shape_.blank);
    const bool zero =
        std::ranges::any_of(decoded_.stamps, [](const DumpStamp& s) { return s.counts && s.number == 0; });
    if (zero) {
        add_all(Cause::cut, true, "a format that was cut", "a stamp with number 0 stands only while a format runs");
    } else if (decoded_.contents == Contents::foreign && !areas.empty()) {
        const AreaShape& other = areas.front().shape;
        add_all(Cause::shape, false, "a ring of another shape",
                fmt::format("{} stamp{} of {} blocks of {} units of {} bytes, check code of {} bits",
                            areas.front().stamps.size(), areas.front().stamps.size() == 1 ? "" : "s", other.blocks,
                            other.block_units, other.unit_bytes, other.check_bits));
    } else if (has(UnitKind::faulting)) {
        add_all(Cause::missing, false, "too little of the area to read a ring", "see what is missing");
    } else if (decoded_.contents == Contents::foreign) {
        const std::string text = text_in(view_.bytes);
        add_all(Cause::overwritten, false, "no stamp of a store in the whole area",
                text.empty() ? fmt::format("none of its {} blocks begins with a stamp", blocks)
                             : fmt::format("it holds the text \"{}\"", text));
    } else if (!has(UnitKind::stamp)) {
        add_all(Cause::erased, false, "the whole area is blank", "it was never formatted, or erased since");
    } else {
        add_all(Cause::unclear, false, "stamps, and no entry that counts",
                "a format did not come to its end, or what it ends with was lost");
    }
    for (uint32_t block = 0; block < blocks; block++) { missing_in(block); }
}

std::string_view name_of(Cause cause) {
    constexpr std::array<std::string_view, cause_count> names{"power cut", "worn block",    "bit rot", "overwritten",
                                                              "erased",    "another shape", "missing", "unclear"};
    return names[static_cast<size_t>(cause)];
}

std::vector<Damage> find_damage(const AreaView& view, const Decoded& decoded, const std::vector<UnitMark>& units,
                                const RecordLabels& labels, size_t tries_max) {
    return DamageFinder(view, decoded, units, labels, tries_max).find();
}

} // namespace perdure
