#!/bin/sh
# What store/store.c takes on small parts: code and constants, data, bss, largest stack frame, and the store's own state; the stack of each
# call; what each feature takes; instructions and cycles. Prints the tables; with --write also writes them to store/SIZE.md. Fails when the
# store has data of its own.
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
write=no
[ "${1:-}" != --write ] || write=yes

flags="-Os -std=c99 -ffreestanding -fno-common"
leanest=""
features=""
# shellcheck disable=SC2013 # words
for macro in $(sed -n 's/^#ifndef \(PERDURE_[A-Z_]*\)$/\1/p' store/store.h); do
    if [ "$macro" != PERDURE_STORE_H ] && [ "$macro" != PERDURE_MASK ]; then
        leanest="$leanest -D$macro=0"
        features="$features $macro"
    fi
done

# clang for RISC-V comes without a C library: the four functions of string.h that a freestanding compiler expects anyway.
mkdir "$work/include"
cat >"$work/include/string.h" <<'END'
#include <stddef.h>
void *memcpy(void *to, const void *from, size_t bytes);
void *memmove(void *to, const void *from, size_t bytes);
void *memset(void *to, int value, size_t bytes);
int memcmp(const void *left, const void *right, size_t bytes);
END

# The size of perdure_store, as the length of an array in an object file.
cat >"$work/state.c" <<'END'
#include "store.h"
extern char state[sizeof(perdure_store)];
char state[sizeof(perdure_store)];
END

# sections FILE PATTERN: bytes in the sections whose name matches.
sections() {
    "$size_tool" -A "$1" | awk -v pattern="$2" '$1 ~ pattern { sum += $2 } END { print sum + 0 }'
}

# measure NAME SIZE_TOOL RETURN_BYTES COMPILER...: one row of the table, and a column of each of the others. RETURN_BYTES is what a
# call itself pushes onto the stack.
measure() {
    name=$1
    size_tool=$2
    return_bytes=$3
    shift 3
    # shellcheck disable=SC2086 # lists of words
    {
        "$@" $flags -fstack-usage -c store/store.c -o "$work/store.o"
        "$@" $flags $leanest -c store/store.c -o "$work/leanest.o"
        "$@" $flags -Istore -c "$work/state.c" -o "$work/state.o"
        "$@" $flags -fstack-usage -S store/store.c -o "$work/store.s"
    }
    python3 tools/stack.py "$work/store.s" "$work/store.su" "$return_bytes" | cut -d ' ' -f 1,2 | tr ' ' '|' >"$work/stack.column"
    code=$(sections "$work/store.o" '^\.(text|rodata|progmem)')
    leanest_code=$(sections "$work/leanest.o" '^\.(text|rodata|progmem)')
    data=$(sections "$work/store.o" '^\.(data|sdata)')
    bss=$(sections "$work/store.o" '^\.(bss|sbss)')
    state=$(sections "$work/state.o" '^\.(bss|sbss)')
    frame=$(awk -F '\t' '{ n = split($1, part, ":"); if ($2 + 0 > most) { most = $2 + 0; name = part[n] } }
        END { printf "%d (%s)", most, name }' "$work/store.su")
    for macro in $features; do
        # shellcheck disable=SC2086
        "$@" $flags "-D$macro=0" -c store/store.c -o "$work/without.o"
        echo "$macro|$((code - $(sections "$work/without.o" '^\.(text|rodata|progmem)')))"
    done >"$work/feature.column"
    for table in stack feature; do
        if [ -e "$work/$table.rows" ]; then
            cut -d '|' -f 2 "$work/$table.column" | paste -d '|' "$work/$table.rows" - >"$work/$table.more"
            mv "$work/$table.more" "$work/$table.rows"
        else
            mv "$work/$table.column" "$work/$table.rows"
        fi
    done
    targets="$targets | ${name%%,*}"
    echo "| $name | $code | $leanest_code | $data | $bss | $frame | $state |" >>"$work/table"
    if [ "$data" != 0 ] || [ "$bss" != 0 ]; then
        echo "size: store.c has $data bytes of data and $bss of bss on $name; it may have none" >&2
        touch "$work/failed"
    fi
}

cat >"$work/table" <<'END'
| target | code and constants | the leanest features | data | bss | largest stack frame | sizeof(perdure_store) |
|---|--:|--:|--:|--:|---|--:|
END
targets=""
arm="arm-none-eabi-gcc --specs=picolibc.specs -mthumb"
riscv="clang --target=riscv32-unknown-elf -isystem $work/include"
# shellcheck disable=SC2086
{
    measure "Cortex-M0+, gcc $(arm-none-eabi-gcc -dumpversion)" arm-none-eabi-size 0 $arm -mcpu=cortex-m0plus
    measure "Cortex-M4, gcc $(arm-none-eabi-gcc -dumpversion)" arm-none-eabi-size 0 $arm -mcpu=cortex-m4
    measure "RV32IMC, clang $(clang -dumpversion)" size 0 $riscv -march=rv32imc
    measure "AVR ATmega328P, gcc $(avr-gcc -dumpversion)" avr-size 2 avr-gcc -mmcu=atmega328p
}

# table_of ROWS HEADING: rows "a|b|c" as a table with the targets as columns.
table_of() {
    echo "| $2$targets |"
    echo "|---|--:|--:|--:|--:|"
    sed 's/^/| /; s/|\([^ ]\)/ | \1/g; s/$/ |/' "$1"
}
{
    echo
    echo "## Stack"
    echo
    echo "Bytes of the deepest chain of calls from each public one, along the compiler's own assembly (\`tools/stack.py\`), return addresses"
    echo "included. What the port's functions, a log's visitor, the C library and interrupts take comes on top."
    echo
    table_of "$work/stack.rows" call
    echo
    echo "## Features"
    echo
    echo "Bytes of code and constants that setting one macro to 0 saves, all others being 1. Several save a little less or more than their sum."
    echo
    table_of "$work/feature.rows" macro
    echo
    echo "## Instructions and cycles"
    echo
    echo "Least and most that one call took over 1,500 saves of a valve's records (a total of 8 bytes, values of 25, 4 and 11) in three blocks"
    echo "of 256 units of 8 bytes, with service when idle and a start now and then; the last two rows of each part on two blocks with 300 ids"
    echo "(60 on the AVR), every seventh number being one. Cortex-M3: instructions, by QEMU (\`-icount\`), not cycles: flash wait states,"
    echo "branches and loads take more than one. AVR: cycles of an ATmega1284P, by simavr. The flash is RAM that the port copies; the time of a"
    echo "program and an erase comes on top. Each get and each start computes the check code of what it reads; 'a table' is a \`check\` function in"
    echo "the port with 16 entries, 4 bits a step. A total's value is kept in RAM. \`tools/counts.sh\` runs it."
    echo
    sh tools/counts.sh
} >"$work/rest"
cat "$work/table" "$work/rest"
if [ "$write" = yes ]; then
    {
        echo "# What the store takes"
        echo
        echo "Bytes of store.c with -Os, measured by \`./dev size --write\`. The leanest features: every feature macro of store.h"
        echo "set to 0. A stack frame is that of one function; chains of calls are below. The store's other RAM is the caller's:"
        echo "perdure_config in store.h says how much."
        echo
        cat "$work/table" "$work/rest"
    } >store/SIZE.md
    echo "written: store/SIZE.md"
fi
[ ! -e "$work/failed" ]
