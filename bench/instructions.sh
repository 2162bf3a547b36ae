#!/bin/sh
# Instructions a save, of the life run and of replaying its flash operations, counted by callgrind: unlike times they are
# the same on a busy machine. Takes build/perdure_bench; ./dev bench instructions builds it first.
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

# count BENCHMARK FUNCTION: instructions a save inside FUNCTION, as callgrind names it.
count() {
    valgrind --tool=callgrind --callgrind-out-file="$work/out" --toggle-collect="$2" build/perdure_bench \
        --benchmark_filter="^$1\$" --benchmark_min_time=0 --benchmark_format=json >"$work/json" 2>"$work/log" ||
        { cat "$work/log" >&2; exit 1; }
    instructions=$(sed -n 's/^summary: //p' "$work/out")
    saves=$(sed -n 's/.*"saves": \([0-9.e+]*\).*/\1/p' "$work/json")
    awk -v name="$1" -v instructions="${instructions:-0}" -v saves="${saves:-0}" 'BEGIN {
        if (instructions + 0 == 0 || saves + 0 == 0) { print "instructions: nothing was counted in " name >"/dev/stderr"; exit 1 }
        printf "%s: %.0f instructions a save, over %d saves\n", name, instructions / saves, saves }'
}

count life_turns '*::live_turns(*'
count flash_replay '*::replay(*'
