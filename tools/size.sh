#!/bin/sh
# What store/store.c takes on small parts: code and constants, data, bss, largest stack frame, and the store's own state.
# Prints the table; with --write also writes it to store/SIZE.md. Fails when the store has data of its own.
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
write=no
[ "${1:-}" != --write ] || write=yes

flags="-Os -std=c99 -ffreestanding -fno-common"
leanest="-DPERDURE_TOTALS=0 -DPERDURE_UNKNOWN=0"
# shellcheck disable=SC2013 # words
for macro in $(sed -n 's/^#ifndef \(PERDURE_[A-Z_]*\)$/\1/p' store/store.h); do
    case " $leanest " in *"-D$macro=0 "*) ;; *) [ "$macro" = PERDURE_STORE_H ] || [ "$macro" = PERDURE_MASK ] || leanest="$leanest -D$macro=0" ;; esac
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

# measure NAME SIZE_TOOL COMPILER...: one row of the table.
measure() {
    name=$1
    size_tool=$2
    shift 2
    # shellcheck disable=SC2086 # lists of words
    {
        "$@" $flags -fstack-usage -c store/store.c -o "$work/store.o"
        "$@" $flags $leanest -c store/store.c -o "$work/leanest.o"
        "$@" $flags -Istore -c "$work/state.c" -o "$work/state.o"
    }
    code=$(sections "$work/store.o" '^\.(text|rodata|progmem)')
    leanest_code=$(sections "$work/leanest.o" '^\.(text|rodata|progmem)')
    data=$(sections "$work/store.o" '^\.(data|sdata)')
    bss=$(sections "$work/store.o" '^\.(bss|sbss)')
    state=$(sections "$work/state.o" '^\.(bss|sbss)')
    frame=$(awk -F '\t' '{ n = split($1, part, ":"); if ($2 + 0 > most) { most = $2 + 0; name = part[n] } }
        END { printf "%d (%s)", most, name }' "$work/store.su")
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
arm="arm-none-eabi-gcc --specs=picolibc.specs -mthumb"
riscv="clang --target=riscv32-unknown-elf -isystem $work/include"
# shellcheck disable=SC2086
{
    measure "Cortex-M0+, gcc $(arm-none-eabi-gcc -dumpversion)" arm-none-eabi-size $arm -mcpu=cortex-m0plus
    measure "Cortex-M4, gcc $(arm-none-eabi-gcc -dumpversion)" arm-none-eabi-size $arm -mcpu=cortex-m4
    measure "RV32IMC, clang $(clang -dumpversion)" size $riscv -march=rv32imc
    measure "AVR ATmega328P, gcc $(avr-gcc -dumpversion)" avr-size avr-gcc -mmcu=atmega328p
}
cat "$work/table"
if [ "$write" = yes ]; then
    {
        echo "# What the store takes"
        echo
        echo "Bytes of store.c with -Os, measured by \`./dev size --write\`. The leanest features: every feature macro of store.h"
        echo "set to 0. A stack frame is that of one function, not of a chain of calls. The store's other RAM is the caller's:"
        echo "perdure_config in store.h says how much."
        echo
        cat "$work/table"
    } >store/SIZE.md
    echo "written: store/SIZE.md"
fi
[ ! -e "$work/failed" ]
