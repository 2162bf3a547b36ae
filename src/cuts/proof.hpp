// The power-cut proof of one area: which searches it is made of, and running them on all cores.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "cuts/search.hpp"

namespace perdure {

/// One search of a proof.
struct ProofPart {
    std::string name;  ///< short, for --replay: "small-wrapped-1"
    std::string about; ///< what it tries, in a sentence
    Search search;
    std::vector<Action> actions;
    bool workload = false; ///< actions one after another; else all sequences of them
    unsigned length = 1;   ///< of sequences; of a workload: cuts in starts in one of so many actions
};

struct ProofOptions {
    unsigned depth_max = 2;     ///< cuts in starts; on 2 and 3 blocks 1 at most
    unsigned length_max = 2;    ///< of sequences on the small ring
    unsigned nested_saves = 50; ///< on the own ring: about so many saves of a turn get cuts in their starts too
    CutDevice device;
    unsigned threads = 1;
    unsigned shard = 0, shards = 1;
    double seconds_max = 0;                                  ///< for all parts together; 0: no limit
    std::function<void(size_t part, double share)> progress; ///< from several threads, one at a time
};

/// What is proven.
struct ProofArea {
    AreaLayout layout;
    std::vector<const Record*> records; ///< in the layout's order
    std::vector<double> weights;        ///< saves of each record over life
    uint32_t check_bits = 16;
    bool lazy_starts = false; ///< the product opens lazily
};

/// The parts for an area: all short sequences on the smallest ring that takes its records, then its own ring over a
/// whole turn; with a record that is saved at power failure, both once more with that save in each operation.
std::vector<ProofPart> plan_proof(const ProofArea& area, const ProofOptions& options);

struct PartResult {
    SearchResult result;
    double seconds = 0;
};

/// Runs every part; stops behind the first that fails.
std::vector<PartResult> run_proof(const std::vector<ProofPart>& parts, const ProofOptions& options);

/// One search, split over `threads`; of its failures a short one.
SearchResult run_part(const ProofPart& part, const ProofOptions& options, double seconds_max,
                      const std::function<void(double)>& progress);

/// "a2.t3.r0.s0" and back; an empty vector where the text is no path.
std::string path_text(const std::vector<uint64_t>& path);
std::vector<uint64_t> path_from(std::string_view text);

} // namespace perdure
