// A flash memory that behaves as badly as real parts may after a power cut, and remembers enough to do so at every
// later start.
//
// A unit whose program or erase was cut is *weak*: at each start (restart()) it is given a new reading - blank,
// complete, what it held before, or rubbish (any of the bits to change; with ECC mostly a fault). What is programmed
// over a weak unit verifies well now and is weak again. Everything else stays as programmed. The power goes inside the
// operation number `cut_in` from now on: the call never returns to the store (longjmp), as on a real part.
#pragma once

#include "random.hpp"

#include <csetjmp>
#include <cstdint>
#include <string>
#include <vector>

namespace perdure::adversary {

/// What happens when all-programmed bytes (a pad before a restart entry) meet a unit that has been programmed before.
/// The store may do that; nothing else may be programmed over a unit that is not blank.
enum class PadOver { taken, refused, rubbish };

enum class UnitState : uint8_t {
    untouched,    ///< erased and never programmed since
    trusted,      ///< programmed, and the program returned
    weak_program, ///< the first program of an erased unit was cut
    weak,         ///< an erase, or a program over a weak unit, was cut
    weak_over,    ///< a program over a weak unit returned
};

struct WorstFlash {
    static constexpr uint32_t none = 0xFFFFFFFFu;

    uint32_t unit_bytes = 1;
    uint32_t block_units = 1;
    uint32_t blocks = 2;
    uint8_t blank = 0xFF;
    bool ecc = false; ///< rubbish reads mostly as a fault
    bool rubbish =
        true; ///< false: a torn unit is blank, complete or as before (with ECC: or a fault), never other bytes
    PadOver pad_over = PadOver::taken;
    uint32_t failing_block = none; ///< its programs and erases fail as the two flags say
    bool failing_program = false;
    bool failing_erase = false;
    bool never_change = false; ///< a program or an erase now is a breach (read-only open)
    bool starting = false;     ///< erases now count as erases at a start
    bool trace = false;        ///< prints each operation

    int64_t cut_in = -1;       ///< operations that still complete before the one that is cut; -1: no cut
    int64_t cut_at_erase = -1; ///< when the next erase begins, cut_in becomes this; -1: not armed
    std::string breach;        ///< what the store did against the rules of the part; empty: nothing
    std::jmp_buf power;        ///< where a cut and a breach lead

    uint64_t programs = 0;
    uint64_t erases = 0;
    uint64_t pads_over = 0; ///< pads programmed over units that were not erased
    uint64_t over_weak = 0; ///< other programs over weak units that read blank

    Random random;
    std::vector<uint8_t> now;            ///< what reads give at this start
    std::vector<uint8_t> other;          ///< weak units: what was being programmed, or stood there before an erase
    std::vector<uint8_t> older;          ///< weak units: one thing more that they may read as
    std::vector<UnitState> state;        ///< by unit
    std::vector<uint8_t> faulting;       ///< by unit: reads fault at this start
    std::vector<uint32_t> weak_list;     ///< units in a weak state
    std::vector<uint8_t> erase_torn;     ///< by block: what is programmed now is weak
    std::vector<uint32_t> wear;          ///< by block: completed erases
    std::vector<uint32_t> wear_at_start; ///< by block: those of them made while `starting`
    uint32_t faulting_count = 0;

    /// An erased area of the given shape.
    void shape(uint32_t bytes_a_unit, uint32_t units_a_block, uint32_t block_count, uint8_t blank_value);
    /// Power returns: every weak unit gets a reading for this start; no cut is armed.
    void restart();

    bool read(uint32_t address, uint8_t* to, uint32_t bytes) const;
    bool program(uint32_t address, const uint8_t* from);
    bool erase(uint32_t block);

    [[nodiscard]] bool reads_blank(uint32_t unit) const;

private:
    void break_rule(const char* what, uint32_t unit);
    void tear_bytes(uint32_t unit, const uint8_t* wanted);
    void read_as(uint32_t unit, const uint8_t* bytes);
    void set_fault(uint32_t unit, bool fault);
    void set_state(uint32_t unit, UnitState to);
    void program_cut(uint32_t unit, const uint8_t* from, bool blank_now);
    bool program_over(uint32_t unit, const uint8_t* from);
    void erase_cut(uint32_t block);
    uint8_t* at(std::vector<uint8_t>& bytes, uint32_t unit) { return bytes.data() + size_t{unit} * unit_bytes; }
};

} // namespace perdure::adversary
