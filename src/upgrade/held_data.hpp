// What a flash has to read as, through several firmwares that have put things there: the model that a trial holds the
// stores against. A cut leaves a record open between its values before and after.
#pragma once

#include <map>
#include <optional>
#include <random>
#include <set>
#include <vector>

#include "upgrade/releases.hpp"

namespace perdure {

using Payload = std::vector<uint8_t>;

/// A log as it stands.
struct HeldLog {
    using Samples = std::vector<ReleaseStore::Sample>;
    Samples samples;              ///< all that may still be there, oldest first
    uint32_t next = 0;            ///< number of the next sample, without those of `may`
    std::vector<Samples> may{{}}; ///< what may stand behind them; more than one where the power went in an append
};

struct HeldData {
    /// By id, what the record may read as: payloads in the length they were put with, or nothing: never stored. The
    /// last one is the newest. An id that is not here was never stored.
    std::map<uint16_t, std::vector<std::optional<Payload>>> values;
    std::map<uint16_t, HeldLog> logs;
    std::map<uint16_t, std::vector<Payload>> totals_put; ///< every value that was put of a total, oldest first
    std::set<uint16_t> fell_back; ///< totals whose short entries a firmware that does not know them may have dropped
    uint64_t puts = 0;

    /// A new value of `record`: anything; of a total what it reads as now and a little more.
    [[nodiscard]] Payload next_value(const Record& record, std::mt19937_64& random) const;

    /// The record is being put, and then has been.
    void begin_put(const Record& record, const Payload& payload);
    void end_put(const Record& record, const Payload& payload);
    /// Samples are being added to a log, the first of them under this number, and then have been.
    void begin_append(uint16_t id, uint32_t number, const Payload& samples, size_t sample_bytes);
    void end_append(uint16_t id, uint32_t number, const Payload& samples, size_t sample_bytes);

    /// A firmware that knows these records has opened the area for writing: what it does to those of others.
    void opened_by(const std::vector<const Record*>& records);
};

/// The payload as a firmware with this record reads it: cut off, or completed with its defaults.
Payload fitted(const Payload& payload, const Record& record);

/// Reads every record from the store and holds it against `contents`, in which what was open is settled then. Empty, or
/// what is wrong. `read` counts the records.
std::string wrong_in(const ReleaseStore& store, HeldData& contents, uint64_t& read);

} // namespace perdure
