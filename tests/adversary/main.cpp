// Plays runs of the adversary from the command line: perdure_adversary FAMILY RUN [COUNT]; a single run prints every
// operation.
#include "adversary.hpp"

#include <cstdlib>
#include <cstring>

#include <fmt/format.h>

using namespace perdure::adversary;

int main(int argc, char** argv) {
    for (const Family family : families) {
        if (argc < 3 || std::strcmp(argv[1], family_name(family)) != 0) { continue; }
        const uint64_t first = std::strtoull(argv[2], nullptr, 10);
        const uint64_t count = argc > 3 ? std::strtoull(argv[3], nullptr, 10) : 1;
        Options options;
        options.trace = argc == 3;
        const Outcome outcome = play_many(family, first, count, options);
        const Counts& c = outcome.counts;
        fmt::print("{} runs, {} starts ({} cut), {} puts ({} cut), {} services cut, {} formats cut, {} put backward, "
                   "{} read-only,\n"
                   "{} set aside, {} programs, {} erases, {} pads over, {} over weak, {} chance\n",
                   c.runs, c.starts, c.nested, c.puts, c.cut_puts, c.cut_services, c.cut_formats, c.backward,
                   c.read_only, c.set_aside, c.programs, c.erases, c.pads_over, c.over_weak, c.chance);
        if (outcome.failure) { fmt::print("{}\n", outcome.failure->what); }
        return outcome.failure ? 1 : 0;
    }
    fmt::print("usage: perdure_adversary FAMILY RUN [COUNT]\nfamilies:");
    for (const Family family : families) { fmt::print(" {}", family_name(family)); }
    fmt::print("\n");
    return 2;
}
