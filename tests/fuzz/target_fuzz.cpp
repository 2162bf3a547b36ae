// libFuzzer's entry into one of the targets: tools/fuzz.sh builds it once for each, with TARGET as its name.
#include <cstdio>
#include <cstdlib>

#include "tests/fuzz/calls_input.hpp"
#include "tests/fuzz/decode_input.hpp"
#include "tests/fuzz/inspect_input.hpp"
#include "tests/fuzz/open_input.hpp"
#include "tests/fuzz/project_input.hpp"

#define JOIN(one, two) one##two
#define TRY(target) JOIN(try_, target)

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
    const std::string wrong = perdure::fuzz::TRY(TARGET)({data, size});
    if (!wrong.empty()) {
        std::fprintf(stderr, "%s\n", wrong.c_str());
        std::abort();
    }
    return 0;
}
