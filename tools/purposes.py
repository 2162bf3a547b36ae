#!/usr/bin/env python3
"""What the code of store/store.c is spent on: the sizes of its functions, added up by purpose.

    purposes.py PURPOSES.txt < output of `nm -S`

The object has to be compiled with nothing inlined, so that each function's code stands under its own name. Prints a row "purpose, bytes,
why" for each purpose, the largest first, and a sum. Ends with 1 for a function that no purpose has, or that two have, or that is not there.
"""
import re
import sys


def read_purposes(path):
    """[purpose, why, functions], in the file's order"""
    purposes = []
    with open(path) as lines:
        for line in lines:
            if line.startswith("#") or not line.strip():
                continue
            if line[0] == " ":
                purposes[-1][2].extend(line.split())
            else:
                purpose, why = line.strip().split(": ", 1)
                purposes.append((purpose, why, []))
    return purposes


def read_sizes(lines):
    """function or constant -> bytes"""
    sizes = {}
    for line in lines:
        symbol = re.match(r"^[0-9a-f]+ ([0-9a-f]+) [tTrR] (\w+)(?:\.\w+)*$", line)
        if symbol:
            sizes[symbol.group(2)] = int(symbol.group(1), 16)
    return sizes


def main():
    purposes, sizes = read_purposes(sys.argv[1]), read_sizes(sys.stdin)
    listed = [name for _, _, names in purposes for name in names]
    wrong = sorted(set(sizes) ^ set(listed)) + sorted({name for name in listed if listed.count(name) > 1})
    if wrong or not sizes:
        sys.exit(f"purposes: {sys.argv[1]} and store/store.c differ in {', '.join(wrong) or 'everything'}")
    rows = [(sum(sizes[name] for name in names), purpose, why) for purpose, why, names in purposes]
    for size, purpose, why in sorted(rows, key=lambda row: -row[0]):
        print(f"| {purpose} | {size} | {why} |")
    print(f"| all | {sum(sizes.values())} | |")


if __name__ == "__main__":
    main()
