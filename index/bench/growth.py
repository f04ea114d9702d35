"""Plots the cost of a query against the size of the library.

    cargo build --release -p curve-index --example nearest
    python index/bench/growth.py OUT LIBRARY.npy QUERIES.npy [QUERIES.npy ...]

Libraries are the first 1,000, 3,000, 10,000 ... curves of LIBRARY (float32, curves x frames x channels).
One thread, band 10, k = 10; a query's time is the smaller of two runs. Writes OUT.csv (median and 95th
percentile per size and query set) and OUT.svg.
"""

import csv
import math
import os
import pathlib
import statistics
import sys
import tempfile

import numpy as np

from rivals import engine

RUNS = 2
COLOURS = ("#1f5f8b", "#b4501e", "#4a7a2c")


def sizes(most):
    steps = [int(lead * 10**power) for power in range(3, 9) for lead in (1, 3)]
    inner = [size for size in steps if size < 0.9 * most]
    return [*inner, most]


def measure(library, queries):
    names = [pathlib.Path(path).stem for path in queries]
    sets = [np.load(path) for path in queries]
    whole = np.load(library, mmap_mode="r")
    rows = []
    with tempfile.TemporaryDirectory(dir=os.path.dirname(os.path.abspath(library))) as folder:
        both, part = pathlib.Path(folder) / "queries.npy", pathlib.Path(folder) / "part.npy"
        np.save(both, np.concatenate(sets * RUNS))
        for size in sizes(len(whole)):
            if size < len(whole):
                np.save(part, whole[:size])
            times = [line[2] for line in engine(part if size < len(whole) else library, both, "pruned")]
            best = np.array(times).reshape(RUNS, -1).min(axis=0)
            start = 0
            for name, queries_of in zip(names, sets):
                own = sorted(best[start : start + len(queries_of)])
                start += len(queries_of)
                row = (size, name, statistics.median(own), own[len(own) * 95 // 100])
                rows.append(row)
                print(*row, flush=True)
    return rows


def svg(rows):
    width, height, left, top, right, bottom = 720, 440, 70, 20, 150, 50
    x_range = (3, math.log10(max(row[0] for row in rows)))
    y_range = (
        math.floor(math.log10(min(row[2] for row in rows))),
        math.ceil(math.log10(max(row[3] for row in rows))),
    )
    x = lambda size: left + (math.log10(size) - x_range[0]) / (x_range[1] - x_range[0]) * (width - left - right)
    y = lambda ms: top + (y_range[1] - math.log10(ms)) / (y_range[1] - y_range[0]) * (height - top - bottom)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        'font-family="sans-serif" font-size="13" role="img">',
        "<title>Milliseconds a query against curves in the library, both axes logarithmic</title>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
    ]
    for power in range(y_range[0], y_range[1] + 1):
        at = y(10.0**power)
        out.append(f'<path d="M{left} {at:.1f}H{width - right}" stroke="#ddd"/>')
        out.append(f'<text x="{left - 8}" y="{at + 4:.1f}" text-anchor="end">{10.0**power:g} ms</text>')
    for power in range(3, int(x_range[1] + 0.01) + 1):
        out.append(f'<text x="{x(10**power):.1f}" y="{height - 25}" text-anchor="middle">{10**power:,}</text>')
    out.append(f'<text x="{(left + width - right) / 2}" y="{height - 6}" text-anchor="middle">curves</text>')
    for name, colour in zip(dict.fromkeys(row[1] for row in rows), COLOURS):
        own = [row for row in rows if row[1] == name]
        for place, dash, label in ((2, "", "median"), (3, ' stroke-dasharray="5 4"', "p95")):
            line = "L".join(f"{x(row[0]):.1f} {y(row[place]):.1f}" for row in own)
            out.append(f'<path d="M{line}" fill="none" stroke="{colour}" stroke-width="2"{dash}/>')
            end = y(own[-1][place]) + 4
            out.append(f'<text x="{width - right + 6}" y="{end:.1f}" fill="{colour}">{name} {label}</text>')
    return "\n".join([*out, "</svg>", ""])


def main():
    if len(sys.argv) < 4:
        raise SystemExit(__doc__)
    out, library, *queries = sys.argv[1:]
    rows = measure(library, queries)
    with open(f"{out}.csv", "w", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(("curves", "query_set", "median_ms", "p95_ms"))
        table.writerows((size, name, f"{median:.3f}", f"{high:.3f}") for size, name, median, high in rows)
    pathlib.Path(f"{out}.svg").write_text(svg(rows))


if __name__ == "__main__":
    main()
