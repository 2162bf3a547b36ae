// The flash of a trial: a forking flash that a store works on, whose power goes at a chosen operation.
#pragma once

#include "flash/flash.hpp"
#include "flash/forking.hpp"
#include "upgrade/releases.hpp"

namespace perdure {

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
    }
};

/// The calls of a plain simulated flash.
FlashCalls calls_of(Flash& flash);

} // namespace perdure
