#include "upgrade/trial_flash.hpp"

namespace perdure {
namespace {

bool trial_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    auto& trial = *static_cast<TrialFlash*>(context);
    return !trial.dark && trial.flash.read(address, static_cast<uint8_t*>(to), bytes);
}

bool trial_program(void* context, uint32_t address, const void* unit) {
    auto& trial = *static_cast<TrialFlash*>(context);
    // The store's buffer, which a save takes for itself.
    const auto* bytes = static_cast<const uint8_t*>(unit);
    const std::vector<uint8_t> latched(bytes, bytes + trial.flash.geometry().unit_bytes);
    return trial.operation([&] { return trial.flash.program(address, latched.data()); },
                           [&] { trial.flash.cut_program(address, latched.data()); });
}

bool trial_erase(void* context, uint32_t block) {
    auto& trial = *static_cast<TrialFlash*>(context);
    return trial.operation([&] { return trial.flash.erase(block); }, [&] { trial.flash.cut_erase(block); });
}

bool plain_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    return static_cast<Flash*>(context)->read(address, static_cast<uint8_t*>(to), bytes) == FlashResult::ok;
}

bool plain_program(void* context, uint32_t address, const void* unit) {
    auto& flash = *static_cast<Flash*>(context);
    return flash.program(address, static_cast<const uint8_t*>(unit), flash.geometry().unit_bytes) == FlashResult::ok;
}

bool plain_erase(void* context, uint32_t block) {
    return static_cast<Flash*>(context)->erase(block) == FlashResult::ok;
}

} // namespace

bool TrialFlash::operation(const std::function<bool()>& whole, const std::function<void()>& torn) {
    if (dark) { return false; }
    const uint64_t number = operations++;
    if (number == cut_at) {
        dark = true;
        torn();
        return false;
    }
    if (number != fails_at_) { return whole(); }
    failed = true;
    fails_at_ = never; // the save's own operations are like any others
    const bool done = when_ == SupplyFails::behind && whole();
    if (when_ == SupplyFails::torn) {
        torn();
        flash.power_up(way_ % flash.ways_to_read());
    }
    save_();
    return when_ == SupplyFails::before ? whole() : done;
}

FlashCalls TrialFlash::calls() {
    return {this, trial_read, trial_program, trial_erase};
}

FlashCalls calls_of(Flash& flash) {
    return {&flash, plain_read, plain_program, plain_erase};
}

} // namespace perdure
