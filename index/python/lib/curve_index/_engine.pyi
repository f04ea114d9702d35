# What the compiled module offers; docstrings stand in it, `help(curve_index)` shows them.
import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from types import TracebackType
from typing import Self, TypeAlias, final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ._answers import Alignment, Barycenter, Neighbors

__all__ = ["Index", "IndexFileError", "barycenter", "dtw", "explain", "pairwise"]

# One curve: frames x channels.
_Curve: TypeAlias = ArrayLike
# Curves: curves x frames x channels, or a list of single ones that may differ in length.
_Curves: TypeAlias = ArrayLike | Sequence[ArrayLike]
_Ids: TypeAlias = NDArray[np.integer] | Iterable[int]
_Weights: TypeAlias = NDArray[np.floating] | Iterable[float]

class IndexFileError(Exception): ...

@final
class Index:
    @staticmethod
    def build(
        curves: _Curves, ids: _Ids | None = None, *, path: str | os.PathLike[str] | None = None
    ) -> Index: ...
    @staticmethod
    def open(path: str | os.PathLike[str], *, writable: bool = False) -> Index: ...
    def append(self, curves: _Curves, ids: _Ids) -> None: ...
    def delete(self, ids: _Ids) -> int: ...
    def compact(self) -> None: ...
    def verify(self) -> None: ...
    def close(self) -> None: ...
    def nearest(
        self,
        query: _Curve,
        k: int = 10,
        *,
        band_frames: int | None = None,
        weights: _Weights | None = None,
        ids: _Ids | None = None,
        not_ids: _Ids | None = None,
        cutoff: float = ...,
        threads: int = 1,
    ) -> Neighbors: ...
    def within(
        self,
        query: _Curve,
        cutoff: float,
        *,
        band_frames: int | None = None,
        weights: _Weights | None = None,
        ids: _Ids | None = None,
        not_ids: _Ids | None = None,
        threads: int = 1,
    ) -> Neighbors: ...
    def curve(self, id: int) -> NDArray[np.float32]: ...
    @property
    def ids(self) -> NDArray[np.uint64]: ...
    @property
    def frames(self) -> int: ...
    @property
    def channels(self) -> int: ...
    @property
    def segments(self) -> int: ...
    @property
    def path(self) -> Path | None: ...
    def __len__(self) -> int: ...
    def __contains__(self, id: int, /) -> bool: ...
    def __enter__(self) -> Self: ...
    def __exit__(
        self,
        *_why: type[BaseException] | BaseException | TracebackType | None,
    ) -> None: ...

def dtw(
    a: _Curve,
    b: _Curve,
    *,
    band_frames: int | None = None,
    weights: _Weights | None = None,
    cutoff: float = ...,
) -> float: ...
def explain(
    query: _Curve,
    candidate: _Curve,
    *,
    band_frames: int | None = None,
    weights: _Weights | None = None,
) -> Alignment: ...
def pairwise(
    curves: _Curves,
    *,
    band_frames: int | None = None,
    weights: _Weights | None = None,
    cutoff: float = ...,
    threads: int = 1,
) -> NDArray[np.float64]: ...
def barycenter(
    curves: _Curves,
    start: _Curve | None = None,
    *,
    rounds: int = 10,
    band_frames: int | None = None,
    weights: _Weights | None = None,
    threads: int = 1,
) -> Barycenter: ...
