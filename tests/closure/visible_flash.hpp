// A flash whose cut operations leave what they leave for good, in one of several ways: the closure's own, which shares
// nothing with src/flash.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace perdure::tiny {

/// What a cut leaves of a program or an erase. The first are of both.
enum class Tear : uint8_t {
    not_begun,
    complete,
    all_programmed,
    front,
    back,
    even,
    odd,
    all_but_one,
    only_stamp,
    kinds
};

/// Can a cut leave `tear` of an erase, or of a program? Without `every`, one torn state of a unit stands for all, and
/// three of a block.
bool is_of(Tear tear, bool erase, bool every);

struct VisibleFlash {
    uint32_t unit_bytes = 0, block_bytes = 0;
    uint8_t blank = 0xFF;
    std::vector<uint8_t> image;
    std::string wrong; ///< what was asked for against the rules of the part; empty: nothing

    uint32_t operations = 0;    ///< asked for since begin()
    bool last_is_erase = false; ///< of the last one that was asked for with power

    /// A run begins, in which the power goes in operation number `at`, if it comes so far.
    void begin(uint32_t at, Tear tear);
    /// A program of one unit, or an erase of the block (`unit` is null) at `address`. False once the power is gone.
    bool operation(uint32_t address, const uint8_t* unit);

private:
    [[nodiscard]] uint8_t reached(uint32_t byte, uint32_t bytes) const;

    uint32_t cut_at_ = UINT32_MAX;
    Tear tear_ = Tear::complete;
    bool off_ = false;
};

} // namespace perdure::tiny
