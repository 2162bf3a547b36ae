// docs/tutorial.md, and those commands of docs/guide.md that take longer, are run as they stand.
#include <gtest/gtest.h>

#include "tests/run_document.hpp"

namespace perdure {
namespace {

TEST(Tutorial, PrintsWhatItShows) {
    EXPECT_GT(hold_document("docs/tutorial.md", true), 12U);
}

TEST(GuideSlow, PrintsWhatItShows) {
    EXPECT_GT(hold_document("docs/guide.md", true), 18U);
}

} // namespace
} // namespace perdure
