#!/bin/sh
# Layout of the sources, forbidden includes, clang-tidy. Every finding fails.
set -eu
cd "$(dirname "$0")/.."

sh tools/arrows.sh
git ls-files '*.c' '*.h' '*.cpp' '*.hpp' | xargs clang-format --dry-run -Werror
echo "format: as .clang-format says"

# clang-tidy without its counts of hidden warnings, but with what kept it from reading a file.
cmake -S . -B build -G Ninja --log-level=WARNING >/dev/null
# shellcheck disable=SC2016 # for the inner shell
git ls-files 'src/*.cpp' | grep -v '_test\.cpp$' | xargs -P "$(nproc)" -n 1 sh -c '
    log=$(mktemp)
    clang-tidy -p build --quiet --extra-arg=-Wno-unknown-warning-option "$1" 2>"$log" || { grep -v "warnings generated" "$log" >&2; exit 1; }
    rm -f "$log"' tidy
echo "tidy: nothing found"
