#!/bin/sh
# What the store's calls take, by running tests/target/counts.c: instructions on a Cortex-M3 under QEMU (-icount: the same each time) and
# cycles on an AVR under simavr. Prints rows of a table. Needs the compilers, qemu-system-arm, simavr, libsimavr-dev.
set -eu
cd "$(dirname "$0")/.."
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
board=examples/orchard-valve/firmware
flags="-Os -Wall -Wextra -ffunction-sections -fdata-sections -Wl,--gc-sections -Itests/target -I. -I$board"

# run NAME FLAG...: appends what both processors say to arm.said and avr.said.
run() {
    name=$1
    shift
    # shellcheck disable=SC2086 # lists of words
    {
        arm-none-eabi-gcc --specs=picolibc.specs -mthumb -mcpu=cortex-m3 -std=c99 -ffreestanding $flags "$@" tests/target/counts.c \
            tests/target/clock_cortex_m3.c store/store.c $board/mps2-an385.c -nostartfiles -Wl,--no-warn-rwx-segments -T $board/mps2-an385.ld -o "$work/arm.elf"
        avr-gcc -mmcu=atmega1284p -DMANY=60 -std=gnu99 $flags "$@" -Wl,--undefined=_mmcu,--section-start=.mmcu=0x910000 \
            -idirafter /usr/include/simavr tests/target/counts.c tests/target/avr_board.c store/store.c -o "$work/avr.elf"
    }
    timeout 300 qemu-system-arm -M mps2-an385 -icount shift=6 -display none -monitor none -serial none \
        -semihosting-config enable=on,target=native -kernel "$work/arm.elf" >"$work/$name.arm" 2>&1
    timeout 300 simavr "$work/avr.elf" >"$work/avr.raw" 2>&1
    tr -d '\r' <"$work/avr.raw" | sed -n 's/^O://p' >"$work/$name.avr" # as simavr marks what the program prints
    grep -q '^holds' "$work/$name.avr" || { cat "$work/avr.raw" >&2; exit 1; }
    cat "$work/$name.arm" >>"$work/arm.said"
    cat "$work/$name.avr" >>"$work/avr.said"
}
run checked
run unchecked -DPERDURE_GET_UNCHECKED=1

# rows FILE: "title / call" and "least most", a line each. A title holds no colon.
rows() {
    awk -F ': ' '/^check code/ || /^get without/ { code = $0; next } NF == 2 { print code " / " $1 "|" $2 }' "$1"
}
rows "$work/arm.said" >"$work/arm.rows"
rows "$work/avr.said" >"$work/avr.rows"
if [ ! -s "$work/arm.rows" ] || [ "$(wc -l <"$work/arm.rows")" != "$(wc -l <"$work/avr.rows")" ]; then
    echo "counts: no figures" >&2
    exit 1
fi
echo "| call | instructions, Cortex-M3 | cycles, AVR |"
echo "|---|--:|--:|"
paste -d '|' "$work/arm.rows" "$work/avr.rows" | awk -F '|' '
    function pair(text, part) { split(text, part, " "); return part[1] == part[2] ? part[1] : part[1] " to " part[2] }
    { split($1, name, " / "); if (name[1] != code) { code = name[1]; print "| *" code "* | | |" } print "| " name[2] " | " pair($2) " | " pair($4) " |" }'
