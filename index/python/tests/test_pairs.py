"""Pairs and sets against dtaidistance, aeon and an independent DTW."""

import numpy as np
import pytest
from aeon.datasets import load_basic_motions
from aeon.distances import dtw_distance, dtw_pairwise_distance
from dtaidistance import dtw_ndim
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle import dtw as oracle_dtw
from oracle import matrix
from scipy.spatial.distance import squareform

import curve_index
from curve_index import Index, barycenter, dtw, explain, pairwise


def walk(rng, frames, channels):
    return (0.3 * rng.normal(size=(frames, channels)).cumsum(axis=0)).astype(np.float32)


@settings(max_examples=100, deadline=None)
@given(
    st.integers(0, 2**32 - 1), st.integers(1, 30), st.integers(1, 30), st.integers(1, 5), st.integers(0, 30)
)
def test_costs_and_paths_are_those_of_dtaidistance(seed, frames_a, frames_b, channels, band):
    rng = np.random.default_rng(seed)
    a, b = walk(rng, frames_a, channels), walk(rng, frames_b, channels)
    wide = a.astype(np.float64), b.astype(np.float64)
    # A window of w lets dtaidistance leave the diagonal by w - 1 frames.
    root = dtw_ndim.distance(*wide, window=band + 1)
    cost = dtw(a, b, band_frames=band)
    assert cost**0.5 == pytest.approx(root, rel=1e-12)
    assert dtw(b, a, band_frames=band) == cost
    assert dtw(a, b, band_frames=band, cutoff=cost) == cost
    if cost > 0:
        assert dtw(a, b, band_frames=band, cutoff=np.nextafter(cost, 0)) == np.inf
    why = explain(a, b, band_frames=band)
    assert why.cost == cost and why.distance == cost**0.5
    assert [tuple(step) for step in why.path.tolist()] == dtw_ndim.warping_path(*wide, window=band + 1)
    assert why.parts.shape == a.shape
    # The parts, from the path and the definition.
    parts = np.zeros(a.shape)
    for i, j in why.path:
        parts[i] += (wide[0][i] - wide[1][j]) ** 2
    np.testing.assert_allclose(why.parts, parts, rtol=1e-12, atol=1e-300)
    if cost > 0:
        np.testing.assert_allclose(why.channel_shares, parts.sum(axis=0) / parts.sum(), rtol=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(1, 25), st.integers(1, 5), st.integers(0, 25))
def test_weights_are_those_of_the_definition(seed, frames, channels, band):
    rng = np.random.default_rng(seed)
    a, b = walk(rng, frames, channels), walk(rng, max(1, frames - 4), channels)
    weights = rng.uniform(0.1, 3, channels)
    want = oracle_dtw(a, b, band, weights)
    assert dtw(a, b, band_frames=band, weights=weights) == pytest.approx(want, rel=1e-12)
    why = explain(a, b, band_frames=band, weights=weights)
    assert why.cost == pytest.approx(want, rel=1e-12)
    assert why.parts.sum() == pytest.approx(want, rel=1e-9)
    assert dtw(a, b, weights=weights) == pytest.approx(oracle_dtw(a, b, None, weights), rel=1e-12)


@pytest.fixture(scope="module")
def motions():
    """Real movement: accelerometer and gyroscope, 6 channels (BasicMotions of the UEA archive, in aeon)."""
    curves, labels = load_basic_motions(split="train")
    return np.ascontiguousarray(curves.transpose(0, 2, 1), dtype=np.float32), labels


@pytest.mark.parametrize("band", [0, 5, 100])
def test_real_movement_costs_what_aeon_says(motions, band):
    curves, _ = motions
    across = curves.astype(np.float64).transpose(0, 2, 1)
    share = min(1.0, (band + 1e-9) / curves.shape[1])
    want = dtw_pairwise_distance(across, window=share)
    got = pairwise(curves, band_frames=band, threads=2)
    np.testing.assert_allclose(squareform(got), want, rtol=1e-12)
    index = Index.build(curves)
    for query in (3, 17):
        order = np.lexsort((np.arange(len(curves)), want[query]))[:5]
        found = index.nearest(curves[query], 5, band_frames=band)
        assert found.ids.tolist() == order.tolist()
        np.testing.assert_allclose(found.costs, want[query][order], rtol=1e-12)
    one = dtw_distance(across[0], across[9], window=share)
    assert dtw(curves[0], curves[9], band_frames=band) == pytest.approx(one, rel=1e-12)


def test_pairs_above_the_cutoff_are_infinite_and_lengths_may_differ():
    rng = np.random.default_rng(8)
    curves = [walk(rng, frames, 2) for frames in (5, 9, 9, 12)]
    want = [oracle_dtw(a, b, 2) for i, a in enumerate(curves) for b in curves[i + 1 :]]
    got = pairwise(curves, band_frames=2)
    np.testing.assert_allclose(got, want, rtol=1e-12)
    cut = pairwise(curves, band_frames=2, cutoff=np.median(got))
    np.testing.assert_array_equal(cut, np.where(got <= np.median(got), got, np.inf))
    assert pairwise(curves[:1]).shape == (0,)


def test_the_barycenter_is_the_mean_of_what_is_aligned_with_it():
    rng = np.random.default_rng(5)
    middle = walk(rng, 30, 3)
    curves = [middle + 0.05 * walk(rng, 30, 3) for _ in range(7)]
    found = barycenter(np.stack(curves), rounds=40, band_frames=4)
    assert (np.diff(found.objective) < 0).all() and len(found.objective) > 1
    costs = [oracle_dtw(found.curve, curve, 4) for curve in curves]
    assert found.objective[-1] == pytest.approx(sum(costs), rel=1e-9)
    # It starts at the medoid where nobody says where.
    square = squareform(pairwise(curves, band_frames=4))
    medoid = int(square.sum(axis=1).argmin())
    assert found.objective[0] == pytest.approx(square[medoid].sum(), rel=1e-9)
    # One round by hand, from a start of another length.
    start = walk(rng, 20, 3)
    first = barycenter(curves, start, rounds=1, band_frames=4)
    sums, counts = np.zeros((20, 3)), np.zeros((20, 1))
    for curve in curves:
        total = matrix(start, curve, 4)
        i, j = 19, 29
        steps = [(i, j)]
        while (i, j) != (0, 0):
            ways = [(i - 1, j - 1), (i - 1, j), (i, j - 1)]
            i, j = min((way for way in ways if min(way) >= 0), key=lambda way: total[way])
            steps.append((i, j))
        for i, j in steps:
            sums[i] += curve[j].astype(np.float64)
            counts[i] += 1
    np.testing.assert_allclose(first.curve, sums / counts, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize(
    ("job", "text"),
    [
        (lambda a: dtw(a, a[:, :2]), "curve 1: expected 3 channels, found 2; compare curves of one channel list"),
        (lambda a: dtw(a * np.inf, a), "curve: frame 0, channel 0 is inf, expected a finite number; fill the gap first"),
        (lambda a: explain(a, a, weights=[1, 1e200, 1]), None),
        (lambda a: pairwise([a, a[:, :1]]), "curve 1: expected 3 channels, found 1; compare curves of one channel list"),
        (lambda a: barycenter([]), "curves: none given, at least one is needed; pass the members of the group"),
        (
            lambda a: barycenter([a], a[:, :1]),
            "curve 1: expected 3 channels, found 1; compare curves of one channel list",
        ),
        (lambda a: dtw(a[:0], a), "curve: expected 3 values (frames x channels), found 0; resample the curve or check the channel list"),
        (lambda a: dtw(a[:, :0], a), "shape: a curve has 1 to 65536 frames and 1 to 1024 channels, found 1 x 0; shorten or thin the curves"),
    ],
)
def test_what_does_not_hold_is_said(job, text):
    with pytest.raises(ValueError) as caught:
        job(np.ones((4, 3), dtype=np.float32))
    if text is None:
        assert str(caught.value).startswith("weights: channel 1 has 1")
        assert str(caught.value).endswith("expected 0 or a number from 1e-100 to 1e100; rescale the weights")
    else:
        assert str(caught.value) == text


def test_help_tells_shapes_units_and_errors():
    for one in (dtw, explain, pairwise, barycenter, Index.nearest, Index.within, Index.build):
        for word in ("Parameters\n", "frames x channels", "ValueError", "Raises\n"):
            assert word in one.__doc__, (one, word)
    assert set(curve_index.__all__) <= set(dir(curve_index))
