#include "upgrade/trial_flash.hpp"

namespace perdure {
namespace {

bool trial_read(void* context, uint32_t address, void* to, uint32_t bytes) {
    auto& trial = *static_cast<TrialFlash*>(context);
    return !trial.dark && trial.flash.read(address, static_cast<uint8_t*>(to), bytes);
}

/// Is this operation done? False: the power goes in it, or went before.
bool powered(TrialFlash& trial, bool& hit) {
    if (trial.dark) { return false; }
    hit = trial.operations++ == trial.cut_at;
    trial.dark = hit;
    return !hit;
}

bool trial_program(void* context, uint32_t address, const void* unit) {
    auto& trial = *static_cast<TrialFlash*>(context);
    bool hit = false;
    if (powered(trial, hit)) { return trial.flash.program(address, static_cast<const uint8_t*>(unit)); }
    if (hit) { trial.flash.cut_program(address, static_cast<const uint8_t*>(unit)); }
    return false;
}

bool trial_erase(void* context, uint32_t block) {
    auto& trial = *static_cast<TrialFlash*>(context);
    bool hit = false;
    if (powered(trial, hit)) { return trial.flash.erase(block); }
    if (hit) { trial.flash.cut_erase(block); }
    return false;
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

FlashCalls TrialFlash::calls() {
    return {this, trial_read, trial_program, trial_erase};
}

FlashCalls calls_of(Flash& flash) {
    return {&flash, plain_read, plain_program, plain_erase};
}

} // namespace perdure
