"""Exact nearest motion curves under dynamic time warping: NumPy arrays in, NumPy arrays out.

A curve is an array of frames x channels, time first. Comparing two gives a cost: the sum, along the best
warping path inside the band, of the weighted squared differences over all channels, with no root taken. The
distance is its square root. The band is a number of frames, never a fraction. Order is (cost, id): ties go to
the smaller id.

    import numpy as np
    from curve_index import Index

    index = Index.build(np.load("curves-core-1.npy", mmap_mode="r"), path="serves.index")
    ids, costs = index.nearest(query, k=5, band_frames=10)

Arrays of float32 whose curves lie in C order are not copied. Computations let other Python threads go on
meanwhile: do not change an array while a call reads it. What does not hold is a ValueError that says what was
expected, what was found and what to do; files raise IndexFileError or the fitting OSError.

`curve_index.neighbors` holds a classifier after scikit-learn's conventions, `curve_index.shards` asks many
indexes on many machines as if they were one.
"""

from ._answers import Alignment, Barycenter, Neighbors
from ._engine import Index, IndexFileError, barycenter, dtw, explain, pairwise

__all__ = [
    "Alignment",
    "Barycenter",
    "Index",
    "IndexFileError",
    "Neighbors",
    "barycenter",
    "dtw",
    "explain",
    "pairwise",
]
