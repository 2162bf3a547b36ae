#!/usr/bin/env python3
"""Holds the coverage that llvm-cov exported (JSON, first argument) against 100 % of branches and of MC/DC.

Prints each outcome of a branch that no test took, and each condition that no pair of tests showed to decide, with its line. A line of
the source may argue in a comment why that cannot be: "unreached:" and the reason, on the line or the one above. Such a line is counted
as excluded and printed with its argument; where nothing on it is missing, the argument is out of date, which fails too.

Ends with 0 if all that is not excluded is covered, 1 if not, 2 if the export cannot be read.
"""

import json
import os
import re
import sys

MARKER = re.compile(r"/\*\s*unreached:\s*(.*?)\s*\*/")


def text_of(lines, first_line, first_column, last_line, last_column):
    """The source from one place to another (as llvm-cov counts: from 1, the last column not included), on one line."""
    if first_line == last_line:
        return lines[first_line - 1][first_column - 1:last_column - 1]
    between = [lines[first_line - 1][first_column - 1:]] + lines[first_line:last_line - 1] + [lines[last_line - 1][:last_column - 1]]
    return " ".join(part.strip() for part in between)


def missing_in(file, lines):
    """What is missing in one file of the export: [(line, what)], and how many outcomes and conditions there are."""
    missing = []
    for branch in file["branches"]:
        for count, outcome in ((branch[4], "true"), (branch[5], "false")):
            if count == 0:
                missing.append((branch[0], "never %s: %s" % (outcome, text_of(lines, *branch[:4]))))
    conditions = 0
    for record in file["mcdc_records"]:
        shown = record[-1]
        conditions += len(shown)
        # The conditions of a decision are the branches inside it, in the order of the source.
        inside = sorted(b[:4] for b in file["branches"] if record[:2] <= b[:2] and b[2:4] <= record[2:4])
        for i, decides in enumerate(shown):
            if not decides:
                name = text_of(lines, *inside[i]) if len(inside) == len(shown) else "condition %d" % (i + 1)
                missing.append((record[0] if len(inside) != len(shown) else inside[i][0],
                                "never shown to decide: %s" % name))
    return missing, 2 * len(file["branches"]), conditions


def arguments_in(lines):
    """The lines that are excluded, each with its argument: {line: argument}. A comment alone on its line speaks of the next."""
    found = {}
    for number, line in enumerate(lines, 1):
        match = MARKER.search(line)
        if match:
            found[number + 1 if line.strip().startswith("/*") else number] = match.group(1)
    return found


def check(file, root):
    """Prints what there is to say of one file. True if all of it that is not excluded is covered."""
    name = os.path.relpath(file["filename"], root)
    with open(file["filename"], encoding="utf-8") as source:
        lines = source.read().splitlines()
    missing, outcomes, conditions = missing_in(file, lines)
    summary = file["summary"]
    if (outcomes, conditions) != (summary["branches"]["count"], summary["mcdc"]["count"]):
        raise ValueError("%s: llvm-cov counts %d outcomes and %d conditions, its list has %d and %d" %
                         (name, summary["branches"]["count"], summary["mcdc"]["count"], outcomes, conditions))
    arguments = arguments_in(lines)
    left = [m for m in missing if m[0] not in arguments]
    excluded = [m for m in missing if m[0] in arguments]
    stale = [n for n in arguments if n not in {line for line, _ in missing}]
    print("%s: branches %d of %d, MC/DC %d of %d conditions, %d excluded" %
          (name, summary["branches"]["covered"], outcomes, summary["mcdc"]["covered"], conditions, len(excluded)))
    for line, what in sorted(left):
        print("%s:%d: %s" % (name, line, what))
    for line, what in sorted(excluded):
        print("%s:%d: excluded, %s (%s)" % (name, line, what, arguments[line]))
    for line in stale:
        print("%s:%d: 'unreached' is argued, but the tests reach all of it" % (name, line))
    return not left and not stale


def main():
    root = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    try:
        with open(sys.argv[1], encoding="utf-8") as export:
            files = json.load(export)["data"][0]["files"]
        if not files:
            raise ValueError("no file in it")
        holds = [check(file, root) for file in files]
    except (OSError, ValueError, KeyError, IndexError) as error:
        print("cover: the export of llvm-cov cannot be read: %s" % error, file=sys.stderr)
        return 2
    return 0 if all(holds) else 1


sys.exit(main())
