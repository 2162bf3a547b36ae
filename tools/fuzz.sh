#!/bin/sh
# Fuzzes with libFuzzer under the address and undefined behaviour sanitizers: fuzz.sh [seconds] [target...]. The targets are
# those of tests/fuzz; each begins with its kept corpus and adds what it finds to build/fuzz/corpus/TARGET, which stays for the next
# time. The first input that breaks something ends the run, and stands in build/fuzz/.
set -eu
cd "$(dirname "$0")/.."

targets="decode open calls project inspect"
seconds=60
case ${1:-} in
'' | *[!0-9]*) ;;
*) seconds=$1; shift ;;
esac
[ $# -eq 0 ] || targets=$*
if [ "$seconds" -eq 0 ]; then
    echo "fuzz: 0 seconds: libFuzzer takes that for no end; give at least 1" >&2
    exit 2
fi
for target in $targets; do
    if [ ! -d "tests/fuzz/corpus/$target" ]; then
        echo "fuzz: no target '$target': there are decode, open, calls, project and inspect" >&2
        exit 2
    fi
done

out=build/fuzz
# Clang 19 takes the place of build/'s compiler, which brings no libFuzzer; its warnings are not what is looked for here.
flags="-Wno-deprecated-declarations -fsanitize=address,undefined -fno-sanitize-recover=undefined -fno-omit-frame-pointer"
cmake -S . -B $out -G Ninja --log-level=WARNING -DCMAKE_C_COMPILER=clang-19 -DCMAKE_CXX_COMPILER=clang++-19 \
    -DCMAKE_BUILD_TYPE=RelWithDebInfo "-DCMAKE_C_FLAGS=$flags -fsanitize=fuzzer-no-link" \
    "-DCMAKE_CXX_FLAGS=$flags -fsanitize=fuzzer-no-link" -DPERDURE_TESTS=OFF -DPERDURE_FUZZ=ON >/dev/null
# shellcheck disable=SC2046,SC2086 # a list of words
cmake --build $out --target $(printf 'perdure_fuzz_%s ' $targets)

for target in $targets; do
    mkdir -p "$out/corpus/$target"
    dictionary=tests/fuzz/$target.dict
    log=$out/$target.log
    if ! "$out/perdure_fuzz_$target" "$out/corpus/$target" "tests/fuzz/corpus/$target" -max_total_time="$seconds" -max_len=4096 \
        -timeout=20 -rss_limit_mb=2048 -artifact_prefix="$out/$target-" -print_final_stats=1 -verbosity=1 \
        $([ ! -f "$dictionary" ] || echo "-dict=$dictionary") >"$log" 2>&1; then
        tail -40 "$log" >&2
        exit 1
    fi
    echo "$target: $(sed -n 's/^stat::number_of_executed_units: *//p' "$log") inputs in $seconds s, nothing found;" \
        "$(sed -n 's/.* cov: \([0-9]*\) .*/\1/p' "$log" | tail -1) edges reached"
done
