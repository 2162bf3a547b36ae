// The reader of dumps and the store agree on areas left by cuts on the worst flash; a million of them are in the slow
// test.
#include <utility>

#include "tests/format/decoder_play.hpp"

namespace perdure::adversary::decoding {
namespace {

TEST(DumpAgainstTheStore, OnTheWorstFlash) {
    for (const auto& [family, runs] :
         {std::pair{Family::basic, 150}, std::pair{Family::short_turns, 150}, std::pair{Family::wide, 40},
          std::pair{Family::narrow_8, 100}, std::pair{Family::narrow_16, 100}, std::pair{Family::failing, 100}}) {
        Seen seen;
        for (int number = 1; number <= runs && !HasFailure(); number++) {
            SCOPED_TRACE(std::string(family_name(family)) + " " + std::to_string(number));
            Play(family, static_cast<uint64_t>(number)).play(seen);
        }
        SCOPED_TRACE(family_name(family));
        EXPECT_GT(seen.areas, 20 * runs);
        EXPECT_GT(seen.voided, 100U);
        EXPECT_GT(seen.doubted, 0U);
        EXPECT_GT(seen.pending, 20U);
        EXPECT_GT(seen.faulting, runs);
        EXPECT_GT(seen.faulting_met, runs);
        EXPECT_EQ(seen.set_aside > 0, family == Family::failing);
    }
}

} // namespace
} // namespace perdure::adversary::decoding
