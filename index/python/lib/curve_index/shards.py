"""Many indexes asked as one, on as many machines, by plain futures of Dask `distributed`.

A shard is an index file with curves of its own; ids are unique over all of them. Shards are asked side by side,
each worker its own first. The cost of the k-th best answer so far goes along with every later question as its
cutoff, so those have less to look at. Merged by (cost, id), the answers are that of one index of all curves.

A worker that dies is Dask's business: another one asks its shard, if it can open the file. If it cannot,
`ShardsMissing` names the shard. A shorter list is never given.

Put all curves of one player into one shard (`assign`): then whoever has to be forgotten lies in one file.
"""

import zlib
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from os import PathLike, fspath, stat
from os.path import join
from time import monotonic
from typing import Any

import numpy as np
from distributed import Client, Future, wait
from numpy.typing import ArrayLike, NDArray

from ._answers import Neighbors
from ._engine import Index, IndexFileError

__all__ = ["Shard", "ShardsMissing", "assign", "build", "find", "nearest"]


@dataclass(frozen=True)
class Shard:
    """An index file that some worker can open."""

    name: str
    path: str
    curves: int
    """How many it holds; a file that holds another number is not the one meant."""


class ShardsMissing(Exception):
    """Shards that gave no answer, so there is none."""

    def __init__(self, missing: Mapping[str, str], of: int) -> None:
        super().__init__(missing, of)
        self.missing = dict(missing)
        """Names of the shards, and why each is missing."""
        self.of = of

    def __str__(self) -> str:
        each = ", ".join(f"{name} ({why})" for name, why in self.missing.items())
        return (
            f"shards: {len(self.missing)} of {self.of} gave no answer, so there is none: {each}; "
            "bring them back and ask again"
        )


def assign(owners: ArrayLike, count: int) -> NDArray[np.int64]:
    """The number of the shard (0 to count - 1) of each curve, by its owner: the same in every process.

    Parameters
    ----------
    owners : array of str or int, one per curve
        Whose curve it is: the player's code.
    count : int
        Shards there are.
    """
    names, places = np.unique(np.asarray(owners), return_inverse=True)
    numbers = [zlib.crc32(str(name).encode()) % count for name in names.tolist()]
    return np.array(numbers, dtype=np.int64)[places]


def build(
    client: Client,
    parts: Mapping[str, tuple[Any, Any]],
    folder: str | PathLike[str],
    *,
    timeout: float | None = None,
) -> list[Shard]:
    """Builds a shard of each part, side by side, as `<folder>/<name>.index`.

    Parameters
    ----------
    client : distributed.Client
    parts : mapping of names to (curves, ids)
        Either may be an array or, better where there are many, the path of an NPY file that workers can read:
        float32, curves x frames x channels, and whole numbers, one per curve. No id may come twice, in
        whatever shard.
    folder : path
        Where workers write; all of them see it, or each has one of its own.
    timeout : float, optional
        Seconds after which what is not built is missing. None: no limit.

    Raises
    ------
    ShardsMissing
        Naming every shard that could not be written.
    ValueError
        Curves or ids that do not hold; its note names the shard.
    """
    folder = fspath(folder)
    jobs = {name: (curves, ids, join(folder, f"{name}.index")) for name, (curves, ids) in parts.items()}
    return _each(client, _build, jobs, timeout)


def find(
    client: Client, paths: Mapping[str, str | PathLike[str]], *, timeout: float | None = 60.0
) -> list[Shard]:
    """Opens index files that are there already and counts their curves; also after a change to them.

    Raises
    ------
    ShardsMissing
        Naming every file that could not be opened.
    """
    return _each(client, _find, {name: (fspath(path),) for name, path in paths.items()}, timeout)


def nearest(
    client: Client,
    shards: Sequence[Shard],
    query: ArrayLike,
    k: int = 10,
    *,
    first: Iterable[str] = (),
    cutoff: float = np.inf,
    timeout: float | None = 60.0,
    **how: Any,
) -> Neighbors:
    """The k nearest curves of all shards, nearest first, ties to the smaller id: the answer of one index.

    Parameters
    ----------
    client : distributed.Client
    shards : sequence of Shard
    query : array of float32, frames x channels
    k : int
        How many; fewer come back only where fewer pass.
    first : iterable of str
        Names of shards to be asked before all others, so that these know from the start how near is near enough:
        where the player's other serves lie. Changes no answer, but its time a lot.
    cutoff : float
        Only curves with a cost of at most this.
    timeout : float, optional
        Seconds after which shards without an answer are missing. None: no limit.
    **how
        band_frames, weights, ids, not_ids, threads: as in `Index.nearest`.

    Raises
    ------
    ShardsMissing
        Naming every shard that gave no answer.
    ValueError
        As `Index.nearest`; its note names the shard. No shard, an id or a name that two shards have; a first shard that is none.
    """
    query = np.ascontiguousarray(query, dtype=np.float32)
    found: dict[int, tuple[float, str]] = {}
    best: list[tuple[float, int]] = []

    def ask(shard: Shard) -> tuple:
        kth = best[k - 1][0] if 0 < k <= len(best) else np.inf
        return (shard, query, k, min(cutoff, kth), how)

    if not shards:
        raise ValueError("shards: none given, at least one is needed; find or build them first")
    named = {shard.name: shard for shard in shards}
    if len(named) < len(shards):
        raise ValueError("shards: two have one name; name each its own way")
    first = set(first)
    if unknown := sorted(first - named.keys()):
        raise ValueError(f"first: no shard has the name {unknown[0]!r}; take one from the shards")
    for name, answer in _ask(client, _nearest, named, ask, timeout, first):
        for one, cost in zip(answer.ids.tolist(), answer.costs.tolist()):
            if one in found:
                raise ValueError(
                    f"id {one}: held by the shards {found[one][1]} and {name}; "
                    "take it out of one of them"
                )
            found[one] = (cost, name)
        best = sorted((cost, one) for one, (cost, _) in found.items())[:k]
    ids = np.array([one for _, one in best], dtype=np.uint64)
    return Neighbors(ids, np.array([cost for cost, _ in best], dtype=np.float64))


# On the workers.

_open: dict[str, tuple[tuple[int, int, int], Index]] = {}


def _opened(path: str) -> Index:
    """The index of this path, kept open until its file is another."""
    about = stat(path)
    state = (about.st_ino, about.st_mtime_ns, about.st_size)
    kept = _open.get(path)
    if kept is None or kept[0] != state:
        kept = _open[path] = (state, Index.open(path))
    return kept[1]


def _mapped(array: Any) -> Any:
    return np.load(array, mmap_mode="r") if isinstance(array, str | PathLike) else array


def _build(name: str, curves: Any, ids: Any, path: str) -> Shard:
    with Index.build(_mapped(curves), _mapped(ids), path=path) as index:
        return Shard(name, path, len(index))


def _find(name: str, path: str) -> Shard:
    return Shard(name, path, len(_opened(path)))


def _nearest(name: str, shard: Shard, query: NDArray, k: int, cutoff: float, how: dict) -> Neighbors:
    index = _opened(shard.path)
    if len(index) != shard.curves:
        raise IndexFileError(
            f"{shard.path}: expected {shard.curves} curves, found {len(index)}; look for the shards again"
        )
    return index.nearest(query, k, cutoff=cutoff, **how)


# On the client.


def _each(
    client: Client, job: Any, jobs: Mapping[str, tuple[Any, ...]], timeout: float | None
) -> list[Shard]:
    made = dict(_ask(client, job, jobs, lambda arguments: arguments, timeout))
    return [made[name] for name in jobs]


def _ask(
    client: Client,
    job: Any,
    jobs: Mapping[str, Any],
    arguments: Any,
    timeout: float | None,
    first: Set[str] = frozenset(),
) -> Iterator[tuple[str, Any]]:
    """Yields (name, answer) as answers come; at the end raises if any is missing.

    Every worker has a queue of its own, so it is asked for the same shards each time, and never has more of
    them in hand than threads: what comes later in a queue goes out with the arguments of that moment. All wait
    for those that come first.
    """
    until = None if timeout is None else monotonic() + timeout
    threads = client.nthreads()
    workers = sorted(threads)
    if not workers:
        raise ShardsMissing(dict.fromkeys(jobs, "there is no worker"), len(jobs))
    missing: dict[str, str] = {}
    left = lambda: None if until is None else max(0.0, until - monotonic())
    answered = set()
    home = {name: workers[number % len(workers)] for number, name in enumerate(jobs)}
    queues: dict[str, deque[str]] = {}
    running: dict[Future, str] = {}

    def send(worker: str) -> None:
        if queues[worker]:
            name = queues[worker].popleft()
            # Another worker takes over where this one dies.
            future = client.submit(
                job, name, *arguments(jobs[name]), workers=[worker], allow_other_workers=True, pure=False
            )
            running[future] = name

    try:
        for some in ([name for name in jobs if name in first], [name for name in jobs if name not in first]):
            queues = {worker: deque(name for name in some if home[name] == worker) for worker in workers}
            for worker in workers:
                for _ in range(threads[worker]):
                    send(worker)
            while running:
                for future in wait(list(running), timeout=left(), return_when="FIRST_COMPLETED").done:
                    name = running.pop(future)
                    answer, why = _answer(future, name, left())
                    if why:
                        missing[name] = why
                    else:
                        answered.add(name)
                        yield name, answer
                    send(home[name])
    except TimeoutError:
        late = [name for name in jobs if name not in answered and name not in missing]
        missing |= dict.fromkeys(late, f"not within {timeout:g} s")
    finally:
        if running:
            client.cancel(list(running))
    if missing:
        raise ShardsMissing(missing, len(jobs))


def _answer(future: Future, name: str, timeout: float | None) -> tuple[Any, str]:
    """What a future holds, or why its shard is missing: a lost worker, a file that cannot be read."""
    if future.status == "finished":
        return future.result(timeout), ""
    error = future.exception(timeout) if future.status == "error" else None
    if isinstance(error, ValueError | TypeError | OverflowError):
        error.add_note(f"shard {name}")
        raise error
    return None, repr(error) if error and not str(error) else str(error or future.status)
