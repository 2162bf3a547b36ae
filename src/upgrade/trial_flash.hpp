// The flash of a trial: a forking flash that a store works on, whose power goes at a chosen operation.
#pragma once

#include <functional>

#include "flash/flash.hpp"
#include "flash/forking.hpp"
#include "upgrade/releases.hpp"

namespace perdure {

/// When the supply fails, in the operation it falls on: the store may then save one record, and the operation is still
/// done behind that, was torn, or is done already.
enum class SupplyFails { before, torn, behind };

struct TrialFlash {
    explicit TrialFlash(const FlashGeometry& geometry) : flash(geometry, CutDevice{}) {}

    ForkingFlash flash;
    uint64_t operations = 0; ///< programs and erases asked for since power was there
    uint64_t cut_at = never; ///< the power goes in this one, counted from 0
    bool dark = false;

    static constexpr uint64_t never = UINT64_MAX;

    [[nodiscard]] FlashCalls calls();
    /// The power is there, and goes in operation `cut`.
    void power(uint64_t cut = never) {
        operations = 0;
        cut_at = cut;
        dark = false;
        failed = false;
        fails_at_ = never;
    }
    /// The supply fails at operation `at`: `save` is called once. What is torn reads in way `way`, modulo those there
    /// are.
    void fail_at(uint64_t at, SupplyFails when, uint64_t way, std::function<void()> save) {
        fails_at_ = at;
        when_ = when;
        way_ = way;
        save_ = std::move(save);
    }
    bool failed = false; ///< it did

    /// A program or an erase that the store asks for: `whole` does it, `torn` leaves it half done.
    bool operation(const std::function<bool()>& whole, const std::function<void()>& torn);

private:
    uint64_t fails_at_ = never;
    SupplyFails when_ = SupplyFails::before;
    uint64_t way_ = 0;
    std::function<void()> save_;
};

/// The calls of a plain simulated flash.
FlashCalls calls_of(Flash& flash);

} // namespace perdure
