"""Many indexes on four workers answer as one; a worker that is killed takes nothing with it unsaid."""

import os
import pathlib
import signal
import threading
import time

import numpy as np
import pytest
from distributed import Client, LocalCluster
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from oracle import nearest as brute_force

from curve_index import Index, shards
from curve_index.shards import ShardsMissing

WORKERS = 4


@pytest.fixture(scope="module")
def client():
    with (
        LocalCluster(
            n_workers=WORKERS, threads_per_worker=1, processes=True, host="127.0.0.1",
            dashboard_address="127.0.0.1:0", memory_limit=0,
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


@pytest.fixture(scope="module")
def serves():
    """Invented: 30 players with 20 serves each, whole numbers, so costs are exact; some serves are equal."""
    rng = np.random.default_rng(12)
    players = np.repeat([f"player{number}" for number in range(30)], 20)
    middles = rng.integers(-9, 10, (30, 12, 3))
    curves = (np.repeat(middles, 20, axis=0) + rng.integers(-2, 3, (600, 12, 3))).astype(np.float32)
    curves[rng.permutation(600)[:80]] = curves[5]
    return players, curves, rng.permutation(5000)[:600]


def split(serves, numbers):
    _, curves, ids = serves
    return {
        f"s{number}": (curves[numbers == number], ids[numbers == number])
        for number in np.unique(numbers).tolist()
    }


def test_a_players_serves_lie_in_one_shard(serves):
    players = serves[0]
    numbers = shards.assign(players, 7)
    assert set(numbers) <= set(range(7)) and len(set(numbers)) > 3
    for player in set(players):
        assert len(set(numbers[players == player])) == 1
    # Forever the same: CRC-32 as IEEE 802.3 has it, of "player0", is 0x... modulo 7.
    assert shards.assign(["123456789"], 1000).tolist() == [0xCBF43926 % 1000]


def test_shards_answer_as_one_index(client, serves, tmp_path):
    players, curves, ids = serves
    whole = Index.build(curves, ids)
    for count in (1, 4, 11):
        made = shards.build(client, split(serves, shards.assign(players, count)), tmp_path)
        assert sum(one.curves for one in made) == 600
        assert made == shards.find(client, {one.name: one.path for one in made})
        for query, k, how in (
            (curves[5], 100, {}),
            (curves[77], 10, dict(band_frames=3, weights=[1, 0, 2])),
            (curves[300] + 1, 7, dict(ids=ids[::3], threads=2)),
            (curves[301], 5, dict(not_ids=ids[300:310])),
            (curves[302], 700, dict(cutoff=300.0)),
            (curves[303], 0, {}),
        ):
            want = whole.nearest(query, k, **how)
            for first in ([], [made[-1].name]):
                got = shards.nearest(client, made, query, k, first=first, **how)
                assert got.ids.tolist() == want.ids.tolist()
                assert got.costs.tolist() == want.costs.tolist()
    want_ids, want_costs = brute_force(curves[5], curves, ids, 100)
    got = shards.nearest(client, made, curves[5], 100)
    assert (got.ids.tolist(), got.costs.tolist()) == (want_ids, want_costs)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(1, 9), k=st.integers(1, 120))
def test_any_split_gives_the_same_answer(client, serves, tmp_path, seed, count, k):
    _, curves, ids = serves
    rng = np.random.default_rng(seed)
    made = shards.build(client, split(serves, rng.integers(0, count, 600)), tmp_path)
    query = curves[rng.integers(600)] + rng.integers(-1, 2, curves[0].shape)
    want = Index.build(curves, ids).nearest(query, k, band_frames=2)
    got = shards.nearest(client, made, query, k, band_frames=2)
    assert got.ids.tolist() == want.ids.tolist() and got.costs.tolist() == want.costs.tolist()


def test_later_shards_are_asked_with_the_best_so_far(client, serves, tmp_path):
    """Eight shards on four workers: the second four are told the cost of the k-th best of some answer."""
    players, curves, ids = serves

    def spy(folder, dask_worker):
        import curve_index.shards

        true = curve_index.shards._opened

        class Spy:
            def __init__(self, index):
                self.index = index

            def __len__(self):
                return len(self.index)

            def nearest(self, query, k, *, cutoff):
                with open(f"{folder}/asked", "a") as file:
                    file.write(f"{cutoff}\n")
                return self.index.nearest(query, k, cutoff=cutoff)

        curve_index.shards._opened = lambda path: Spy(true(path))
        dask_worker.true_opened = true

    def leave(dask_worker):
        import curve_index.shards

        curve_index.shards._opened = dask_worker.true_opened

    made = shards.build(client, split(serves, np.arange(600) % 8), tmp_path)
    client.run(spy, str(tmp_path))
    try:
        found = shards.nearest(client, made, curves[100], 3)
        told = sorted(float(line) for line in (tmp_path / "asked").read_text().split())
        assert len(told) == 8 and told[4:] == [np.inf] * 4 and told[3] < np.inf and told[0] >= found.costs[-1]
        # One is asked before all others, which are told from the start.
        (tmp_path / "asked").unlink()
        again = shards.nearest(client, made, curves[100], 3, first=["s4"])
        told = sorted(float(line) for line in (tmp_path / "asked").read_text().split())
        assert len(told) == 8 and told[7] == np.inf and told[6] < np.inf
    finally:
        client.run(leave)
    assert again.ids.tolist() == found.ids.tolist() and again.costs.tolist() == found.costs.tolist()


def test_what_does_not_hold_names_the_shard(client, serves, tmp_path):
    parts = split(serves, np.arange(600) % 3)
    curves, ids = parts["s1"]
    bad = curves.copy()
    bad[4, 0, 0] = np.nan
    with pytest.raises(ValueError, match="frame 0, channel 0 is NaN") as caught:
        shards.build(client, parts | {"s1": (bad, ids)}, tmp_path)
    assert caught.value.__notes__ == ["shard s1"]
    made = shards.build(client, parts, tmp_path)
    with pytest.raises(ValueError, match="weights: one per channel"):
        shards.nearest(client, made, curves[0], weights=[1])
    with pytest.raises(ShardsMissing, match="shards: 1 of 2 gave no answer, so there is none: no .*No such file"):
        shards.find(client, {"s0": made[0].path, "no": tmp_path / "no.index"})

    with pytest.raises(ValueError, match="first: no shard has the name 'nowhere'; take one from the shards"):
        shards.nearest(client, made, curves[0], first=["nowhere"])
    with pytest.raises(ValueError, match="shards: none given, at least one is needed"):
        shards.nearest(client, [], curves[0])
    with pytest.raises(ValueError, match="shards: two have one name"):
        shards.nearest(client, [*made, made[0]], curves[0])

    # The same id in two shards.
    with Index.open(made[2].path, writable=True) as index:
        index.append(curves[:1], [int(ids[0])])
    with pytest.raises(ShardsMissing, match="s2 .*expected 200 curves, found 201; look for the shards again"):
        shards.nearest(client, made, curves[0], 5)
    made = shards.find(client, {one.name: one.path for one in made})
    with pytest.raises(ValueError, match=f"id {ids[0]}: held by the shards s"):
        shards.nearest(client, made, curves[0], 5)


def kill_while_asking(client, asked, shard, folder):
    """Asks, and kills the worker that has `shard` in hand, for which that worker waits; gives the outcome."""

    def hold(shard, folder, dask_worker):
        import curve_index.shards

        true = curve_index.shards._opened

        def opened(path):
            mark = pathlib.Path(folder) / "held"
            if path.endswith(f"/{shard}.index") and not mark.exists():
                mark.with_suffix(".part").write_text(str(os.getpid()))
                mark.with_suffix(".part").rename(mark)
                time.sleep(600)
            return true(path)

        curve_index.shards._opened = opened

    client.run(hold, shard, str(folder))
    outcome = []

    def ask():
        try:
            outcome.append(asked())
        except ShardsMissing as error:
            outcome.append(error)

    thread = threading.Thread(target=ask)
    thread.start()
    mark = pathlib.Path(folder) / "held"
    until = time.monotonic() + 30
    while not mark.exists():
        assert time.monotonic() < until, "nobody asked the shard"
        time.sleep(0.01)
    time.sleep(0.2)
    assert not outcome
    return thread, int(mark.read_text()), outcome


def test_of_four_workers_one_is_killed_and_the_answer_comes(client, serves, tmp_path):
    players, curves, ids = serves
    made = shards.build(client, split(serves, shards.assign(players, 8)), tmp_path)
    want = Index.build(curves, ids).nearest(curves[9], 50)
    ask = lambda: shards.nearest(client, made, curves[9], 50)
    thread, worker, outcome = kill_while_asking(client, ask, made[1].name, tmp_path)
    os.kill(worker, signal.SIGKILL)
    thread.join(60)
    assert outcome[0].ids.tolist() == want.ids.tolist() and outcome[0].costs.tolist() == want.costs.tolist()
    client.wait_for_workers(WORKERS, timeout=60)


def test_a_shard_that_went_with_its_worker_is_named(client, serves, tmp_path):
    """As where each machine has a disk of its own: the file is gone with the worker."""
    players, curves, ids = serves
    made = shards.build(client, split(serves, shards.assign(players, 8)), tmp_path)
    ask = lambda: shards.nearest(client, made, curves[9], 50)
    thread, worker, outcome = kill_while_asking(client, ask, made[1].name, tmp_path)
    os.remove(made[1].path)
    os.kill(worker, signal.SIGKILL)
    thread.join(60)
    assert isinstance(outcome[0], ShardsMissing)
    assert list(outcome[0].missing) == [made[1].name]
    assert str(outcome[0]).startswith(f"shards: 1 of {len(made)} gave no answer, so there is none: {made[1].name} (")
    client.wait_for_workers(WORKERS, timeout=60)


def test_a_shard_that_does_not_answer_in_time_is_named(client, serves, tmp_path):
    players, curves, _ = serves
    made = shards.build(client, split(serves, shards.assign(players, 8)), tmp_path)
    ask = lambda: shards.nearest(client, made, curves[9], 50, timeout=6.0)
    thread, worker, outcome = kill_while_asking(client, ask, made[1].name, tmp_path)
    thread.join(60)
    os.kill(worker, signal.SIGKILL)
    # What stood behind it in its queue was never asked.
    assert list(outcome[0].missing) == [made[1].name, made[5].name]
    assert set(outcome[0].missing.values()) == {"not within 6 s"}


def test_without_workers_every_shard_is_named(serves):
    with (
        LocalCluster(n_workers=0, host="127.0.0.1", dashboard_address="127.0.0.1:0") as cluster,
        Client(cluster) as client,
        pytest.raises(ShardsMissing, match=r"2 of 2 .* a \(there is no worker\), b \("),
    ):
        shards.nearest(client, [shards.Shard(name, "x", 1) for name in "ab"], serves[1][0])
