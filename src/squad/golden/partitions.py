"""Writes partitions.json: what kmedoids (FasterPAM) and scikit-learn say of seeded distances.

Run with kmedoids 0.5 and scikit-learn 1.9 from PyPI; kmedoids is a test tool only (GPL-3.0).
"""

import json
import pathlib

import kmedoids
import numpy as np
import sklearn
from sklearn.metrics import adjusted_rand_score, silhouette_score

rng = np.random.default_rng(20260)
problems = []
for n, dimensions, k in ((30, 2, 3), (40, 5, 4), (50, 3, 6)):
    centres = rng.normal(0, 3, (k, dimensions))
    truth = rng.integers(0, k, n)
    points = centres[truth] + rng.normal(0, 1, (n, dimensions))
    square = np.sqrt(((points[:, None] - points[None]) ** 2).sum(2)).astype(np.float32)
    square = np.minimum(square, square.T)
    np.fill_diagonal(square, 0)
    built = kmedoids.fasterpam(square, k, init="build")
    best = min((kmedoids.fasterpam(square, k, random_state=seed) for seed in range(50)), key=lambda r: r.loss)
    problems.append({
        "n": n,
        "k": k,
        "condensed": [float(square[i, j]) for i in range(n) for j in range(i + 1, n)],
        "truth": truth.tolist(),
        "labels": [int(label) for label in best.labels],
        "loss": float(best.loss),
        "loss_from_build": float(built.loss),
        "silhouette": float(silhouette_score(square, best.labels, metric="precomputed")),
        "adjusted_rand": float(adjusted_rand_score(truth, best.labels)),
    })
text = json.dumps({"tools": f"kmedoids, scikit-learn {sklearn.__version__}", "problems": problems})
(pathlib.Path(__file__).parent / "partitions.json").write_text(text + "\n")
