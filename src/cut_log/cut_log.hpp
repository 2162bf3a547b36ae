// The log of a product on the bench whose supply is cut again and again, held against what the store promises: every
// save that was acknowledged is there at each start after, nothing older, and nothing that was never saved.
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "cut_log/lines.hpp"

namespace perdure {

/// A record in the log: its area's place and its id.
using RecordKey = std::pair<uint32_t, uint32_t>;

/// Something that must not be.
struct CutLogFault {
    size_t place = 0; ///< line of the log
    std::string text;
};

struct RecordCount {
    uint64_t acknowledged = 0; ///< saves whose "done" was read, or that a later line proves done
    uint64_t cut = 0;          ///< cut between "put" and "done"
    uint64_t cut_read_new = 0; ///< of these, read as put at the next start
    uint64_t read_back = 0;    ///< times a start said what it reads as
    uint64_t gone = 0;         ///< logs: times the last batch had made room for something else
};

struct CutLogReport {
    uint64_t starts = 0;       ///< "start" lines
    uint64_t starts_cut = 0;   ///< starts that did not come to "ready"
    uint64_t cuts_between = 0; ///< cuts after a start and outside a save
    uint64_t damaged = 0;      ///< lines with a wrong check code, but for those that a cut ended
    uint64_t missing = 0;      ///< lines that the numbers say are not in the log
    uint64_t other_text = 0;   ///< lines that are none of the bench's
    std::map<RecordKey, RecordCount> records;
    std::vector<CutLogFault> faults; ///< the first of them, see fault_count
    uint64_t fault_count = 0;

    [[nodiscard]] uint64_t cuts_in_saves() const {
        uint64_t sum = 0;
        for (const auto& [key, count] : records) { sum += count.cut; }
        return sum;
    }
};

/// Holds the lines against the model. Lines that are missing or damaged widen what is allowed, never narrow it.
CutLogReport check_cut_log(const std::vector<BenchLine>& lines);

/// The records that the log names, against those that it should: what is wrong, as texts.
std::vector<std::string> compare_records(const CutLogReport& report, const std::vector<RecordKey>& wanted);

} // namespace perdure
