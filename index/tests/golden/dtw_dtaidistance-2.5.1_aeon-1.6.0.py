"""Makes dtw_dtaidistance-2.5.1_aeon-1.6.0.txt: distances and warping paths to test against.

pip install dtaidistance==2.5.1 aeon==1.6.0 numpy; then run: python THIS_FILE

Curves: seeded random ones, and real ones (accelerometer and gyroscope, six channels: BasicMotions of
the UEA archive, as carried by aeon). Each case is a block of lines `name values...`:
frames of a and b, channels, band in frames, values of a and b (row-major, float32), the root distance
of dtaidistance, the squared distance of aeon (equal lengths only), the path as i,j pairs.
"""

import pathlib

import numpy as np
from aeon.datasets import load_basic_motions
from aeon.distances import dtw_distance
from dtaidistance import dtw_ndim

rng = np.random.default_rng(20)


def wander(frames, channels):
    return rng.standard_normal((frames, channels)).cumsum(axis=0) * 0.3


cases = []
for frames, channels, band in [(1, 1, 0), (7, 1, 1), (20, 3, 4), (30, 12, 10), (25, 2, 25), (40, 9, 0)]:
    cases.append((wander(frames, channels), wander(frames, channels), band))
for fa, fb, channels, band in [(12, 17, 2, 3), (17, 12, 2, 3), (9, 1, 3, 0)]:
    cases.append((wander(fa, channels), wander(fb, channels), band))
motions, _ = load_basic_motions(split="train")
for i, j, band in [(0, 1, 10), (0, 15, 5), (22, 23, 10), (31, 5, 100)]:
    cases.append((motions[i].T[:60], motions[j].T[:60], band))

lines = []
for a, b, band in cases:
    a = a.astype(np.float32).astype(np.float64)
    b = b.astype(np.float32).astype(np.float64)
    # A window of w lets dtaidistance leave the diagonal by w - 1 frames.
    root = dtw_ndim.distance(a, b, window=band + 1)
    path = dtw_ndim.warping_path(a, b, window=band + 1)
    squared = float("nan")
    if len(a) == len(b):
        squared = dtw_distance(a.T, b.T, window=min(1.0, (band + 1e-9) / len(a)))
        assert abs(squared - root**2) <= 1e-9 * max(1.0, squared), (squared, root**2, band)
    text = lambda values: " ".join(str(np.float32(v)) for v in np.ravel(values))
    lines += [
        f"case {len(a)} {len(b)} {a.shape[1]} {band}",
        f"a {text(a)}",
        f"b {text(b)}",
        f"root {float(root)!r}",
        f"squared {float(squared)!r}",
        "path " + " ".join(f"{i},{j}" for i, j in path),
    ]
target = pathlib.Path(__file__).with_suffix(".txt")
target.write_text("\n".join(lines) + "\n")
