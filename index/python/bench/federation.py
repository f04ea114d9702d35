"""Times shards on 1 and on 2 workers of this machine: building, opening, asking, memory.

    python federation.py FOLDER [--shards 8] [--curves 125000] [--questions 40] [--record]

FOLDER takes the shards (6.9 KB a curve) and is kept, so a second run asks without building. Curves are invented:
101 x 12, clusters of players and days, 25 serves a player; questions are new serves of players that are there.
Answers are compared with those of every shard asked without a cutoff and merged. --record appends to
index/python/bench/record/<processor>/<date>.csv.
"""

import argparse
import csv
import datetime
import os
import pathlib
import re
import time

import numpy as np
import psutil
from distributed import Client, LocalCluster

from curve_index import Index, shards

FRAMES, CHANNELS, BUMPS, PER_PLAYER, PER_DAY = 101, 12, 10, 25, 5
BAND, K = 10, 10


def serves(players, seed, spread=1.0):
    """Each player's serve or serves of this seed: players x frames x channels, float32."""
    rng = np.random.default_rng(seed)
    common = np.random.default_rng(0).normal(size=(BUMPS, CHANNELS))
    made = np.empty((len(players), FRAMES, CHANNELS), dtype=np.float32)
    time_ = np.linspace(0, 1, FRAMES)
    centres = (np.arange(BUMPS) + 0.5) / BUMPS
    for at in range(0, len(players), 5000):
        some = players[at : at + 5000]
        own = np.stack([np.random.default_rng([1, one]).normal(size=common.shape) for one in np.unique(some)])
        own = own[np.unique(some, return_inverse=True)[1]]
        days = rng.normal(size=(-(-len(some) // PER_DAY), *common.shape)).repeat(PER_DAY, axis=0)[: len(some)]
        weights = common + 0.45 * spread * own + 0.12 * days + 0.12 * rng.normal(size=own.shape)
        late = 0.02 * rng.normal(size=(len(some), 1)) * np.sin(np.pi * time_)
        bumps = np.exp(-0.5 * (((time_ + late)[:, :, None] - centres) / 0.07) ** 2)
        noise = rng.normal(scale=0.02, size=(len(some), FRAMES, CHANNELS))
        made[at : at + 5000] = np.matmul(bumps, weights) + noise
    return made


def make(number, curves, folder):
    """The arrays of one shard, as files: whose numbers they are is told by the numbers."""
    ids = np.arange(number * curves, (number + 1) * curves)
    np.save(f"{folder}/{number}-ids.npy", ids)
    np.save(f"{folder}/{number}.npy", serves(ids // PER_PLAYER, [2, number]))


def memory():
    """What this worker holds: pages in memory in all, of which mapped files."""
    about = psutil.Process().memory_info()
    return about.rss, about.shared


def worked(client):
    """Processor time of all workers so far, in seconds: other people's load does not count."""
    return sum(client.run(time.process_time).values())


def cluster(workers):
    return LocalCluster(
        n_workers=workers, threads_per_worker=1, host="127.0.0.1", dashboard_address="127.0.0.1:0", memory_limit=0
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--shards", type=int, default=8)
    parser.add_argument("--curves", type=int, default=125_000)
    parser.add_argument("--questions", type=int, default=40)
    parser.add_argument("--record", action="store_true")
    args = parser.parse_args()
    args.folder.mkdir(parents=True, exist_ok=True)
    rows = []

    def note(what, workers, value, unit):
        load = os.getloadavg()[0]
        rows.append((what, args.shards, args.shards * args.curves, workers, f"{value:.4g}", unit, f"{load:.1f}"))
        print(f"{what:44} {workers} workers {value:10.4g} {unit:3} (load {load:.1f})", flush=True)

    paths = {f"s{number}": args.folder / f"s{number}.index" for number in range(args.shards)}
    if not all(path.exists() for path in paths.values()):
        with cluster(2) as two, Client(two) as client:
            client.gather(client.map(make, range(args.shards), curves=args.curves, folder=str(args.folder)))
            parts = {
                f"s{n}": (str(args.folder / f"{n}.npy"), str(args.folder / f"{n}-ids.npy"))
                for n in range(args.shards)
            }
            start, before = time.perf_counter(), worked(client)
            shards.build(client, parts, args.folder)
            note("building all shards", 2, time.perf_counter() - start, "s")
            note("processor time of that", 2, worked(client) - before, "s")
        for number in range(args.shards):
            (args.folder / f"{number}.npy").unlink()
            (args.folder / f"{number}-ids.npy").unlink()
    size = sum(path.stat().st_size for path in paths.values())
    note("file, a curve", 0, size / (args.shards * args.curves), "B")

    rng = np.random.default_rng(5)
    players = rng.integers(0, args.shards * args.curves // PER_PLAYER, args.questions)
    questions = serves(players, 77)

    # What the answers have to be, and what the engine alone takes, in this process.
    indexes = [Index.open(path) for path in paths.values()]
    for index in indexes:
        index.nearest(questions[0], K, band_frames=BAND)
    want, alone, told = [], [], []
    for query in questions:
        start = time.process_time()
        found = [index.nearest(query, K, band_frames=BAND) for index in indexes]
        alone.append(time.process_time() - start)
        best = sorted((cost, one) for some in found for cost, one in zip(some.costs.tolist(), some.ids.tolist()))[:K]
        want.append(best)
        start = time.process_time()
        for index in indexes:
            index.nearest(query, K, band_frames=BAND, cutoff=best[-1][0])
        told.append(time.process_time() - start)
    note("processor time, all shards, no cutoff", 0, 1e3 * np.median(alone), "ms")
    note("processor time, told the k-th cost at first", 0, 1e3 * np.median(told), "ms")
    for index in indexes:
        index.close()

    for workers in (1, 2):
        with cluster(workers) as some, Client(some) as client:
            at_first = client.run(memory)
            start = time.perf_counter()
            made = shards.find(client, paths)
            note("opening all shards", workers, time.perf_counter() - start, "s")
            shards.nearest(client, made, questions[0], K, band_frames=BAND)
            times, before = [], worked(client)
            for query, best in zip(questions, want):
                start = time.perf_counter()
                found = shards.nearest(client, made, query, K, band_frames=BAND)
                times.append(time.perf_counter() - start)
                assert found.ids.tolist() == [one for _, one in best]
                assert found.costs.tolist() == [cost for cost, _ in best]
            note("a question, median", workers, 1e3 * np.median(times), "ms")
            note("a question, 95 of 100 at most", workers, 1e3 * np.quantile(times, 0.95), "ms")
            note("processor time of the workers, a question", workers, (worked(client) - before) * 1e3 / len(want), "ms")
            times, before = [], worked(client)
            for query, player, best in zip(questions, players, want):
                own = f"s{player * PER_PLAYER // args.curves}"
                start = time.perf_counter()
                found = shards.nearest(client, made, query, K, band_frames=BAND, first=[own])
                times.append(time.perf_counter() - start)
                assert found.ids.tolist() == [one for _, one in best]
            note("the player's own shard first, median", workers, 1e3 * np.median(times), "ms")
            note("own first: processor time of the workers", workers, (worked(client) - before) * 1e3 / len(want), "ms")
            note("questions side by side, each", workers, side_by_side(client, made, questions), "ms")
            start = time.perf_counter()
            for _ in range(20):
                client.gather([client.submit(len, [], pure=False) for _ in made])
            note("as many futures that do nothing", workers, 1e3 * (time.perf_counter() - start) / 20, "ms")
            after = client.run(memory)
            grown = [after[one][0] - at_first[one][0] for one in after]
            note("memory of a worker above that at its start", workers, np.mean(grown) / 1e6, "MB")
            mapped = [after[one][1] - at_first[one][1] for one in after]
            note("of which mapped from the files", workers, np.mean(mapped) / 1e6, "MB")

    if args.record:
        cpu = pathlib.Path("/proc/cpuinfo")
        model = re.search(r"model name\s*:\s*(.*)", cpu.read_text()) if cpu.exists() else None
        machine = re.sub(r"\W+", "-", model[1] if model else "unknown").strip("-").lower()
        target = pathlib.Path(__file__).parent / "record" / machine / f"{datetime.date.today()}.csv"
        target.parent.mkdir(parents=True, exist_ok=True)
        new = not target.exists()
        with target.open("a", newline="") as file:
            table = csv.writer(file, lineterminator="\n")
            if new:
                table.writerow(["what", "shards", "curves", "workers", "value", "unit", "load"])
            table.writerows(rows)


def side_by_side(client, made, questions):
    """Milliseconds a question where four are under way at a time."""
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(4) as pool:
        start = time.perf_counter()
        jobs = [pool.submit(shards.nearest, client, made, one, K, band_frames=BAND) for one in questions]
        for job in jobs:
            job.result()
        return 1e3 * (time.perf_counter() - start) / len(questions)


if __name__ == "__main__":
    main()
