"""Nearest neighbors under dynamic time warping after scikit-learn's conventions; needs scikit-learn."""

from numbers import Integral
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from sklearn.base import BaseEstimator, ClassifierMixin
from sklearn.utils.multiclass import check_classification_targets
from sklearn.utils.validation import check_is_fitted, column_or_1d, validate_data

from ._engine import Index

__all__ = ["KNeighborsDTW"]


class KNeighborsDTW(ClassifierMixin, BaseEstimator):
    """Classifies a curve as the majority of its nearest curves, found exactly.

    X is an array of curves x frames x channels; with two axes, curves x frames, it is one channel. It is taken as
    float32. All curves have as many frames as those of `fit`.

    Parameters
    ----------
    n_neighbors : int
        How many neighbors vote, each with one vote; where classes have equally many, the first of `classes_`
        counts. Neighbors that are equally near come in the order of `fit`.
    band_frames : int, optional
        Frame i may meet frame j where abs(i - j) <= band_frames. None: any warping.
    channel_weights : sequence of float, optional
        One per channel, multiplying its squared differences. None: 1 for each.
    n_jobs : int, optional
        Threads that work at a query; None is 1. The answer does not depend on it.

    Attributes
    ----------
    classes_ : array
        The classes seen in `fit`, ascending.
    index_ : Index
        The curves of `fit`, in memory, under their places in X.
    n_features_in_ : int
        Frames of a curve.
    n_samples_fit_ : int
        Curves of `fit`.
    """

    def __init__(
        self,
        n_neighbors: int = 5,
        *,
        band_frames: int | None = None,
        channel_weights: ArrayLike | None = None,
        n_jobs: int | None = None,
    ) -> None:
        self.n_neighbors = n_neighbors
        self.band_frames = band_frames
        self.channel_weights = channel_weights
        self.n_jobs = n_jobs

    def fit(self, X: ArrayLike, y: ArrayLike) -> Self:
        """Puts the curves into an index in memory, about 1.4 times their size.

        Parameters
        ----------
        X : array, curves x frames x channels or curves x frames
        y : array, one class per curve

        Raises
        ------
        ValueError
            Curves that are not finite, another number of classes than of curves, weights that do not fit.
        TypeError, OverflowError
            Parameters that are no whole numbers, or below 0.
        """
        X, y = validate_data(self, X, y, dtype=np.float32, allow_nd=True)
        check_classification_targets(y)
        self.classes_, self._y = np.unique(column_or_1d(y, warn=True), return_inverse=True)
        self.index_ = Index.build(self._curves(X))
        self.n_samples_fit_ = len(self.index_)
        # What does not fit is said now, not when somebody asks.
        self._search(self.index_.curve(0), self.n_neighbors)
        return self

    def kneighbors(
        self,
        X: ArrayLike | None = None,
        n_neighbors: int | None = None,
        return_distance: bool = True,
    ) -> tuple[NDArray[np.float64], NDArray[np.int64]] | NDArray[np.int64]:
        """The nearest curves of `fit`, nearest first, ties in the order of `fit`.

        Parameters
        ----------
        X : array, queries x frames x channels or queries x frames, optional
            None: each curve of `fit` is asked for its neighbors among the others.
        n_neighbors : int, optional
            None: that of the estimator.
        return_distance : bool
            Whether distances come with the places.

        Returns
        -------
        distances : array, queries x n_neighbors
            Square roots of the costs, in the unit of the channels. Only with return_distance.
        places : array, queries x n_neighbors
            Places in the X of `fit`.

        Raises
        ------
        ValueError
            Curves of another shape, fewer curves than n_neighbors.
        """
        check_is_fitted(self)
        k = self.n_neighbors if n_neighbors is None else n_neighbors
        others = self.n_samples_fit_ - (X is None)
        if not isinstance(k, Integral) or not 1 <= k <= others:
            raise ValueError(
                f"n_neighbors: expected a whole number from 1 to n_samples_fit = {others}, found {k!r} "
                f"(n_samples = {0 if X is None else np.shape(X)[0]}); fit more curves or ask for fewer"
            )
        if X is None:
            found = [
                self._search(self.index_.curve(place), k, not_ids=[place])
                for place in range(self.n_samples_fit_)
            ]
        else:
            X = validate_data(self, X, dtype=np.float32, allow_nd=True, reset=False)
            found = [self._search(query, k) for query in self._curves(X)]
        places = np.array([one.ids for one in found], dtype=np.int64)
        if not return_distance:
            return places
        return np.array([one.distances for one in found]), places

    def predict_proba(self, X: ArrayLike) -> NDArray[np.float64]:
        """Shares of the votes, queries x classes, in the order of `classes_`."""
        places = self.kneighbors(X, return_distance=False)
        votes = self._y[places][:, :, None] == np.arange(len(self.classes_))
        return votes.mean(axis=1)

    def predict(self, X: ArrayLike) -> NDArray:
        """The class of each query: that of most of its neighbors."""
        shares = self.predict_proba(X)
        return self.classes_[shares.argmax(axis=1)]

    def _search(self, query, k, **more):
        return self.index_.nearest(
            query,
            k,
            band_frames=self.band_frames,
            weights=self.channel_weights,
            threads=self.n_jobs or 1,
            **more,
        )

    @staticmethod
    def _curves(X):
        return X[:, :, None] if X.ndim == 2 else X
