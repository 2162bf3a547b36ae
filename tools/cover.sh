#!/bin/sh
# Branch and MC/DC coverage of store/store.c and store/check_config.c under tests/promises and the examples of the format: tests that fail
# one thing after another, so that what they reach does not hang on chance. Ends with 1 where they do not reach all. The adversary and
# the search of cuts do not count: they leave the store by longjmp, which llvm's branch counts take for a branch not taken.
# Needs build/libperdure_dump.a.
set -eu
cd "$(dirname "$0")/.."
out=build/cover
rm -rf $out
mkdir -p $out

for name in store check_config; do
    clang-19 -std=c99 -O1 -g -Wall -Wextra -Werror -fprofile-instr-generate -fcoverage-mapping -fcoverage-mcdc -c store/$name.c -o $out/$name.o
done
# The tests themselves are built as ever: only the store is measured. A copy of the store compiled by a test into a program of
# its own does not count either.
# shellcheck disable=SC2016 # for the inner shell
find tests/promises tests/format tests/paths.cpp -name '*.cpp' ! -name 'decoder*' ! -name '*_slow_test.cpp' ! -name '*_random_test.cpp' -print0 |
    xargs -0 -P "$(nproc)" -n 1 sh -c '
        g++ -std=c++20 -O2 -Isrc -I. -Istore "-DPERDURE_SOURCE_DIR=\"$PWD\"" "-DPERDURE_BINARY_DIR=\"$PWD/build\"" \
            "-DPERDURE_PROGRAM=\"\"" "-DPERDURE_FAULTY_PROGRAM=\"\"" -c "$1" -o "$0/tests_$(basename "$1").o"' $out
clang++-19 -fprofile-instr-generate $out/*.o -Lbuild -lperdure_dump -lgtest -lgtest_main -lfmt -lpthread -o $out/store_tests
LLVM_PROFILE_FILE="$out/store.profraw" $out/store_tests --gtest_brief=1
llvm-profdata-19 merge -sparse $out/store.profraw -o $out/store.profdata
llvm-cov-19 show $out/store_tests -instr-profile=$out/store.profdata --show-branches=count --show-mcdc store/store.c store/check_config.c >$out/store.txt
llvm-cov-19 export $out/store_tests -instr-profile=$out/store.profdata store/store.c store/check_config.c >$out/store.json
echo "line by line: $out/store.txt"
python3 tools/cover.py $out/store.json
