"""Writes second_opinion.json: scikit-learn's k-means of mean curves against planted groups.

Run with scikit-learn 1.9 from PyPI. Invented data: players around planted shapes, more and more
noise, some of them put into another group than their shape's.
"""

import json
import pathlib

import numpy as np
import sklearn
from sklearn.cluster import KMeans
from sklearn.metrics import adjusted_rand_score

rng = np.random.default_rng(20261)
problems = []
for players, k, noise, moved in ((12, 2, 0.1, 0), (18, 3, 0.3, 3), (24, 3, 0.5, 8), (20, 4, 0.4, 2)):
    shapes = rng.normal(0, 1, (k, 30))
    truth = np.arange(players) % k
    homes = shapes[truth] + rng.normal(0, noise, (players, 30))
    owners = np.repeat(np.arange(players), 3)
    curves = (homes[owners] + rng.normal(0, 0.1, (len(owners), 30))).round(2).astype(np.float32)
    means = np.array([curves[owners == p].astype(np.float64).mean(0) for p in range(players)])
    labels = KMeans(k, n_init=200, random_state=1).fit_predict(means)
    group_of = truth.copy()
    group_of[:moved] = (group_of[:moved] + 1) % k
    problems.append({
        "curves": [[round(float(v), 2) for v in curve] for curve in curves],
        "owners": owners.tolist(),
        "group_of": group_of.tolist(),
        "adjusted_rand": float(adjusted_rand_score(group_of, labels)),
    })
text = json.dumps({"tools": f"scikit-learn {sklearn.__version__}", "problems": problems})
(pathlib.Path(__file__).parent / "second_opinion.json").write_text(text + "\n")
print([p["adjusted_rand"] for p in problems])
