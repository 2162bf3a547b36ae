// The releases of the store that this program carries, each an object of its own.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "project/default_bytes.hpp"
#include "project/layout.hpp"
#include "upgrade/release.h"

namespace perdure {

/// All of them, oldest first; the last is the present store.
const std::vector<const store_release*>& store_releases();

/// The release with that PERDURE_STORE_VERSION; null without one.
const store_release* find_release(int version);

/// "PERDURE_OK" and so on.
std::string name_of(release_status status);

/// What a store works on: the calls of a flash, each with its context.
struct FlashCalls {
    void* context = nullptr;
    bool (*read)(void* context, uint32_t address, void* to, uint32_t bytes) = nullptr;
    bool (*program)(void* context, uint32_t address, const void* unit) = nullptr;
    bool (*erase)(void* context, uint32_t block) = nullptr;
};

/// One area of a firmware: a project's records in a release of the store. Not copyable: the store points into it.
class ReleaseStore {
public:
    /// `records` are those of the layout, in its order; `unknown_max` as in perdure_config.
    ReleaseStore(const store_release& release, const AreaLayout& layout, std::vector<const Record*> records,
                 uint16_t unknown_max, const FlashCalls& flash);
    ~ReleaseStore();
    ReleaseStore(const ReleaseStore&) = delete;
    ReleaseStore& operator=(const ReleaseStore&) = delete;

    release_status format() { return release_.format(store_); }
    release_status open(bool lazy) { return release_.open(store_, lazy); }
    /// `to` gets the record's size.
    release_status get(size_t record, std::vector<uint8_t>& to) const;
    release_status put(size_t record, const std::vector<uint8_t>& payload);
    /// `samples` are of the record's size each.
    release_status append(size_t record, const std::vector<uint8_t>& samples);
    /// The save at power failure: of the record that is saved then.
    release_status put_now(size_t record, const std::vector<uint8_t>& payload);
    bool service() { return release_.service(store_); }
    [[nodiscard]] uint32_t sequence() const { return release_.sequence(store_); }
    [[nodiscard]] uint16_t blocks_bad() const { return release_.blocks_bad(store_); }

    /// A log's samples that are still there, by number.
    struct Sample {
        uint32_t number = 0;
        std::vector<uint8_t> bytes;
        bool operator==(const Sample&) const = default;
    };
    [[nodiscard]] std::vector<Sample> log(size_t record) const;
    [[nodiscard]] uint32_t log_next(size_t record) const {
        return release_.log_next(store_, static_cast<uint16_t>(record));
    }

    [[nodiscard]] int release() const { return release_.version; }
    [[nodiscard]] const std::vector<const Record*>& records() const { return records_; }

private:
    const store_release& release_;
    std::vector<const Record*> records_;
    std::vector<std::vector<uint8_t>> defaults_, fields_;
    std::vector<release_record> table_;
    void* store_ = nullptr;
};

} // namespace perdure
