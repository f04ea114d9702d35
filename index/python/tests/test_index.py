"""The index against brute force by an independent DTW, and what its file keeps."""

import pathlib
import pickle
import runpy
import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle import dtw, nearest

import curve_index
from curve_index import Index, IndexFileError

GOLDEN = pathlib.Path(__file__).resolve().parents[2] / "tests" / "golden"


@st.composite
def questions(draw):
    """Small whole numbers as values, so costs are exact and ties are common."""
    frames, channels = draw(st.integers(1, 9)), draw(st.integers(1, 4))
    count = draw(st.integers(1, 25))
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    spread = draw(st.sampled_from([1, 3, 50]))
    curves = rng.integers(-spread, spread + 1, (count, frames, channels)).astype(np.float32)
    ids = rng.permutation(count * 7)[:count].astype(np.uint64)
    query = rng.integers(-spread, spread + 1, (frames, channels)).astype(np.float32)
    band = draw(st.none() | st.integers(0, frames + 1))
    weights = draw(st.none() | st.just((rng.integers(0, 4, channels) + np.eye(channels)[0]).tolist()))
    return curves, ids, query, draw(st.integers(0, count + 2)), band, weights


@settings(max_examples=150, deadline=None)
@given(questions(), st.integers(1, 3), st.data())
def test_nearest_is_what_brute_force_finds(question, threads, data):
    curves, ids, query, k, band, weights = question
    index = Index.build(curves, ids)
    how = dict(band_frames=band, weights=weights, threads=threads)
    found = index.nearest(query, k, **how)
    want_ids, want_costs = nearest(query, curves, ids, k, band, weights)
    # Whole numbers: the sums are exact in any order.
    assert found.ids.tolist() == want_ids
    assert found.costs.tolist() == want_costs
    assert found.ids.dtype == np.uint64 and found.costs.dtype == np.float64
    np.testing.assert_array_equal(found.distances, np.sqrt(want_costs))

    all_ids, all_costs = nearest(query, curves, ids, len(ids), band, weights)
    cutoff = all_costs[len(all_costs) // 2]
    inside = [one for one, cost in zip(all_ids, all_costs) if cost <= cutoff]
    assert index.nearest(query, k, cutoff=cutoff, **how).ids.tolist() == inside[:k]
    assert index.within(query, cutoff, **how).ids.tolist() == inside
    below = [one for one, cost in zip(all_ids, all_costs) if cost < cutoff]
    if cutoff > 0:
        assert index.within(query, np.nextafter(cutoff, 0), **how).ids.tolist() == below

    some = data.draw(st.sets(st.sampled_from(ids.tolist())))
    only = [one for one in all_ids if one in some]
    rest = [one for one in all_ids if one not in some]
    assert index.nearest(query, k, ids=some, **how).ids.tolist() == only[:k]
    assert index.nearest(query, k, not_ids=np.array(sorted(some), dtype=np.int64), **how).ids.tolist() == rest[:k]


@settings(max_examples=40, deadline=None)
@given(questions(), st.data())
def test_what_is_appended_deleted_and_compacted_is_found_or_not(question, data):
    curves, ids, query, k, band, weights = question
    cut = data.draw(st.integers(0, len(ids)))
    index = Index.build(curves[:cut], ids[:cut])
    index.append(curves[cut:], ids[cut:])
    gone = data.draw(st.lists(st.sampled_from(ids.tolist()), unique=True))
    assert index.delete(gone + [10**6]) == len(gone)
    stay = ~np.isin(ids, np.array(gone, dtype=np.uint64))
    want, _ = nearest(query, curves[stay], ids[stay], k, band, weights)
    for _ in range(2):
        assert index.nearest(query, k, band_frames=band, weights=weights).ids.tolist() == want
        assert sorted(index.ids.tolist()) == sorted(ids[stay].tolist()) and len(index) == stay.sum()
        index.compact()
    for one, curve in zip(ids[stay], curves[stay]):
        assert int(one) in index
        np.testing.assert_array_equal(index.curve(int(one)), curve)
    for one in gone:
        assert one not in index
        with pytest.raises(KeyError):
            index.curve(one)


@pytest.fixture(scope="module")
def walks():
    """Random walks, 900 curves of 40 x 6: enough for every stage of the search."""
    rng = np.random.default_rng(3)
    middles = rng.normal(size=(12, 40, 6)).cumsum(axis=1)
    curves = middles[np.arange(900) % 12] + 0.3 * rng.normal(size=(900, 40, 6)).cumsum(axis=1)
    return curves.astype(np.float32)


def test_a_larger_index_finds_what_brute_force_finds(walks):
    index = Index.build(walks[5:], np.arange(5, 900))
    for query in walks[:2]:
        costs = np.array([dtw(query, curve, 5) for curve in walks[5:]])
        order = np.lexsort((np.arange(5, 900), costs))
        found = index.nearest(query, 10, band_frames=5, threads=2)
        assert found.ids.tolist() == (order[:10] + 5).tolist()
        np.testing.assert_allclose(found.costs, costs[order[:10]], rtol=1e-12)


def test_a_file_is_opened_changed_and_checked(tmp_path, walks):
    path = tmp_path / "walks.index"
    with Index.build(walks[:300], path=path) as index:
        assert (index.frames, index.channels, len(index), index.path) == (40, 6, 300, path)
        want = index.nearest(walks[0], 5, band_frames=3)
        with pytest.raises(IndexFileError, match="open for writing elsewhere; close it there"):
            Index.open(path, writable=True)
    with pytest.raises(ValueError, match="^index: closed; open it again$"):
        index.nearest(walks[0])
    assert repr(index) == f"<curve_index.Index: closed, 40 frames x 6 channels, {path}>"
    assert repr(Index.build(walks[:3])) == "<curve_index.Index: 3 curves, 40 frames x 6 channels, in memory>"

    reader = Index.open(str(path))
    again = reader.nearest(walks[0], 5, band_frames=3)
    assert again.ids.tolist() == want.ids.tolist() and again.costs.tolist() == want.costs.tolist()
    with pytest.raises(IndexFileError, match="opened for reading; open it for writing to change it"):
        reader.delete([1])
    with Index.open(path, writable=True) as writer:
        writer.append(walks[300:310], range(300, 310))
        assert writer.delete(range(100)) == 100
        assert writer.segments == 2
        # Whoever opened before keeps what was there.
        assert len(reader) == 300 and len(Index.open(path)) == len(writer) == 210
        writer.compact()
        writer.verify()
        assert (writer.segments, len(writer)) == (1, 210)

    data = bytearray(path.read_bytes())
    data[12288 + 5] ^= 1
    path.write_bytes(data)
    with pytest.raises(IndexFileError, match="is damaged; rebuild the index from its source"):
        Index.open(path).verify()


def test_files_of_the_engine_are_read_as_an_independent_reader_reads_them(capsys, monkeypatch):
    """`read_index.py` is written from the format's page alone and prints id and checksum of every curve."""
    import zlib

    path = GOLDEN / "format-3.index"
    monkeypatch.setattr("sys.argv", ["read_index.py", str(path)])
    runpy.run_path(str(GOLDEN / "read_index.py"), run_name="__main__")
    lines = [line.split() for line in capsys.readouterr().out.splitlines()]
    index = Index.open(path)
    own = [[str(one), str(zlib.crc32(index.curve(one).tobytes()))] for one in index.ids.tolist()]
    assert sorted(own) == sorted(lines) and len(lines) > 3
    index.verify()
    curves = [index.curve(one) for one in index.ids.tolist()]
    want, _ = nearest(curves[0], curves, index.ids.tolist(), 3, 2)
    assert index.nearest(curves[0], 3, band_frames=2).ids.tolist() == want


@pytest.mark.parametrize("version", [(1, 0), (2, 0)])
def test_an_exported_array_is_built_from_where_it_lies(tmp_path, walks, version):
    """An export is NPY, float32, serves x frames x channels; a mapped one is read in place."""
    with (tmp_path / "curves.npy").open("wb") as file:
        np.lib.format.write_array(file, walks[:50], version=version)
    mapped = np.load(tmp_path / "curves.npy", mmap_mode="r")
    index = Index.build(mapped, path=tmp_path / "curves.index")
    np.testing.assert_array_equal(index.curve(49), walks[49])


def test_pickles_carry_the_curves_or_the_path(tmp_path, walks):
    index = Index.build(walks[:40], np.arange(40) * 3)
    index.delete([6])
    filed = Index.build(walks[:40], np.arange(40) * 3, path=tmp_path / "some.index")
    filed.delete([6])
    for one in (index, filed):
        other = pickle.loads(pickle.dumps(one))
        assert other.ids.tolist() == index.ids.tolist()
        assert other.nearest(walks[7], 4).costs.tolist() == index.nearest(walks[7], 4).costs.tolist()
    error = pickle.loads(pickle.dumps(IndexFileError("text")))
    assert isinstance(error, IndexFileError) and str(error) == "text"


def test_layouts_that_allow_it_are_not_copied(walks, monkeypatch, tmp_path):
    """Whatever has to be converted goes through `numpy.asarray`; what lies in order does not."""
    np.save(tmp_path / "walks.npy", walks[:20])
    mapped = np.load(tmp_path / "walks.npy", mmap_mode="r")
    asked = []
    true = np.asarray
    monkeypatch.setattr(np, "asarray", lambda *a, **k: asked.append(1) or true(*a, **k))
    readonly = walks[:20].view()
    readonly.flags.writeable = False
    for curves in (walks[:20], walks[:40:2], walks[20:0:-1], readonly, mapped, list(walks[:20])):
        index = Index.build(curves)
        index.nearest(curves[3], 2)
        np.testing.assert_array_equal(index.curve(3), curves[3])
    assert not asked
    askew = np.frombuffer(b"-" + walks[:20].tobytes(), dtype=np.uint8)[1:].view(np.float32).reshape(20, 40, 6)
    assert not askew.flags.aligned
    across = np.ascontiguousarray(walks[:20].transpose(0, 2, 1)).transpose(0, 2, 1)
    swapped = walks[:20].astype(">f4")
    for curves in (askew, across, swapped, walks[:20].astype(np.float64), walks[:20].tolist()):
        index = Index.build(curves)
        np.testing.assert_array_equal(index.curve(3), walks[3])
    assert len(asked) > 4


def test_other_threads_go_on_while_an_index_is_built_and_searched(walks):
    """A thread counts meanwhile; were the interpreter held, it would stand still."""
    many = np.concatenate([walks] * 12)
    ticks, over = [0], threading.Event()

    def count():
        while not over.wait(0.001):
            ticks[0] += 1

    counter = threading.Thread(target=count)
    counter.start()
    try:
        for job in (
            lambda: Index.build(many),
            lambda: curve_index.pairwise(walks[:400]),
            lambda: curve_index.barycenter(walks[:150], rounds=10),
        ):
            before = ticks[0]
            job()
            assert ticks[0] > before + 3
    finally:
        over.set()
        counter.join()


def test_searches_and_changes_at_a_time_keep_out_of_each_others_way(walks):
    index = Index.build(walks[:200])
    wrong = []

    def search():
        for _ in range(60):
            found = index.nearest(walks[0], 3)
            if found.ids[0] != 0 or len(found.ids) != 3:
                wrong.append(found)

    threads = [threading.Thread(target=search) for _ in range(3)]
    for thread in threads:
        thread.start()
    for number in range(200, 240):
        index.append(walks[number : number + 1], [number])
        index.delete([number - 100])
    for thread in threads:
        thread.join()
    assert not wrong and len(index) == 200


@pytest.mark.parametrize(
    ("job", "kind", "text"),
    [
        (
            lambda index, curve: index.nearest(curve[:-1]),
            ValueError,
            "query curve: expected 240 values (frames x channels), found 234; "
            "resample the curve or check the channel list",
        ),
        (
            lambda index, curve: index.nearest(curve.T),
            ValueError,
            "query: expected 40 frames x 6 channels, found 6 x 40; transpose or reshape it",
        ),
        (
            lambda index, curve: index.nearest(curve[0]),
            ValueError,
            "query: expected an array of frames x channels, found the shape (6,); reshape it",
        ),
        (
            lambda index, curve: index.nearest(np.where(np.arange(6) == 2, np.nan, curve)),
            ValueError,
            "query curve: frame 0, channel 2 is NaN, expected a finite number; fill the gap first",
        ),
        (
            lambda index, curve: index.nearest(curve, weights=[1.0]),
            ValueError,
            "weights: one per channel, expected 6, found 1; give every channel one",
        ),
        (
            lambda index, curve: index.nearest(curve, weights=[0] * 6),
            ValueError,
            "weights: all are 0, so nothing would be compared; raise at least one",
        ),
        (
            lambda index, curve: index.nearest(curve, cutoff=-1.0),
            ValueError,
            "radius: the cost may be at most -1; give a number of at least 0",
        ),
        (
            lambda index, curve: index.nearest(curve, ids=[1], not_ids=[2]),
            ValueError,
            "ids and not_ids: expected one of them, found both; take the second from the first",
        ),
        (
            lambda index, curve: index.nearest(curve, ids=np.array([True, False])),
            ValueError,
            "ids: expected whole numbers from 0 to 2^64 - 1, found the type bool; number the curves so",
        ),
        (
            lambda index, curve: index.nearest(curve, threads=0),
            ValueError,
            "threads: expected at least 1, found 0; give it one",
        ),
        (
            lambda index, curve: index.delete([-4]),
            ValueError,
            "ids: expected whole numbers from 0 to 2^64 - 1, found -4; number the curves so",
        ),
        (
            lambda index, curve: index.append(curve[None], [3]),
            ValueError,
            "id 3 is given twice; delete the old curve first or choose another id",
        ),
        (
            lambda index, curve: index.append([curve], [3, 4]),
            ValueError,
            "ids: one per curve, expected 1, found 2; give every curve one",
        ),
        (
            lambda index, curve: index.append([curve[1:]], [99]),
            ValueError,
            "id 99: curve: expected 240 values (frames x channels), found 234; "
            "resample the curve or check the channel list",
        ),
        (
            lambda index, curve: index.append([curve.T], [99]),
            ValueError,
            "curves: expected 40 frames x 6 channels, found 6 x 40; transpose or reshape them",
        ),
        (
            lambda index, curve: Index.build([]),
            ValueError,
            "curves: none given, at least one is needed; pass the members of the group",
        ),
        (
            lambda index, curve: Index.build([curve, curve[:, 1:]]),
            ValueError,
            "curve 1: expected 6 channels, found 5; compare curves of one channel list",
        ),
        (
            lambda index, curve: Index.build(np.empty((0, 0, 3), dtype=np.float32)),
            ValueError,
            "shape: a curve has 1 to 65536 frames and 1 to 1024 channels, found 0 x 3; shorten or thin the curves",
        ),
        (
            lambda index, curve: Index.build(curve),
            ValueError,
            "curves: expected an array of curves x frames x channels, found the shape (40, 6); reshape it",
        ),
        (
            lambda index, curve: Index.open("nowhere.index"),
            FileNotFoundError,
            "nowhere.index: opening failed; check space and permissions",
        ),
        (
            lambda index, curve: Index.open(__file__),
            IndexFileError,
            f"{__file__}: no curve index here (expected 'CURVEIDX' at the start); rebuild the index",
        ),
    ],
)
def test_what_does_not_hold_is_said_as_the_engine_says_it(walks, job, kind, text):
    index = Index.build(walks[:9])
    with pytest.raises(kind) as caught:
        job(index, walks[0])
    assert str(caught.value) == text
    if isinstance(caught.value, OSError):
        assert isinstance(caught.value.__cause__, OSError)
    # Nothing was changed on the way.
    assert index.ids.tolist() == list(range(9))


def test_things_that_are_no_numbers_are_refused(walks):
    index = Index.build(walks[:9])
    for job in (
        lambda: index.nearest(walks[0].astype(complex)),
        lambda: index.nearest(walks[0].astype(str)),
        lambda: index.nearest(walks[0], ids=7),
        lambda: index.nearest(walks[0], k=1.5),
    ):
        with pytest.raises(TypeError):
            job()
    for job in (
        lambda: index.nearest(walks[0], k=-1),
        lambda: index.nearest(walks[0], band_frames=-1),
    ):
        with pytest.raises(OverflowError):
            job()
    with pytest.raises(TypeError):
        Index()
