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
    if [ "$macro" != PERDURE_STORE_H ] && [ "$macro" != PERDURE_MASK ] && [ "$macro" != PERDURE_GET_UNCHECKED ]; then
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

# The sizes of what is on the stack, likewise.
cat >"$work/types.c" <<'END'
#include "store.c"
extern char entry_size[sizeof(entry)], source_size[sizeof(source)], walk_size[sizeof(walk)];
char entry_size[sizeof(entry)];
char source_size[sizeof(source)];
char walk_size[sizeof(walk)];
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
    python3 tools/stack.py "$work/store.s" "$work/store.su" "$return_bytes" >"$work/chains"
    cut -d ' ' -f 1,2 "$work/chains" | tr ' ' '|' >"$work/stack.column"
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
    only_totals=$(echo "$leanest" | sed 's/-DPERDURE_TOTALS=0//')
    # shellcheck disable=SC2086
    "$@" $flags $only_totals -c store/store.c -o "$work/totals.o"
    totals_code=$(sections "$work/totals.o" '^\.(text|rodata|progmem)')
    # shellcheck disable=SC2086
    "$@" $flags -DPERDURE_GET_UNCHECKED=1 -c store/store.c -o "$work/unchecked.o"
    {
        echo "everything|$code"
        echo "everything, with PERDURE_GET_UNCHECKED|$(sections "$work/unchecked.o" '^\.(text|rodata|progmem)')"
        echo "totals and values alone|$totals_code"
        echo "values alone|$leanest_code"
    } >"$work/build.column"
    [ -n "$targets" ] || explain "$@"
    for table in stack feature build; do
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

# explain COMPILER...: what the code of one target is spent on, and its deepest chain of calls.
explain() {
    # shellcheck disable=SC2086
    {
        "$@" $flags -fno-inline -fno-inline-functions-called-once -fno-partial-inlining -fno-ipa-sra -fno-ipa-cp -c store/store.c -o "$work/apart.o"
        "$@" $flags -Istore -c "$work/types.c" -o "$work/types.o"
    }
    arm-none-eabi-nm -S "$work/apart.o" | python3 tools/purposes.py tools/purposes.txt >"$work/purposes"
    apart=$(sections "$work/apart.o" '^\.(text|rodata|progmem)')
    calls=$(arm-none-eabi-nm -u "$work/store.o" | awk '{ printf "%s`%s`", (NR > 1 ? ", " : ""), $2 }')
    for type in entry source walk; do
        echo "$type $(($(printf '0x%s' "$(arm-none-eabi-nm -S "$work/types.o" | awk -v name="${type}_size" '$4 == name { print $2 }')")))"
    done >"$work/types"
    sort -k 2,2nr "$work/chains" | head -n 1 | cut -d ' ' -f 3- >"$work/deepest"
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

# type_bytes NAME: sizeof of it.
type_bytes() {
    awk -v name="$1" '$1 == name { print $2 }' "$work/types"
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
    echo "The deepest on the Cortex-M0+, with the bytes of each function: \`$(cat "$work/deepest")\`."
    echo "An entry that is being read takes $(type_bytes entry) bytes of it, what is being put $(type_bytes source): once for the new value, and once for"
    echo "the one that is copied out of the tail below it, when that put finds no room. A start holds $(type_bytes walk) bytes beside the entry: six entries"
    echo "that a restart entry may still void. The aim was 256 bytes in all. None of it can wait in RAM that is not the stack: that would be"
    echo "taken for ever, and what is here only while a call runs is free for the firmware in between."
    echo
    echo "## Features"
    echo
    echo "Bytes of code and constants that setting one macro to 0 saves, all others being 1. Several save a little less or more than their sum."
    echo
    table_of "$work/feature.rows" macro
    echo
    echo "## What the code is spent on"
    echo
    table_of "$work/build.rows" "bytes of code and constants"
    echo
    echo "The aims were 4,096 bytes for everything and 2,560 for totals and values alone, on the Cortex-M0+. They are missed, by what the promises took"
    echo "once every cut was tried. Below is each function's code there, added up by purpose (\`tools/purposes.txt\`), compiled with nothing inlined:"
    echo "$apart bytes so, with what pads the sections. On top come $calls, of the C library and the compiler."
    echo
    echo "| what for | bytes | which is |"
    echo "|---|--:|---|"
    cat "$work/purposes"
    echo
    starts=$(awk -F '|' '$2 ~ /A start/ { sum += $3 } END { print sum }' "$work/purposes")
    echo "**The starts**, $starts bytes: a store that takes the last entry with a right check code for the newest needs little of it, and loses data:"
    echo "a unit whose programming was cut reads right now and wrong later. README.md, \"Restarts\", says what each part is for. These faults in"
    echo "\`tests/faults\` each take a piece of it out, and with each the search finds a cut that loses something: \`no_restart_entry\`, \`no_pads\`, \`one_pad\`,"
    echo "\`void_restart_voids\`, \`voids_ignored\`, \`from_not_inherited\`, \`head_without_entry\`, \`visible_end_too_early\`, \`pending_not_carried\`,"
    echo "\`short_on_void_entry\`; for the marks \`mark_after_erase\`, for the blank blocks in reserve \`no_spare_kept\`."
    echo "**Any part**: units from 1 byte up, any number of bytes, blank 0xFF or 0x00, four check widths, ECC that faults: a store for one part would"
    echo "read a struct. **Any version**: entries say their id, length and fields, so that a longer record, an unknown one and a dump can be read."
    echo
    echo "## Instructions and cycles"
    echo
    echo "Least and most that one call took over 1,500 saves of a valve's records (a total of 8 bytes, values of 25, 4 and 11) in three blocks"
    echo "of 256 units of 8 bytes, with service when idle and a start now and then; the last two rows of each part on two blocks with 300 ids"
    echo "(60 on the AVR), every seventh number being one. Cortex-M3: instructions, by QEMU (\`-icount\`), not cycles: flash wait states,"
    echo "branches and loads take more than one. AVR: cycles of an ATmega1284P, by simavr. The flash is RAM that the port copies; the time of a"
    echo "program and an erase comes on top. Each get and each start computes the check code of what it reads; 'a table' is a \`check\` function in"
    echo "the port with 16 entries, 4 bits a step. A total's value is kept in RAM. The last rows are a get that does not compute it again: README.md,"
    echo "\"Which call when\", says when that is right. \`tools/counts.sh\` runs it."
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
