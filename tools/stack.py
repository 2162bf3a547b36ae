#!/usr/bin/env python3
"""The deepest stack of each public call of a C file, along the calls in the compiler's own assembly.

    stack.py FILE.s FILE.su RETURN_BYTES

FILE.su is what -fstack-usage wrote, a frame a function; RETURN_BYTES is what a call itself pushes beside the frame (2 on an AVR, 0 where
the frame holds the return address). Prints a line a public function: its name, its bytes, the chain with the bytes of each. Calls through pointers (the
port, a visitor) and of the C library are not in it: theirs come on top. Ends with 1 for recursion, or where it finds no function.
"""
import re
import sys

CALLS = re.compile(r"^\s+(?:bl|blx|b|b\.w|call|rcall|jmp|rjmp|tail|jal)\s+([A-Za-z_][\w.]*)(?:@plt)?\s*(?:[@#;].*)?$")


def read_frames(path):
    """function -> bytes of its frame"""
    frames = {}
    with open(path) as lines:
        for line in lines:
            where, size, _ = line.rstrip("\n").split("\t")
            frames[where.split(":")[-1]] = int(size)
    return frames


def read_calls(path, functions):
    """function -> the functions of this file that it calls or jumps to; and which ones are public"""
    calls, public, inside = {}, set(), None
    with open(path) as lines:
        for line in lines:
            label = re.match(r"^([A-Za-z_][\w.]*):", line)
            if label and label.group(1) in functions:
                inside = label.group(1)
                calls[inside] = set()
            globl = re.match(r"^\s*\.glob[a]?l\s+(\S+)", line)
            if globl:
                public.add(globl.group(1))
            call = CALLS.match(line)
            if call and inside and call.group(1) in functions and call.group(1) != inside:
                calls[inside].add(call.group(1))
            elif call and inside and call.group(1) == inside and not call.group(0).strip().startswith(("b ", "jmp", "rjmp")):
                calls[inside].add(inside)
    return calls, public


def deepest(name, frames, calls, pushed, above=()):
    """bytes of the deepest chain from `name` on, and that chain"""
    if name in above:
        raise RecursionError(" -> ".join(above + (name,)))
    below = [deepest(other, frames, calls, pushed, above + (name,)) for other in sorted(calls.get(name, ()))]
    most, chain = max(below, default=(0, []), key=lambda one: one[0])
    return frames[name] + pushed + most, [name] + chain


def main():
    assembly, usage, pushed = sys.argv[1], sys.argv[2], int(sys.argv[3])
    frames = read_frames(usage)
    calls, public = read_calls(assembly, frames)
    shown = sorted(name for name in public if name in frames)
    if not shown or set(calls) != set(frames):
        sys.exit(f"stack: {assembly} and {usage} do not name the same functions")
    for name in shown:
        try:
            size, chain = deepest(name, frames, calls, pushed)
        except RecursionError as error:
            sys.exit(f"stack: recursion: {error}")
        print(name, size, " > ".join(f"{one} {frames[one] + pushed}" for one in chain))


if __name__ == "__main__":
    main()
