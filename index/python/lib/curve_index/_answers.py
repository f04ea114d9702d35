"""What searches and comparisons give back: named tuples of NumPy arrays."""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Neighbors(NamedTuple):
    """Curves found, nearest first, ties to the smaller id."""

    ids: NDArray[np.uint64]
    """Ids, one per curve."""
    costs: NDArray[np.float64]
    """Costs: sums of weighted squared differences, no root taken."""

    @property
    def distances(self) -> NDArray[np.float64]:
        """Distances: the square roots of the costs, in the unit of the channels."""
        return np.sqrt(self.costs)


class Alignment(NamedTuple):
    """How two curves are aligned, and where the cost comes from."""

    cost: float
    """The cost, equal to what a search reports."""
    path: NDArray[np.int64]
    """Steps x 2: query frame and candidate frame, from (0, 0) to the last frames of both."""
    parts: NDArray[np.float64]
    """Query frames x channels: the cost spent there. They add up to the cost, up to rounding."""
    channel_shares: NDArray[np.float64]
    """Share (0 to 1) of the cost per channel; all 0 where the cost is 0."""

    @property
    def distance(self) -> float:
        """The distance: the square root of the cost."""
        return math.sqrt(self.cost)


class Barycenter(NamedTuple):
    """The typical curve of a set, and how it was reached."""

    curve: NDArray[np.float32]
    """Frames x channels, as long as the curve it started from."""
    objective: NDArray[np.float64]
    """Sum of the curves' costs to it: at the start, then after each round. Never rises."""
