#!/bin/sh
# Branch and MC/DC coverage of store/store.c under the store's quick tests (the adversary, the promises, the
# format's examples) and the exhaustive search of tests/faults. Needs the libraries of build/.
set -eu
cd "$(dirname "$0")/.."
out=build/cover
rm -rf $out
mkdir -p $out

clang-19 -std=c99 -O1 -g -fprofile-instr-generate -fcoverage-mapping -fcoverage-mcdc -c store/store.c -o $out/store.o
# The tests themselves are built as ever: only the store is measured. A copy of the store compiled by a test into a program of
# its own does not count either.
# shellcheck disable=SC2016 # for the inner shell
find tests/adversary tests/promises tests/format -name '*.cpp' ! -name '*_slow_test.cpp' ! -name decoder_bytes_test.cpp ! -name main.cpp -print0 |
    xargs -0 -P "$(nproc)" -n 1 sh -c '
        g++ -std=c++20 -O2 -Isrc -I. -Istore "-DPERDURE_SOURCE_DIR=\"$PWD\"" "-DPERDURE_FORMAT_DOCUMENT=\"$PWD/store/format.md\"" \
            -c "$1" -o "$0/$(echo "$1" | tr / _).o"' $out
gcc -std=c99 -O2 -c store/check_config.c -o $out/tests_check_config.o
g++ -std=c++20 -O2 -Isrc -I. -Istore -c tests/faults/main.cpp -o $out/search.o
libraries="-Lbuild -lperdure_cuts -lperdure_dump -lperdure_unit -lperdure_project -lperdure_catalog -lperdure_flash"
libraries="$libraries -labsl_raw_hash_set -labsl_hash -labsl_city -labsl_low_level_hash -lfmt -lpthread"
# shellcheck disable=SC2086 # lists of words
clang++-19 -fprofile-instr-generate $out/store.o $out/tests_*.o -lgtest -lgtest_main -lrapidcheck $libraries -o $out/store_tests
# shellcheck disable=SC2086
clang++-19 -fprofile-instr-generate $out/store.o $out/search.o $libraries -o $out/store_search
LLVM_PROFILE_FILE="$out/%p.profraw" $out/store_search &
LLVM_PROFILE_FILE="$out/%p.profraw" $out/store_tests --gtest_brief=1
wait
llvm-profdata-19 merge -sparse $out/*.profraw -o $out/store.profdata
llvm-cov-19 show $out/store_tests -instr-profile=$out/store.profdata --show-branches=count --show-mcdc store/store.c >$out/store.txt
llvm-cov-19 export $out/store_tests -instr-profile=$out/store.profdata -summary-only --show-mcdc-summary store/store.c >$out/store.json
llvm-cov-19 report $out/store_tests -instr-profile=$out/store.profdata --show-mcdc-summary store/store.c |
    awk '$1 ~ /store\.c$/ {
        printf "store/store.c: lines %s, branches %s (%d of %d), MC/DC %s (%d of %d conditions)\n",
            $10, $13, $11 - $12, $11, $16, $14 - $15, $14 }'
echo "line by line: $out/store.txt"
