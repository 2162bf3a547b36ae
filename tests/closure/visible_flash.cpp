#include "tests/closure/visible_flash.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace perdure::tiny {

bool is_of(Tear tear, bool erase, bool every) {
    if (!every && (tear == Tear::front || tear == Tear::back || tear == Tear::odd || tear == Tear::all_but_one)) {
        return false;
    }
    switch (tear) {
    case Tear::all_programmed:
    case Tear::only_stamp:
        return erase;
    case Tear::all_but_one:
    case Tear::odd:
        return !erase;
    default:
        return true;
    }
}

void VisibleFlash::begin(uint32_t at, Tear tear) {
    off_ = false;
    operations = 0;
    cut_at_ = at;
    tear_ = tear;
}

/// The bits of that byte, of so many, that the operation that was cut has reached.
uint8_t VisibleFlash::reached(uint32_t byte, uint32_t bytes) const {
    const uint32_t stamp_bytes = (16 + unit_bytes - 1) / unit_bytes * unit_bytes;
    switch (tear_) {
    case Tear::not_begun:
        return 0;
    case Tear::front:
        return byte < bytes / 2 ? 0xFF : 0;
    case Tear::back:
        return byte >= bytes / 2 ? 0xFF : 0;
    case Tear::even:
        return 0x55;
    case Tear::odd:
        return 0xAA;
    case Tear::all_but_one:
        return byte + 1 == bytes ? 0x7F : 0xFF;
    case Tear::only_stamp:
        return byte < stamp_bytes ? 0 : 0xFF;
    default:
        return 0xFF;
    }
}

bool VisibleFlash::operation(uint32_t address, const uint8_t* unit) {
    if (off_) { return false; }
    const bool cut = operations == cut_at_;
    const bool erase = unit == nullptr;
    operations++;
    last_is_erase = erase;
    const uint32_t bytes = erase ? block_bytes : unit_bytes;
    const auto programmed = static_cast<uint8_t>(~blank);
    uint8_t* now = image.data() + address;
    if (!erase) {
        const bool pad = std::all_of(unit, unit + bytes, [&](uint8_t byte) { return byte == programmed; });
        const bool fresh = std::all_of(now, now + bytes, [&](uint8_t byte) { return byte == blank; });
        if (!pad && !fresh && wrong.empty()) {
            wrong = fmt::format("unit {} is programmed twice", address / unit_bytes);
        }
    }
    for (uint32_t i = 0; i < bytes; i++) {
        uint8_t aim = cut && tear_ == Tear::all_programmed ? programmed : blank;
        if (!erase) { // bits only go one way
            aim = blank == 0xFF ? static_cast<uint8_t>(now[i] & unit[i]) : static_cast<uint8_t>(now[i] | unit[i]);
        }
        const uint8_t mask = cut ? reached(i, bytes) : uint8_t{0xFF};
        now[i] = static_cast<uint8_t>((now[i] & ~mask) | (aim & mask));
    }
    off_ = cut;
    return !cut;
}

} // namespace perdure::tiny
