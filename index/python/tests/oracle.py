"""What the tests check against: written from the definitions, in plain NumPy, knowing nothing of the engine."""

import numpy as np


def matrix(a, b, band, weights=None):
    """The whole cost matrix; `band` in frames, measured from both diagonals where lengths differ."""
    a, b = np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64)
    weights = np.ones(a.shape[1]) if weights is None else np.asarray(weights, dtype=np.float64)
    rows, columns = len(a), len(b)
    local = (((a[:, None, :] - b[None, :, :]) ** 2) * weights).sum(axis=2)
    lag = np.arange(columns)[None, :] - np.arange(rows)[:, None]
    band = max(rows, columns) if band is None else band
    inside = (lag >= -band - max(0, rows - columns)) & (lag <= band + max(0, columns - rows))
    total = np.full((rows + 1, columns + 1), np.inf)
    total[0, 0] = 0.0
    for i in range(rows):
        for j in range(columns):
            if inside[i, j]:
                best = min(total[i, j], total[i, j + 1], total[i + 1, j])
                total[i + 1, j + 1] = local[i, j] + best
    return total[1:, 1:]


def dtw(a, b, band=None, weights=None):
    return matrix(a, b, band, weights)[-1, -1]


def nearest(query, curves, ids, k, band=None, weights=None):
    """The k nearest by comparing all: ids and costs, by (cost, id)."""
    found = sorted((dtw(query, curve, band, weights), int(one)) for curve, one in zip(curves, ids))[:k]
    return [one for _, one in found], [cost for cost, _ in found]
