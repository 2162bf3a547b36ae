// A simulated flash for exhaustive work: it can be wound back to any earlier state, knows every way in which its weak
// units may read at a start, and gives its state a hash, so that equal states are met once.
//
// The same fault model as flash.hpp, taken as a finite set instead of by chance. Where a unit has more torn states than
// can be tried, a fixed covering set stands for them: nothing, all, either half of the bytes, either half of the bits
// (every other one), all but the first bit and, where other bytes were tried before, both together.
#pragma once

#include <array>
#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "flash/geometry.hpp"
#include "flash/state_hash.hpp"

namespace perdure {

/// What a device does when its power is cut, beyond its geometry. Each is a flag, so that a claim can say what it
/// covers.
struct CutDevice {
    bool weak = true;                 ///< hit units may read otherwise at each start; off: the first reading stays
    bool torn_bits = true;            ///< a cut program may leave some of its bits
    bool all_torn_bits = true;        ///< every way of the covering set; off: one of them stands for all
    bool torn_erase_old = true;       ///< a cut erase may leave old contents readable, in all or half of the block
    bool erase_programs_first = true; ///< a cut erase may leave every bit programmed
    bool undecided = false;           ///< a weak unit may read differently from one read to the next within one start
    bool collateral = false;          ///< a cut program may damage the unit before it in the same block
    bool blank_faults = false;        ///< reading a unit that is erased faults
    bool late_decay = false; ///< the blank unit programmed last verified, and may read torn from the next start on
    uint32_t programs_a_unit_max =
        0; ///< between erases, cut ones and constant ones over weak units included; below 8; 0: no limit
    uint32_t failing_block = 0xFFFFFFFF;
    bool failing_program = false; ///< programs of failing_block fail
    bool failing_erase = false;   ///< erases of failing_block fail
};

/// What a weak unit reads as at one start.
enum class Reading : uint8_t {
    blank,
    complete,
    before,
    first_half,
    last_half,
    even_bits,
    odd_bits,
    all_but_one,
    both,
    fault
};
constexpr unsigned reading_kinds = 10;

/// What a block whose erase was cut reads as at one start.
enum class TornErase : uint8_t {
    as_before,
    blank,
    all_programmed,
    rubbish,
    front_blank,
    back_blank,
    only_stamp,
    fault
};
constexpr unsigned torn_erase_kinds = 8;

std::string_view name_of(Reading reading);
std::string_view name_of(TornErase reading);

class ForkingFlash {
public:
    ForkingFlash(const FlashGeometry& geometry, const CutDevice& device);

    [[nodiscard]] const FlashGeometry& geometry() const { return geometry_; }
    [[nodiscard]] const CutDevice& device() const { return device_; }
    /// From now on; part of no hash, so use one for a whole search.
    void set_device(const CutDevice& device) { device_ = device; }

    // --- as the store sees it -------------------------------------------------------------------------------------
    bool read(uint32_t address, uint8_t* to, uint32_t bytes) const {
        if (slow_reads_) [[unlikely]] { return read_slow(address, to, bytes); }
        copy(to, now_.data() + address, bytes);
        return true;
    }
    bool program(uint32_t address, const uint8_t* from);
    bool erase(uint32_t block);

    // --- the cuts ---------------------------------------------------------------------------------------------------
    /// The power goes inside this program or erase.
    void cut_program(uint32_t address, const uint8_t* from);
    void cut_erase(uint32_t block);

    /// In how many ways the weak units may read together at a start; 1 without any. Saturates at 2^32.
    [[nodiscard]] uint64_t ways_to_read();
    /// The power returns: way `which` (below ways_to_read()). Way 0 gives each its first reading.
    void power_up(uint64_t which);
    /// How the unit or block that was hit last reads at this start: a Reading, or reading_kinds + a TornErase.
    [[nodiscard]] unsigned last_hit_reading() const;
    /// The readings of this start as a number that does not depend on which of them there are (modulo 2^64).
    [[nodiscard]] uint64_t reading_code() const { return reading_code_; }
    /// Some weak unit reads at this start as bytes that are neither blank nor complete nor as before.
    [[nodiscard]] bool reads_torn() const { return reads_torn_; }
    /// Every weak unit and torn block with its reading at this start: "1:7 first half, block 0 as before".
    [[nodiscard]] std::string readings() const;

    // --- winding back -----------------------------------------------------------------------------------------------
    struct Mark {
        size_t entries;
        StateHash hash, reading_hash;
        uint32_t weak_units, torn_blocks, faults, last_hit, decaying;
    };
    [[nodiscard]] Mark mark() const;
    void undo(const Mark& mark);
    /// Marks made before are void from now on.
    void forget_marks() {
        saved_.clear();
        saved_bytes_.clear();
    }

    /// Of everything that may ever be read; of the readings at this start.
    [[nodiscard]] StateHash state_hash() const { return hash_; }
    [[nodiscard]] StateHash reading_hash() const { return reading_hash_; }

    [[nodiscard]] const std::vector<uint8_t>& image() const { return now_; }
    [[nodiscard]] const std::vector<uint8_t>& faulting() const { return fault_; } ///< by unit
    [[nodiscard]] bool any_fault() const { return faults_ != 0; }
    [[nodiscard]] uint32_t weak_units() const { return weak_units_; }
    [[nodiscard]] uint64_t programs() const { return programs_; }
    [[nodiscard]] uint64_t erases() const { return erases_; }
    /// What the store did against the rules of the part; empty: nothing.
    [[nodiscard]] const std::string& breach() const { return breach_; }
    void forget_breach() { breach_.clear(); }

private:
    enum class State : uint8_t { untouched, trusted, weak };
    struct Unit {
        State state = State::untouched;
        uint8_t reading = 0;     ///< weak: number of the reading at this start
        bool fresh = false;      ///< weak: a cut program of an erased unit; the same bytes again make it trusted
        bool after_tear = false; ///< programmed since the erase of its block was cut: the tear does not show in it
        uint16_t readings = 0;   ///< weak: set of Reading
        uint8_t programs = 0;    ///< since the erase, those that were cut too
    };
    struct Block {
        bool torn = false;
        uint8_t reading = 0;
    };
    struct Saved {
        uint32_t unit; ///< or block, with the upper bit
        Unit state;
        Block block;
        uint8_t fault;
        StateHash hash;
    };

    static constexpr uint32_t block_bit = 0x80000000U; ///< a number of a block, where units have theirs
    static constexpr uint16_t bit(Reading reading) {
        return static_cast<uint16_t>(1U << static_cast<unsigned>(reading));
    }
    static constexpr uint16_t bit(TornErase reading) {
        return static_cast<uint16_t>(1U << static_cast<unsigned>(reading));
    }
    static void copy(uint8_t* to, const uint8_t* from, uint32_t bytes);
    bool read_slow(uint32_t address, uint8_t* to, uint32_t bytes) const;
    uint8_t* aim(uint32_t unit) { return pair_.data() + size_t{unit} * 2 * unit_bytes_; }
    uint8_t* before(uint32_t unit) { return aim(unit) + unit_bytes_; }
    uint8_t* now(uint32_t unit) { return now_.data() + size_t{unit} * unit_bytes_; }
    void keep(uint32_t unit);
    void keep_block(uint32_t block);
    void rehash(uint32_t unit);
    void rehash_block(uint32_t block);
    void set_fault(uint32_t unit, bool fault);
    void set_state(uint32_t unit, State state);
    void let_decay(uint32_t unit);
    void make_weak(uint32_t unit, const uint8_t* from, uint16_t readings);
    void drop_equal_readings(uint32_t unit);
    [[nodiscard]] uint16_t torn_readings(bool over) const;
    bool make(uint32_t unit, Reading reading, uint8_t* to) const;
    bool make_torn(uint32_t unit, TornErase reading, uint8_t* to) const;
    [[nodiscard]] uint16_t torn_erase_readings() const;
    [[nodiscard]] bool reads_blank(uint32_t unit) const;
    bool break_rule(std::string what, uint32_t unit);
    bool count_program(uint32_t unit);
    void settle();
    void update_slow() { slow_reads_ = faults_ != 0 || device_.undecided || device_.blank_faults; }

    FlashGeometry geometry_;
    CutDevice device_;
    uint32_t unit_bytes_, units_per_block_, units_;
    std::vector<uint8_t> now_;   ///< the area as it reads at this start
    std::vector<uint8_t> pair_;  ///< weak units: what was being programmed, and what was tried or stood there before
    std::vector<uint8_t> fault_; ///< by unit, at this start
    std::vector<Unit> unit_;
    std::vector<Block> block_;
    std::vector<StateHash> unit_hash_, block_hash_;
    std::vector<Saved> saved_;
    std::vector<uint8_t> saved_bytes_; ///< three units for each of saved_
    StateHash hash_, reading_hash_;
    uint32_t weak_units_ = 0, torn_blocks_ = 0, faults_ = 0;
    uint32_t last_hit_ = 0;          ///< unit, or block with the upper bit
    uint32_t decaying_ = 0xFFFFFFFF; ///< unit that late_decay is about
    uint64_t reading_code_ = 0;
    bool reads_torn_ = false;
    bool slow_reads_ = false;
    mutable std::vector<uint8_t> scratch_; ///< one unit a reading
    mutable uint32_t toggle_ = 0;
    uint64_t programs_ = 0, erases_ = 0;
    std::string breach_;
};

} // namespace perdure
