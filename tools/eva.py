#!/usr/bin/env python3
"""Runs Frama-C's Eva over the store on any flash contents (tools/eva/main.c), and holds its alarms against docs/eva.md.

Fails on an alarm that the document does not explain, on an explanation that no alarm needs any more, and when the analysis leaves
code out. Takes some ten minutes of two cores.
"""

import concurrent.futures
import csv
import os
import re
import subprocess
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
TABLE = "docs/eva.md"
OUT = "build/eva"
STATEMENTS_MIN = 97  # per cent that each analysis has to reach; it stops short at code that it takes for dead
# No area has both a log and a total with short entries, so two are analysed, each with the other's code left out.
RUNS = {"totals": "-DPERDURE_LOGS=0", "logs": "-DPERDURE_TOTALS=0"}


def analyse(run):
    """Runs Eva on one of the areas; gives its log and the alarms {(function, what it could not show)}."""
    folder = os.path.join(ROOT, OUT)
    os.makedirs(folder, exist_ok=True)
    table = os.path.join(folder, run + ".csv")
    command = ["frama-c", "-machdep", "gcc_x86_32", "-cpp-extra-args=-Istore " + RUNS[run], "-eva", "-eva-precision", "1",
               "-eva-domains", "symbolic-locations,equality", "-eva-no-show-progress",
               "tools/eva/main.c", "store/store.c", "-then", "-report-no-proven", "-report-csv", table]
    done = subprocess.run(command, cwd=ROOT, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    with open(os.path.join(folder, run + ".txt"), "w", encoding="utf-8") as log:
        log.write(done.stdout + done.stderr)
    if done.returncode != 0:
        sys.exit("eva: frama-c failed:\n" + done.stdout[-2000:] + done.stderr[-2000:])
    alarms = set()
    with open(table, encoding="utf-8", newline="") as rows:
        for row in csv.DictReader(rows, delimiter="\t", quoting=csv.QUOTE_NONE):
            # What is asked of a function of the C library stands twice, at the call and at the function; the call says more.
            if row["directory"].startswith("FRAMAC_SHARE"):
                continue
            if row["status"] != "Unknown":
                sys.exit("eva: %s in %s has the status '%s': %s" % (row["property kind"], row["function"], row["status"], row["property"]))
            alarms.add((row["function"], re.sub(r"\btmp(_\d+)?\b", "tmp", row["property"])))
    return done.stdout, alarms


def explained():
    """The rows of the document's table: {(function, what could not be shown)}."""
    rows = set()
    with open(os.path.join(ROOT, TABLE), encoding="utf-8") as lines:
        for line in lines:
            row = re.match(r"\| `(\w+)` \| (.+?) \| .+ \|$", line)
            if row:
                rows.update((row.group(1), what) for what in re.findall(r"`([^`]+)`", row.group(2)))
    return rows


def main():
    table = explained()
    alarms = set()
    enough = True
    with concurrent.futures.ThreadPoolExecutor() as pool:
        for run, (log, found) in zip(RUNS, pool.map(analyse, RUNS)):
            alarms |= found
            functions = re.search(r"(\d+) functions analyzed \(out of (\d+)\)", log)
            statements = re.search(r"(\d+) statements reached \(out of (\d+)\): (\d+)%", log)
            if not functions or not statements or int(statements.group(3)) < STATEMENTS_MIN:
                print("eva: %s: too little was analysed; see %s/%s.txt" % (run, OUT, run), file=sys.stderr)
                enough = False
            else:
                print("eva: %s: any flash contents, %s of %s functions, %s of %s statements reached, %d alarms"
                      % (run, *functions.groups(), *statements.groups()[:2], len(found)))
    for function, what in sorted(alarms - table):
        print("eva: %s: not shown, and not explained in %s: %s" % (function, TABLE, what), file=sys.stderr)
    for function, what in sorted(table - alarms):
        print("eva: %s: explained in %s, and no alarm any more: %s" % (function, TABLE, what), file=sys.stderr)
    if alarms != table or not enough:
        return 1
    print("eva: %d alarms in all, each explained in %s" % (len(alarms), TABLE))
    return 0


if __name__ == "__main__":
    sys.exit(main())
