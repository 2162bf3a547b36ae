#!/bin/sh
# Holds every #include of src/ and store/, tests beside the code too, to the arrows of ARCHITECTURE.md: what a part may include.
set -eu
cd "$(dirname "$0")/.."

# part: the parts it may include, its own aside
arrows="
store:
flash:
physics:
catalog: flash
project: catalog flash physics
budget: project catalog flash physics
choose: budget project catalog flash physics
firmware: budget project catalog flash
unit: store flash project catalog
life: unit budget project catalog flash store
dump:
hex:
image: unit budget project catalog flash store hex
inspect: budget project catalog flash dump hex
fleet: inspect budget project catalog flash dump hex
cut_log:
cuts: unit dump project catalog flash store
dossier: choose budget project catalog physics flash
steps: inspect unit dump budget project catalog flash store hex
web: steps inspect hex dump dossier choose budget project catalog physics flash
upgrade: image unit dump budget project catalog flash store hex
cli: cut_log upgrade web steps dossier choose firmware image fleet inspect hex cuts dump life unit budget project catalog flash store
"
failed=0
checked=0
for file in $(find src store \( -name '*.cpp' -o -name '*.hpp' -o -name '*.c' -o -name '*.h' \) | sort); do
    part=$(echo "$file" | sed 's,^src/,,; s,/.*,,')
    line=$(echo "$arrows" | grep "^$part:" || true)
    if [ -z "$line" ]; then
        echo "$file: part '$part' is not in tools/arrows.sh" >&2
        failed=1
        continue
    fi
    checked=$((checked + 1))
    allowed=" $part ${line#*:} "
    # An include without a folder stands beside its file, or is the store's.
    # shellcheck disable=SC2013 # no spaces in names of ours
    for include in $(sed -n 's/^ *# *include *"\([^"]*\)".*/\1/p' "$file"); do
        case $file:$include in
        *_test.cpp:tests/own_folder.hpp | *_test.cpp:tests/paths.hpp | *_test.cpp:tests/run_program.hpp) continue ;; # a folder for the test, where the tree lies, the program as a whole
        esac
        case $include in
        */*) other=${include%%/*} ;;
        store.h | port.h) other=store ;;
        *) other=$part ;;
        esac
        case $allowed in
        *" $other "*) ;;
        *)
            echo "$file: $part may not include $include" >&2
            failed=1
            ;;
        esac
    done
done
[ $checked -gt 0 ] || { echo "arrows: no sources found" >&2; exit 1; }
[ $failed = 0 ] && echo "arrows: every include of $checked files is allowed"
exit $failed
