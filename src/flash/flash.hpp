// A simulated flash memory that keeps its rules, counts what was done to it, and can lose its supply in the middle of
// an operation.
//
// Fault model. A cut operation leaves weak units, which at each later start may read differently; readings are stable
// within one run.
// - A cut program of a blank unit reads blank, complete, or as any subset of its bits; under ECC the last is mostly a
// fault. The same bytes
//   programmed again in full make it trusted.
// - Other bytes over a weak unit that reads blank verify now and are weak from then on: complete, any subset, or a
// fault.
// - All bits programmed over a weak unit: that or bits between, never again what stood there.
// - A cut erase leaves its block, as a whole or unit by unit, as it was, blank, with all bits programmed, or anything
// between. What is
//   programmed there verifies now and is weak until the block is erased in full.
// - A cut program over a weak unit adds its bytes to what that unit may read.
// Not modelled: wear that makes a block fail by itself (see fail_block), bits that flip with age, disturbed neighbours
// (forking.hpp has both as flags).
#pragma once

#include <cstdint>
#include <cstring>
#include <random>
#include <string>
#include <unordered_map>
#include <vector>

#include "flash/geometry.hpp"

namespace perdure {

enum class FlashResult : uint8_t {
    ok,
    fault,     ///< a read met a unit that its ECC cannot correct
    refused,   ///< a rule was broken; nothing was done; see Flash::refusal()
    failed,    ///< the block is at the end of its life
    power_cut, ///< the supply is gone; nothing more happens until power_up()
};

/// Which outcomes of a cut may occur. All are on unless switched off.
struct Cuts {
    bool garbage = true;      ///< torn units may read as some of their bits, or fault
    bool weak_program = true; ///< a torn program may read otherwise at each start; off: the first reading stays
    bool weak_erase = true;   ///< a torn erase may leave old contents readable
};

struct FlashCounters {
    uint64_t programs = 0;
    uint64_t erases = 0; ///< ring blocks
    uint64_t reads = 0;
    uint64_t refused = 0;
};

/// What was done to a flash, in order, with the bytes that were programmed one unit after the other. Operations that
/// were refused, or ended in a fault or a cut, are in it too.
struct FlashRecording {
    enum class Kind : uint8_t { program, read, erase };
    struct Operation {
        Kind kind;
        uint32_t address; ///< of an erase: the block
        uint32_t bytes;
    };
    std::vector<Operation> operations;
    std::vector<uint8_t> programmed;
};

class Flash {
public:
    /// All units blank, no wear.
    Flash(const FlashGeometry& geometry, const FlashCosts& costs, const Cuts& cuts = {});

    [[nodiscard]] const FlashGeometry& geometry() const { return geometry_; }

    /// Programs the unit at byte `address` (from the area's start) with `bytes` bytes, one whole unit.
    FlashResult program(uint32_t address, const uint8_t* from, uint32_t bytes) {
        const uint32_t unit = unit_at(address);
        if (bytes == unit_bytes_ && unit != no_unit && !special_ && !programmed_[unit]) [[likely]] {
            programmed_[unit] = 1;
            copy_unit(data_.data() + address, from);
            counters_.programs++;
            return FlashResult::ok;
        }
        return program_slow(address, from, bytes);
    }

    FlashResult read(uint32_t address, uint8_t* to, uint32_t bytes) const {
        counters_.reads++;
        if (uint64_t{address} + bytes > data_.size() || read_special_) [[unlikely]] {
            return read_slow(address, to, bytes);
        }
        if (bytes == 8) {
            std::memcpy(to, data_.data() + address, 8);
        } else {
            std::memcpy(to, data_.data() + address, bytes);
        }
        return FlashResult::ok;
    }

    /// Erases ring block `block`, each of its erase blocks.
    FlashResult erase(uint32_t block);

    /// The supply fails during the operation (program or erase) that follows `operations` whole ones.
    void cut_after(uint64_t operations) {
        cut_in_ = operations;
        armed_ = true;
        special_ = true;
    }
    void disarm() {
        armed_ = false;
        update_special();
    }
    [[nodiscard]] bool is_cut() const { return dead_; }
    /// The supply returns: each weak unit shows one of its readings for this run. `random` decides, at equal chances.
    void power_up(std::mt19937_64& random);

    /// From now on every erase and program of this ring block fails.
    void fail_block(uint32_t block) {
        failing_[block] = 1;
        special_ = true;
        any_failing_ = true;
    }

    /// From now on every operation is added to `to`; null ends that.
    void record(FlashRecording* to) {
        recording_ = to;
        update_special();
    }

    /// Why the last refused operation was refused, with address and unit; empty when none was.
    [[nodiscard]] const std::string& refusal() const { return refusal_; }

    [[nodiscard]] const FlashCounters& counters() const { return counters_; }
    [[nodiscard]] const std::vector<uint32_t>& erases_per_block() const { return wear_; }
    /// Time spent programming and erasing, at the given costs.
    [[nodiscard]] double busy_us() const {
        return double(counters_.programs) * costs_.program_us + double(counters_.erases) * erase_us_;
    }
    /// Energy of that time at program_ma and vdd_v.
    [[nodiscard]] double energy_mj() const { return busy_us() * 1e-6 * costs_.program_ma * costs_.vdd_v; }
    /// The area as it reads now. Faulting units show their last bytes.
    [[nodiscard]] const std::vector<uint8_t>& image() const { return data_; }
    /// Loads an image of the area's size as if it had been programmed; wear and weak units are forgotten.
    void load(const std::vector<uint8_t>& image);

private:
    /// What a weak unit may read at a start, as bits of a set.
    enum Reading : uint8_t { reads_blank_ = 1, reads_aim = 2, reads_before = 4, reads_full = 8, reads_mixed = 16 };
    struct WeakUnit {
        uint8_t readings = 0;        ///< set of Reading
        bool only_program = false;   ///< a cut program of a blank unit: the same bytes again make it trusted
        bool torn_erase = false;     ///< the charge of every bit is open, not only of those programmed
        bool settled = false;        ///< reads as it does now until it is erased
        bool fault = false;          ///< in this run
        std::vector<uint8_t> aim;    ///< what was being programmed
        std::vector<uint8_t> before; ///< what stood there before that, or before the erase
    };
    static constexpr uint32_t no_unit = 0xFFFFFFFFU;

    [[nodiscard]] uint32_t unit_at(uint32_t address) const {
        if (shift_ != 0xFF) [[likely]] {
            return (address & (unit_bytes_ - 1)) == 0 && address < data_.size() ? address >> shift_ : no_unit;
        }
        // Exact division by a multiplication: true for every address below 2^32 and unit below 2^16.
        const auto unit =
            static_cast<uint32_t>((__extension__ static_cast<unsigned __int128>(address) * reciprocal_) >> 64);
        return unit * unit_bytes_ == address && address < data_.size() ? unit : no_unit;
    }
    void copy_unit(uint8_t* to, const uint8_t* from) const {
        if (unit_bytes_ == 8) {
            std::memcpy(to, from, 8);
        } else if (unit_bytes_ == 6) {
            std::memcpy(to, from, 6);
        } else {
            std::memcpy(to, from, unit_bytes_);
        }
    }
    FlashResult program_slow(uint32_t address, const uint8_t* from, uint32_t bytes);
    FlashResult read_slow(uint32_t address, uint8_t* to, uint32_t bytes) const;
    FlashResult refuse(std::string why) const;
    [[nodiscard]] std::string why_not_programmable(uint32_t unit, const uint8_t* from) const;
    FlashResult program_over(uint32_t unit, const uint8_t* from);
    void cut_program(uint32_t unit, const uint8_t* from);
    void cut_erase(uint32_t block);
    void lose_supply();
    void show(uint32_t unit, WeakUnit& weak, unsigned outcome, std::mt19937_64& random);
    void show_mixed(uint32_t unit, WeakUnit& weak, std::mt19937_64& random);
    void settle();
    [[nodiscard]] bool reads_blank(uint32_t unit) const;
    [[nodiscard]] bool all_programmed(const uint8_t* from) const;
    [[nodiscard]] std::string place(uint32_t unit) const;
    void update_special() {
        special_ = armed_ || dead_ || any_failing_ || !weak_.empty() || recording_ != nullptr;
        read_special_ = dead_ || faults_ || recording_ != nullptr;
    }

    FlashGeometry geometry_;
    FlashCosts costs_;
    Cuts cuts_;
    uint32_t unit_bytes_;
    uint32_t units_per_block_;
    double erase_us_;
    uint8_t shift_ = 0xFF;
    uint64_t reciprocal_ = 0;
    std::vector<uint8_t> data_;
    std::vector<uint8_t> programmed_; ///< by unit
    std::vector<uint32_t> wear_;
    std::vector<uint8_t> failing_;                ///< by ring block
    std::unordered_map<uint32_t, WeakUnit> weak_; ///< by unit
    mutable FlashCounters counters_;
    uint64_t cut_in_ = 0;
    bool armed_ = false, dead_ = false, any_failing_ = false;
    bool faults_ = false;       ///< some weak unit faults in this run
    bool special_ = false;      ///< anything that the fast path of program must not pass by
    bool read_special_ = false; ///< the same for read
    mutable std::string refusal_;
    FlashRecording* recording_ = nullptr;
};

} // namespace perdure
