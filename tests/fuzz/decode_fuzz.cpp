// libFuzzer's entry into the reader of dumps: clang++ -fsanitize=fuzzer,address,undefined, with decode_input.cpp and
// src/dump.
#include <cstdio>
#include <cstdlib>

#include "tests/fuzz/decode_input.hpp"

extern "C" int LLVMFuzzerTestOneInput(const uint8_t* data, size_t size) {
    const std::string wrong = perdure::fuzz::try_decode({data, size});
    if (!wrong.empty()) {
        std::fprintf(stderr, "%s\n", wrong.c_str());
        std::abort();
    }
    return 0;
}
