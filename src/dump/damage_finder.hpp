// What damage.cpp and damage_runs.cpp share: the area that is looked at, and what has been found in it so far.
#pragma once

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

#include "dump/damage.hpp"

namespace perdure {

/// The longest run of printable characters, where it is long enough to be taken for a text; else empty.
std::string text_in(std::span<const uint8_t> bytes);

/// "1 unit", "3 units".
std::string counted_units(size_t units);

/// Units [begin, end) of a block.
struct UnitRun {
    uint32_t block = 0, begin = 0, end = 0;
    [[nodiscard]] uint32_t size() const { return end - begin; }
};

class DamageFinder {
public:
    DamageFinder(const AreaView& view, const Decoded& decoded, const std::vector<UnitMark>& units,
                 const RecordLabels& labels, size_t tries)
        : view_(view), shape_(view.shape), decoded_(decoded), units_(units), labels_(labels), tries_(tries),
          first_unit_((16 + view.shape.unit_bytes - 1) / view.shape.unit_bytes) {
        for (const DumpEntry& entry : decoded.entries) {
            if (entry.restart) { shut_off_.emplace_back(entry.from, entry.age); }
            longest_ = std::max(longest_, entry.units);
        }
        if (decoded.contents == Contents::ring) { next_ = next_in_ring(decoded.head); }
        for (const auto& [id, label] : labels) {
            uint32_t bytes = 16; // more than head, length, restart and check code of any entry
            for (const RecordLabel::Field& field : label.fields) { bytes += field.bytes + 1; }
            longest_ = std::max(longest_, (bytes + shape_.unit_bytes - 1) / shape_.unit_bytes);
        }
    }

    std::vector<Damage> find() {
        if (decoded_.contents != Contents::ring) {
            whole_area();
        } else {
            for (uint32_t block = 0; block < shape_.blocks; block++) { look_at(block); }
        }
        return std::move(out_);
    }

private:
    [[nodiscard]] const UnitMark& label(uint32_t block, uint32_t unit) const {
        return units_[size_t{block} * shape_.block_units + unit];
    }
    [[nodiscard]] std::span<const uint8_t> bytes(const UnitRun& run) const {
        return view_.bytes.subspan((size_t{run.block} * shape_.block_units + run.begin) * shape_.unit_bytes,
                                   size_t{run.size()} * shape_.unit_bytes);
    }
    [[nodiscard]] bool any(const UnitRun& run, UnitKind kind) const {
        for (uint32_t unit = run.begin; unit < run.end; unit++) {
            if (label(run.block, unit).kind == kind) { return true; }
        }
        return false;
    }
    /// As of the entries (decode.cpp): in order of reading.
    [[nodiscard]] int64_t age(uint32_t block, uint32_t unit) const {
        const int64_t steps = (decoded_.head + shape_.blocks - block) % shape_.blocks;
        return (int64_t{shape_.blocks} - 1 - steps) << 32 | unit;
    }
    /// Has a start voided what stands here?
    [[nodiscard]] bool shut_off(int64_t at) const {
        return std::ranges::any_of(shut_off_,
                                   [&](const auto& range) { return range.first <= at && at < range.second; });
    }
    [[nodiscard]] uint32_t next_in_ring(uint32_t block) const {
        do { block = (block + 1) % shape_.blocks; } while (decoded_.set_aside(block) && block != decoded_.head);
        return block;
    }

    Damage& add(Cause cause, const UnitRun& run, bool harmless, std::string what, std::string why) {
        Damage damage;
        damage.cause = cause;
        damage.block = run.block;
        damage.unit = run.begin;
        damage.units = run.size();
        damage.age = age(run.block, run.begin);
        damage.harmless = harmless;
        damage.what = std::move(what);
        damage.why = std::move(why);
        out_.push_back(std::move(damage));
        return out_.back();
    }

    /// What was found last may have taken entries that are newer than all that can be read.
    void hides_newer_ones() {
        out_.back().hides = true;
        out_.back().age = int64_t{shape_.blocks} << 32;
    }

    [[nodiscard]] bool next_is_unread(uint32_t block) const { return !decoded_.stamps[next_in_ring(block)].is_read; }

    // Whole blocks: damage.cpp.
    void look_at(uint32_t block);
    void missing_in(uint32_t block);
    void lost_stamp(uint32_t block);
    bool lost_next(uint32_t block);
    [[nodiscard]] bool is_next_head(uint32_t block) const;
    [[nodiscard]] bool next_may_be_head(uint32_t block) const;
    [[nodiscard]] std::optional<size_t> stamp_bit(uint32_t block) const;
    void waiting_block(uint32_t block);
    void lost_block(uint32_t block);
    void whole_area();

    // Units between entries: damage_runs.cpp.
    void read_block(uint32_t block);
    /// A run between two entries, or before the block's end.
    void unclaimed(UnitRun run);
    void blank_run(const UnitRun& run, bool to_the_end);
    void pads_only(const UnitRun& run, bool to_the_end);
    /// Entries behind show that the power did not go here.
    void between_entries(UnitRun run, uint32_t next);
    uint32_t one_bit(const UnitRun& run, uint32_t next, bool followed);
    void not_one_bit(const UnitRun& run, const std::string& behind);
    void end_of_head(const UnitRun& run, bool blank_before);
    void end_of_block(const UnitRun& run);

    const AreaView& view_;
    const AreaShape& shape_;
    const Decoded& decoded_;
    const std::vector<UnitMark>& units_;
    const RecordLabels& labels_;
    size_t tries_;
    uint32_t first_unit_;
    uint32_t longest_ = 1;
    uint32_t next_ = UINT32_MAX;                        ///< of a ring: the block that is filled when the head is full
    std::vector<std::pair<int64_t, int64_t>> shut_off_; ///< ages from and to
    std::vector<Damage> out_;
};

} // namespace perdure
