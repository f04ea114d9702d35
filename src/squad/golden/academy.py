"""Writes academy.json: what scipy and statsmodels say of small seeded tables.

Run with scipy 1.18 and statsmodels 0.15 (whatever the file names) from PyPI.
"""

import json
import pathlib

import numpy as np
import scipy
import statsmodels
from scipy.cluster.hierarchy import average
from statsmodels.duration.survfunc import SurvfuncRight
from statsmodels.stats.proportion import confint_proportions_2indep, proportion_confint

rng = np.random.default_rng(515)

points = rng.normal(0, 1, (12, 3))
condensed = [float(np.float32(np.linalg.norm(points[i] - points[j]))) for i in range(12) for j in range(i + 1, 12)]
steps = average(np.array(condensed))
tree = {
    "n": 12,
    "condensed": condensed,
    "steps": [[int(a), int(b), float(d), int(size)] for a, b, d, size in steps],
}

differences = []
for a, n, b, m in ((9, 12, 5, 28), (0, 7, 3, 9), (4, 4, 0, 6), (20, 40, 19, 41), (1, 30, 1, 3)):
    low, high = confint_proportions_2indep(a, n, b, m, method="newcomb", compare="diff", alpha=0.1)
    differences.append([a, n, b, m, float(low), float(high)])

shares = [[a, n, *map(float, proportion_confint(a, n, alpha=0.1, method="wilson"))] for a, n in ((0, 12), (3, 9), (40, 40))]

cures = []
for size in (9, 21, 45):
    days = rng.integers(2, 15, size) * 14
    cured = rng.random(size) < 0.6
    fit = SurvfuncRight(days, cured.astype(int))
    low, high = fit.quantile_ci(0.5, alpha=0.1, method="cloglog")
    cures.append({
        "rows": [[int(d), bool(c)] for d, c in zip(days, cured)],
        "median": float(fit.quantile(0.5)),
        "low": float(low),
        "high": None if not np.isfinite(high) else float(high),
    })

out = {
    "tools": f"scipy {scipy.__version__}, statsmodels {statsmodels.__version__}",
    "tree": tree,
    "differences": differences,
    "shares": shares,
    "cures": cures,
}
(pathlib.Path(__file__).parent / "academy.json").write_text(json.dumps(out) + "\n")
