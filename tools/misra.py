#!/usr/bin/env python3
"""Checks store/ with cppcheck's MISRA C:2012 addon, and holds what it finds against the table of deviations in store/MISRA.md.

Fails on a finding that the table does not name (rule and function), on a line of the table that nothing needs any more, and on any
other error or warning of cppcheck. Texts of rules, where they are printed, are ours: tools/misra_rules.txt.
"""

import json
import os
import re
import subprocess
import sys
import tempfile

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
TABLE = "store/MISRA.md"
RULES = "tools/misra_rules.txt"
FEATURES = ("PERDURE_TOTALS", "PERDURE_LOGS", "PERDURE_PUT_NOW", "PERDURE_UNKNOWN", "PERDURE_FORMAT_CALL", "PERDURE_BAD_BLOCKS", "PERDURE_HEALTH")
# A 32-bit part, an 8-bit one (whose int has 16 bits), and the store with every feature left out.
RUNS = (
    ["--platform=unix32"],
    ["--platform=avr8"],
    ["--platform=unix32"] + ["-D%s=0" % feature for feature in FEATURES],
)
OUTSIDE = "outside functions"
THROUGHOUT = "throughout"


def functions_of(path):
    """By line number (from 1): the name of the function that the line belongs to, or OUTSIDE."""
    names, now = [OUTSIDE], OUTSIDE
    with open(path, encoding="utf-8") as lines:
        for line in lines:
            begins = re.match(r"[a-z][^;]*?(\w+)\([^;]*$", line)
            if begins and not line.startswith("typedef"):
                now = begins.group(1)
            names.append(now)
            if line.startswith("}"):
                now = OUTSIDE
    return names


def findings():
    """Of all runs: {(rule, file, line, function)} and the other errors and warnings."""
    found, other = set(), set()
    with tempfile.TemporaryDirectory() as folder:
        addon = os.path.join(folder, "misra.json")
        # Without a text of its own for each rule, cppcheck shows one finding of several on the same spot.
        texts = os.path.join(folder, "texts")
        with open(texts, "w", encoding="utf-8") as file:
            file.write("Appendix A Summary of guidelines\n")
            file.writelines("Rule %d.%d Required\nrule %d.%d\n" % (i, j, i, j) for i in range(1, 24) for j in range(1, 32))
        with open(addon, "w", encoding="utf-8") as file:
            json.dump({"script": "misra.py", "args": ["--rule-texts=" + texts]}, file)
        for run in RUNS:
            command = ["cppcheck", "-q", "--std=c99", "--addon=" + addon, "--enable=style,warning", "--suppress=missingIncludeSystem",
                       # A struct is handed on with one member set; Eva and the sanitizers are what looks at the others.
                       "--suppress=ctuuninitvar",
                       "--template={file}\t{line}\t{severity}\t{id}\t{message}", *run, "store/store.c"]
            done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
            for line in done.stderr.splitlines():
                if line.count("\t") != 4:
                    sys.exit("misra: cppcheck said: " + line)
                path, number, severity, name, message = line.split("\t")
                rule = re.fullmatch(r"misra-c2012-(\d+\.\d+)", name)
                if rule:
                    found.add((rule.group(1), path, int(number), functions_of(os.path.join(ROOT, path))[int(number)]))
                elif severity in ("error", "warning") or name.startswith("misra"):
                    other.add("%s:%s: %s: %s" % (path, number, name, message))
    return found, other


def deviations():
    """The rows of the table: {(rule, where): its number}. Where is a function, OUTSIDE or THROUGHOUT."""
    listed, numbers = {}, []
    with open(os.path.join(ROOT, TABLE), encoding="utf-8") as lines:
        for line in lines:
            cells = [cell.strip() for cell in line.strip().strip("|").split("|")]
            if not re.fullmatch(r"D\d+", cells[0]):
                continue
            if len(cells) != 6 or not all(cells):
                sys.exit("misra: %s: %s needs six cells, none empty" % (TABLE, cells[0]))
            numbers.append(cells[0])
            for where in cells[3].split(","):
                key = (cells[1], where.strip().strip("`"))
                if key in listed:
                    sys.exit("misra: %s: %s and %s say the same" % (TABLE, listed[key], cells[0]))
                listed[key] = cells[0]
    if numbers != ["D%d" % (i + 1) for i in range(len(numbers))] or not numbers:
        sys.exit("misra: %s: the deviations are not numbered D1, D2, ..." % TABLE)
    return listed


def rule_texts():
    """{rule: our words for it}."""
    with open(os.path.join(ROOT, RULES), encoding="utf-8") as file:
        return dict(re.findall(r"^(\d+\.\d+) +(.+)$", file.read(), re.M))


def main():
    found, other = findings()
    listed, texts = deviations(), rule_texts()
    used, failed = set(), sorted(other)
    for rule, path, line, function in sorted(found, key=lambda f: (f[1], f[2], f[0])):
        keys = [key for key in ((rule, function), (rule, THROUGHOUT)) if key in listed]
        used.update(keys)
        if not keys:
            failed.append("%s:%d: rule %s in %s: %s" % (path, line, rule, function, texts.get(rule, "no words of ours for it yet")))
    stale = ["%s: %s: rule %s is not met with in %s any more" % (TABLE, listed[key], *key) for key in listed if key not in used]
    for line in failed + stale:
        print(line, file=sys.stderr)
    if failed or stale:
        print("misra: %d findings that %s does not name, %d names too many" % (len(failed), TABLE, len(stale)), file=sys.stderr)
        return 1
    print("misra: store/ checked with cppcheck's MISRA C:2012 addon: %d findings under %d rules, each under one of %d deviations"
          % (len(found), len({f[0] for f in found}), len(set(listed.values()))))
    return 0


if __name__ == "__main__":
    sys.exit(main())
