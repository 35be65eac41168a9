"""Look up in a table that ``matdb export table PART --axis axial --csv table.csv`` wrote; needs no matdb."""

import csv
import math
import sys

FILE = sys.argv[1]  # then lines of degrees Celsius and Hz; answers N/mm and damping ratio
with open(FILE, encoding="utf-8-sig", newline="") as lines:
    rows = list(csv.DictReader(lines))
node = {(float(r["temperature_c"]), float(r["frequency_hz"])): r for r in rows}
kelvin, hertz = (sorted(set(each)) for each in zip(*node, strict=True))

for line in sys.stdin:
    t, f = map(float, line.split())
    if not (kelvin[0] <= t <= kelvin[-1] and hertz[0] <= f <= hertz[-1]):
        sys.exit(f"{t} degC and {f} Hz are outside the table")
    cold = math.floor(t)
    low = max(h for h in hertz[:-1] if h <= f)
    high = hertz[hertz.index(low) + 1]
    u, v = t - cold, math.log(f / low) / math.log(high / low)
    corners = {(cold, low): (1 - u) * (1 - v), (cold, high): (1 - u) * v}
    corners |= {(cold + 1, low): u * (1 - v), (cold + 1, high): u * v}
    for name in ("stiffness_n_per_mm", "damping_ratio"):
        print(sum(share * float(node[at][name]) for at, share in corners.items() if share), end=" ")
    print()
