"""A measurement file read by asammdf, against the trace as CSV of the same drive.

measurement.py FILE.mf4 FILE.csv

Any difference is an exception, so that the exit code is not 0.
"""

import csv
import math
import sys

from asammdf import MDF

# By the end of a name before the colon, as docs/trace-format.md tells.
UNITS = {"s": "s", "mps": "m/s", "nm": "Nm", "radps": "rad/s", "j": "J"}


def require(condition, what):
    """An assertion that no flag of the interpreter turns off."""
    if not condition:
        raise AssertionError(what)


def number(x):
    """As the trace writes it; nothing for no number."""
    if math.isnan(x):
        return ""
    out = f"{x:.6f}".rstrip("0").rstrip(".")
    return "0" if out == "-0" else out


def text(x):
    return x.decode("utf-8").rstrip("\0") if isinstance(x, bytes) else str(x)


def main(measurement, trace):
    with open(trace, newline="", encoding="utf-8") as file:
        lines = list(csv.reader(file))
    head, rows = lines[0], lines[1:]
    mdf = MDF(measurement)
    require(mdf.version.startswith("4."), mdf.version)
    require(len(mdf.groups) == 1 and len(mdf.file_history) == 1, "groups or history")
    names = [channel.name for channel in mdf.groups[0].channels]
    require(names == head, f"names: {names}")
    words = 0
    for at, name in enumerate(head):
        signal = mdf.get(name)
        what = name.partition(":")[0]
        unit = UNITS.get(what.rpartition("_")[2], "") if "_" in what else ""
        require(signal.unit == unit, f"{name}: unit {signal.unit!r}, not {unit!r}")
        require(len(signal.samples) == len(rows), f"{name}: {len(signal.samples)} values")
        kind = signal.samples.dtype.kind
        show = number if kind == "f" else text
        words += kind in "SUO"
        for n, (sample, row) in enumerate(zip(signal.samples, rows)):
            got = show(sample)
            require(got == row[at], f"{name}, line {n + 2}: {got!r}, not {row[at]!r}")
        if at > 0:
            require(number(signal.timestamps[-1]) == rows[-1][0], f"{name}: time")
    require(words >= 7, f"{words} columns of words")
    print(f"{len(rows)} lines of {len(head)} columns", file=sys.stderr)


if __name__ == "__main__":
    main(*sys.argv[1:])
