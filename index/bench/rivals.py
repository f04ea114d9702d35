"""Times the engine beside reference libraries on the same arrays, and checks that all agree.

    pip install numpy dtaidistance aeon tslearn
    cargo build --release -p curve-index --example nearest
    python index/bench/rivals.py LIBRARY.npy QUERIES.npy [--queries 5] [--record]

Both files hold float32 arrays (curves, frames, channels). Every library answers the same queries over
the whole library, one thread each. Times are medians over queries, milliseconds; ratios are against
the pruned engine in the same run. "behind LB_Keogh" is our own plain search: bounds of all curves, sorted,
then DTW, abandoned early. dtaidistance runs both as it is and with what is best so far as its limit, curve
after curve; not with its pruning, which version 2.5.1 answers with infinity for some near pairs (4.68 and 4.90
among 10,000 drawn curves). (stumpy compares windows of equal length lock-step, z-normalised or not, and knows no DTW.)
--record appends to index/bench/record/<processor>/<date>-rivals.csv, with the commit, the format of the
index, the lanes asked for, the threads, and the share of curves that reached each stage.
"""

import argparse
import datetime
import importlib.metadata
import json
import math
import os
import pathlib
import re
import statistics
import subprocess
import tempfile
import time

import numpy as np

BAND, K = 10, 10
HERE = pathlib.Path(__file__).resolve().parent


def engine(library, queries, strategy):
    target = os.environ.get("CARGO_TARGET_DIR", HERE.parent.parent / "target")
    binary = pathlib.Path(target) / "release" / "examples" / "nearest"
    command = [binary, library, queries, "--band-frames", str(BAND), "-k", str(K), "--strategy", strategy]
    run = subprocess.run(list(map(str, command)), check=True, capture_output=True, text=True)
    lines = [json.loads(line) for line in run.stdout.splitlines()]
    return [(line["ids"], line["distances"], line["milliseconds"], line["shares"]) for line in lines]


def limited(one_curve, library):
    """The K nearest, each curve compared with the K-th best so far as a limit."""

    def one_query(query):
        best = []
        for number, curve in enumerate(library):
            limit = best[-1][0] if len(best) == K else math.inf
            distance = one_curve(query, curve, limit)
            if distance < limit:
                best = sorted([*best, (distance, number)])[:K]
        distances = np.full(len(library), math.inf)
        distances[[number for _, number in best]] = [distance for distance, _ in best]
        return distances

    return one_query


def ranked(distances):
    order = np.lexsort((np.arange(len(distances)), distances))[:K]
    return order.tolist(), np.asarray(distances)[order].tolist()


def timed(name, one_query, queries):
    one_query(queries[0])  # compiles, warms up
    answers = []
    for query in queries:
        start = time.perf_counter()
        distances = one_query(query)
        answers.append((*ranked(distances), (time.perf_counter() - start) * 1e3, {}))
    return f"{name} {importlib.metadata.version(name)}", answers


def rivals(library, queries):
    from aeon.distances import dtw_pairwise_distance
    from dtaidistance import dtw_ndim
    from tslearn.metrics import cdist_dtw

    wide = np.ascontiguousarray(library, dtype=np.float64)
    across = np.ascontiguousarray(wide.transpose(0, 2, 1))
    share = (BAND + 1e-9) / library.shape[1]
    yield timed(
        "dtaidistance",
        lambda q: [dtw_ndim.distance_fast(q, c, window=BAND + 1) for c in wide],
        queries,
    )
    nearest_fast = limited(
        lambda q, c, most: dtw_ndim.distance_fast(q, c, max_dist=most * (1 + 1e-9), window=BAND + 1), wide
    )
    name, answers = timed("dtaidistance", nearest_fast, queries)
    yield f"{name} limited", answers
    yield timed(
        "aeon",
        lambda q: np.sqrt(dtw_pairwise_distance(q.T[None], across, window=share)[0]),
        queries,
    )
    yield timed(
        "tslearn",
        lambda q: cdist_dtw(q[None], wide, global_constraint="sakoe_chiba", sakoe_chiba_radius=BAND)[0],
        queries,
    )


def conditions():
    """Commit, format of the index, lanes asked for, threads."""
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], cwd=HERE, capture_output=True, text=True)
    page = (HERE.parent / "docs" / "format.md").read_text()
    version = re.search(r"# The index file, format (\d+)", page)[1]
    return commit.stdout.strip(), version, os.environ.get("CURVE_INDEX_LANES", "best"), 1


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("library")
    parser.add_argument("queries")
    parser.add_argument("--queries", dest="count", type=int, default=5)
    parser.add_argument("--record", action="store_true")
    args = parser.parse_args()
    library = np.load(args.library, mmap_mode="r")
    queries = np.load(args.queries)[: args.count]
    with tempfile.TemporaryDirectory() as folder:
        some = pathlib.Path(folder) / "queries.npy"
        np.save(some, queries)
        results = [
            (f"curve-index {strategy}", engine(args.library, some, strategy)) for strategy in ("pruned", "keogh", "scan")
        ]
    results += rivals(library, np.ascontiguousarray(queries, dtype=np.float64))
    want = results[0][1]
    base = statistics.median(answer[2] for answer in want)
    rows = []
    for name, answers in results:
        for (ids, distances, *_), (want_ids, want_distances, *_) in zip(answers, want):
            assert ids == want_ids, (name, ids, want_ids)
            assert np.allclose(distances, want_distances, rtol=1e-5), name
        median = statistics.median(answer[2] for answer in answers)
        of = pathlib.Path(args.queries).stem
        shares = answers[0][3]
        means = {stage: statistics.mean(answer[3][stage] for answer in answers) for stage in shares}
        left = " ".join(f"{stage}={share:.4f}" for stage, share in means.items())
        figures = (f"{median:.3f}", f"{median / base:.1f}")
        rows.append((f'"{name}"', len(library), of, len(queries), *figures, *conditions(), left))
        print(f"{name:24} n={len(library)} median {median:10.3f} ms, {median / base:8.1f} x the pruned engine")
    if args.record:
        cpu = pathlib.Path("/proc/cpuinfo")
        model = re.search(r"model name\s*:\s*(.*)", cpu.read_text()) if cpu.exists() else None
        machine = re.sub(r"\W+", "-", model[1] if model else "unknown").strip("-").lower()
        target = HERE / "record" / machine / f"{datetime.date.today()}-rivals.csv"
        target.parent.mkdir(parents=True, exist_ok=True)
        new = not target.exists()
        with target.open("a") as file:
            if new:
                file.write("what,curves,query_set,queries,median_ms,ratio_to_pruned,commit,format,lanes,threads,shares\n")
            file.writelines(",".join(map(str, row)) + "\n" for row in rows)


if __name__ == "__main__":
    main()
