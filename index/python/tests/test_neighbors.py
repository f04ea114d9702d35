"""The estimator after scikit-learn's conventions."""

import numpy as np
import pytest
from aeon.classification.distance_based import KNeighborsTimeSeriesClassifier
from aeon.datasets import load_basic_motions
from oracle import nearest
from sklearn.model_selection import cross_val_score
from sklearn.utils.estimator_checks import parametrize_with_checks

from curve_index.neighbors import KNeighborsDTW

# Every check applies, for curves of one channel are arrays of two axes; none is expected to fail. Left to
# scikit-learn is one skip of its own, of arrays that are not NumPy's, unless SCIPY_ARRAY_API is set as below.
@parametrize_with_checks([KNeighborsDTW(), KNeighborsDTW(1, band_frames=1)])
def test_the_checks_of_scikit_learn(estimator, check, monkeypatch):
    monkeypatch.setenv("SCIPY_ARRAY_API", "1")
    check(estimator)


@pytest.fixture(scope="module")
def motions():
    """Real movement, 6 channels (BasicMotions of the UEA archive, in aeon): curves x frames x channels."""
    return [
        (np.ascontiguousarray(curves.transpose(0, 2, 1), dtype=np.float32), labels)
        for curves, labels in (load_basic_motions(split=split) for split in ("train", "test"))
    ]


def test_it_says_what_aeons_classifier_says(motions):
    (curves, labels), (others, _) = motions
    own = KNeighborsDTW(3, band_frames=10, n_jobs=2).fit(curves, labels)
    theirs = KNeighborsTimeSeriesClassifier(
        n_neighbors=3, distance="dtw", distance_params={"window": 0.1 + 1e-11}
    ).fit(curves.transpose(0, 2, 1).astype(np.float64), labels)
    across = others.transpose(0, 2, 1).astype(np.float64)
    assert own.predict(others).tolist() == theirs.predict(across).tolist()
    distances, places = own.kneighbors(others[:9])
    want_distances, want_places = theirs.kneighbors(across[:9])
    assert places.tolist() == want_places.tolist()
    # aeon's distance has no root.
    np.testing.assert_allclose(distances**2, want_distances, rtol=1e-9)


def test_neighbors_of_the_fitted_curves_leave_themselves_out(motions):
    curves, labels = motions[0][0][:, ::5], motions[0][1]
    weights = [1, 1, 1, 0, 0, 2]
    own = KNeighborsDTW(4, band_frames=2, channel_weights=weights).fit(curves, labels)
    places = own.kneighbors(return_distance=False)
    for at in (0, 11, 39):
        rest = [one for one in range(len(curves)) if one != at]
        want, _ = nearest(curves[at], curves[rest], rest, 4, 2, weights)
        assert places[at].tolist() == want
    # By chance: 0.25.
    assert cross_val_score(own, curves, labels, cv=4).mean() > 0.5


def test_votes_and_ties():
    curves = np.array([[0.0], [1.0], [2.0], [3.0]])[:, :, None]
    own = KNeighborsDTW(2).fit(curves, ["late", "early", "late", "early"])
    assert own.classes_.tolist() == ["early", "late"]
    # 0 and 1 are nearest to 0.4: one vote each, and the first class counts.
    assert own.predict_proba([[[0.4]]]).tolist() == [[0.5, 0.5]]
    assert own.predict([[[0.4]]]).tolist() == ["early"]
    # Of 0 and 2, both 1 away from 1, the one that came first is the second neighbor.
    assert own.kneighbors([[[1.0]]])[1].tolist() == [[1, 0]]


@pytest.mark.parametrize(
    ("change", "kind", "text"),
    [
        (dict(n_neighbors=9), ValueError, "n_neighbors: expected a whole number from 1 to n_samples_fit = 4, found 9"),
        (dict(n_neighbors=0), ValueError, "n_neighbors: expected a whole number from 1 to n_samples_fit = 4, found 0"),
        (dict(n_neighbors=1.5), TypeError, "n_neighbors|integer"),
        (dict(channel_weights=[1, 2]), ValueError, "weights: one per channel, expected 1, found 2; give every channel one"),
        (dict(band_frames=-1), OverflowError, "negative"),
    ],
)
def test_what_does_not_hold_is_said(change, kind, text):
    curves = np.arange(4.0)[:, None, None]
    with pytest.raises(kind, match=text):
        KNeighborsDTW(**change).fit(curves, [0, 1, 0, 1]).kneighbors(curves)
