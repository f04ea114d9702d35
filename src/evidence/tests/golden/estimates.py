"""Writes estimates.json: invented tables and what statsmodels, SciPy and NumPy estimate from them.

The method of src/evidence/mod.rs worked through from its description, by other means: votes with
pandas, the regression with its priors as extra observations of a statsmodels WLS, the spread of the
estimate with the dense covariance of all errors, the likelihood of a spread between drills as the
restricted likelihood of the marginal normal model, the other faults with statsmodels'
random-effects meta-analysis, quantiles from SciPy. Priors are those of pool.rs.
Run: python estimates.py (statsmodels 0.15, SciPy 1.17, NumPy 2.3, pandas of any age, from PyPI).
"""

import json
import pathlib

import numpy as np
import pandas as pd
import scipy
import statsmodels
import statsmodels.api as sm
from scipy import stats
from statsmodels.stats.meta_analysis import combine_effects

BETWEEN = np.array([0.03, 0.15, 0.3, 0.45, 0.65, 0.9, 1.3, 2.0])
TRENDS = np.array([0.01, 0.25, 0.5, 0.9])
# Every pair that is weighed: between drills, and for each spread of style.
SPREADS = [(w, v) for w in BETWEEN for v in TRENDS]
SCALE = 0.5
TYPICAL = (SCALE, SCALE)
UNSEEN = 0.3
STYLE_MATTERS = 0.5


def table(rng, faults, players, placed=True):
    """Rows of an invented academy: plans come with bad starts, some players come several times.

    And the looks nobody knows the outcome of. Of one row in ten nobody knows the style."""
    rows, unseen = [], []
    styles = rng.normal(0.6, 1, (players, 2))
    drill = 0
    for fault in range(faults):
        unit = [6.0, 0.05, 11.0][fault % 3]
        drills = list(range(drill, drill + 3))
        drill += 3
        gain = rng.normal(0.7, 0.4)
        adds = gain + rng.normal(0, 0.5, 3)
        for player in range(players):
            level = rng.normal(0, 1.2)
            for _ in range(rng.integers(1, 5)):
                look = level + rng.normal(0, 0.7)
                if look > 0:
                    continue
                did = []
                if rng.random() < 0.6:
                    did = sorted(rng.choice(drills, 2 if rng.random() < 0.2 else 1, replace=False))
                added = np.mean([adds[d - drills[0]] for d in did]) if did else 0.0
                if rng.random() < 0.2:
                    unseen.append({"player": int(player), "fault": fault, "drills": [int(d) for d in did]})
                    continue
                style = [round(float(s), 6) for s in styles[player] + rng.normal(0, 0.3, 2)]
                change = level + rng.normal(0, 0.7) + added - look
                rows.append({
                    "player": int(player),
                    "fault": fault,
                    "drills": [int(d) for d in did],
                    "start": round(unit * look, 6),
                    "change": round(unit * change, 6),
                    "detectable": round(unit * rng.uniform(0.8, 1.2), 6),
                    "weight": round(float(rng.uniform(0.05, 1.0)), 6),
                    "style": style if placed and rng.random() < 0.9 else None,
                })
    return rows, unseen


class Sample:
    """One fault's votes and design."""

    def __init__(self, rows, start=None, alike=False):
        d = pd.DataFrame(rows)
        if alike:
            d["weight"] = 1.0
        d["plan"] = [int(bool(x)) for x in d.drills]
        d["vote"] = d.weight / d.groupby(["player", "plan"]).weight.transform("size")
        self.compared = d[d.plan == 0].player.nunique() >= 3
        if not self.compared:
            d = d[d.plan == 1].reset_index(drop=True)
        self.unit = d.detectable.mean()
        did = d[d.plan == 1]
        middle = np.average(did.start, weights=did.vote)
        self.start = np.clip(middle if start is None else start, did.start.min(), did.start.max())
        by_player = d.groupby(["plan", "player"]).vote.sum()
        kish = by_player.groupby("plan").agg(lambda w: w.sum() ** 2 / (w**2).sum())
        self.kish = np.array([kish.get(0, 0.0), kish.get(1, 0.0)])
        self.w = (d.vote * self.kish[d.plan] / d.groupby("plan").vote.transform("sum")).to_numpy()
        self.drills = sorted({x for xs in d.drills for x in xs})
        x = ((d.start - self.start) / self.unit).to_numpy()
        plan = d.plan.to_numpy()
        columns = [np.ones(len(d)), x] + ([plan, plan * x] if self.compared else [])
        columns += [np.array([(k in xs) / max(len(xs), 1) for xs in d.drills]) for k in self.drills]
        known = [s for s in d["style"] if isinstance(s, list)]
        self.middle = np.mean(known, axis=0) if known else np.zeros(2)
        off = np.array([s if isinstance(s, list) else self.middle for s in d["style"]]) - self.middle
        shares = columns[-len(self.drills) :]
        columns += [share * off[:, way] for way in (0, 1) for share in shares]
        self.did = list(zip(d.player, d.drills))
        self.X = np.column_stack(columns).astype(float)
        self.y = (d.change / self.unit).to_numpy()
        self.g = plan
        self.fixed = 4 if self.compared else 2
        player = d.player.to_numpy()
        self.same = (player[:, None] == player[None]) & ~np.eye(len(d), dtype=bool)

    def prior(self, spread, gain):
        """Mean and standard deviation of each coefficient; inf: flat."""
        m, s = np.zeros(self.X.shape[1]), np.full(self.X.shape[1], np.inf)
        m[1], s[1] = -0.4, 0.3
        if self.compared:
            s[3] = 0.25
            if gain is not None:
                m[2], s[2] = gain[0], np.sqrt(gain[1])
        s[self.fixed :] = spread[1]
        s[self.fixed : self.fixed + len(self.drills)] = spread[0]
        return m, s

    def fit(self, noise, spread, gain):
        s2 = np.array(noise[0])[self.g]
        m, s = self.prior(spread, gain)
        known = np.isfinite(s)
        # A prior is an observation of its coefficient.
        X = np.vstack([self.X, np.eye(len(m))[known]])
        y = np.concatenate([self.y, m[known]])
        weights = np.concatenate([self.w / s2, 1 / s[known] ** 2])
        wls = sm.WLS(y, X, weights=weights).fit()
        inverse, b = wls.normalized_cov_params, wls.params
        sd = np.sqrt(s2)
        V = np.outer(sd, sd) * (np.eye(len(sd)) + noise[1] * self.same)
        P = np.diag(np.where(known, 1 / s**2, 0.0))
        A = inverse @ self.X.T * (self.w / s2)
        cov = A @ V @ A.T + inverse @ P @ inverse
        errors = self.y - self.X @ b
        # What is expected of a squared residual, errors and coefficients both random.
        H = self.X @ A
        left = np.eye(len(sd)) - H
        expected = np.diag(left @ V @ left.T + self.X @ inverse @ P @ inverse @ self.X.T)
        used = np.array([(self.w * (1 - expected / s2))[self.g == k].sum() for k in (0, 1)])
        squares = np.array([(self.w * errors**2)[self.g == k].sum() for k in (0, 1)])
        z = errors / sd
        pairs = np.triu(self.same)
        paired = ((np.outer(z, z) * pairs).sum(), pairs.sum())
        return b, cov, squares, used, paired

    def restricted(self, noise, spread, gain):
        """Restricted log-likelihood: normal coefficients integrated, flat ones as nuisances."""
        s2 = np.array(noise[0])[self.g]
        m, s = self.prior(spread, gain)
        known = np.isfinite(s)
        Z, F = self.X[:, known], self.X[:, ~known]
        V = np.diag(s2 / self.w) + Z @ np.diag(s[known] ** 2) @ Z.T
        r = self.y - Z @ m[known]
        Vi = np.linalg.inv(V)
        inner = F.T @ Vi @ F
        r = r - F @ np.linalg.solve(inner, F.T @ Vi @ r)
        return -0.5 * (np.linalg.slogdet(V)[1] + np.linalg.slogdet(inner)[1] + r @ Vi @ r)


def drawn(before, sums):
    squares = sum(s[0] for s in sums)
    left = sum((s[1] for s in sums), start=np.zeros(2))
    variances = (4 * np.array(before[0]) + squares) / (4 + left)
    products, pairs = sum(s[2][0] for s in sums), sum(s[2][1] for s in sums)
    return (tuple(variances), float(np.clip((10 * before[1] + products) / (10 + pairs), 0, 0.95))), left


def summed(sample, noise, gain):
    _, _, squares, used, paired = sample.fit(noise, TYPICAL, gain)
    return squares, np.maximum(sample.kish - used, 0), paired


def log_prior():
    def of(grid):
        edges = np.concatenate([[0.0], (grid[1:] + grid[:-1]) / 2])
        edges = np.append(edges, 2 * grid[-1] - edges[-1])
        masses = stats.halfnorm.pdf(grid, scale=SCALE) * np.diff(edges)
        return masses / masses.sum()

    trends = np.concatenate([[1 - STYLE_MATTERS], STYLE_MATTERS * of(TRENDS[1:])])
    return np.log(np.outer(of(BETWEEN), trends).ravel())


def settled(sample, before, gain):
    noise = before
    for _ in range(3):
        noise, left = drawn(before, [summed(sample, noise, gain)])
    return noise, 4 + left[1]


def mixture(sample, before, gain, others):
    noise, freedom = settled(sample, before, gain)
    own = np.array([sample.restricted(noise, s, gain) for s in SPREADS])
    log = own + others + log_prior()
    weights = np.exp(log - log.max())
    fits = [sample.fit(noise, s, gain)[:2] for s in SPREADS]
    return weights / weights.sum(), fits, freedom, own


def moments(weights, fits, c):
    means = np.array([c @ b for b, _ in fits])
    within = np.array([c @ V @ c for _, V in fits])
    mean = weights @ means
    return mean, weights @ (within + (means - mean) ** 2)


def share_unseen(seen, unseen):
    """Mean over players of the share of their looks that nobody knows the outcome of."""
    d = pd.DataFrame([(p, 0.0) for p in seen] + [(p, 1.0) for p in unseen], columns=["player", "gone"])
    return d.groupby("player").gone.mean().mean() if len(d) else 0.0


def answer(table, fault, start):
    rows, unseen = table
    faults = sorted({row["fault"] for row in rows})
    samples = {
        f: Sample([r for r in rows if r["fault"] == f], start if f == fault else None, alike=f != fault)
        for f in faults
    }
    own = samples.pop(fault)
    nothing = ((0.5, 0.5), 0.4)
    before, _ = drawn(nothing, [summed(s, nothing, None) for s in samples.values()]) if samples else (nothing, 0)
    gains, likelihoods = [], np.zeros(len(SPREADS))
    for sample in samples.values():
        weights, fits, _, own_log = mixture(sample, before, None, 0.0)
        likelihoods += own_log
        if sample.compared:
            gains.append(moments(weights, fits, np.eye(sample.X.shape[1])[2]))
    gain = None
    if len(gains) >= 5:
        effects, variances = np.array(gains).T
        tau2 = max(combine_effects(effects, variances, method_re="chi2").tau2, 0.2**2)
        again = 1 / (variances + tau2)
        n = len(gains)
        gain = (again @ effects / again.sum(), (tau2 + 1 / again.sum()) * (n - 2) / (n - 4))
    weights, fits, freedom, _ = mixture(own, before, gain, likelihoods)

    def gone(wanted):
        of = [u["player"] for u in unseen if u["fault"] == fault and wanted(u["drills"])]
        return share_unseen([p for p, did in own.did if wanted(did)], of) ** 2

    def told(c, unseen_squares):
        mean, variance = moments(weights, fits, c)
        half = stats.t.ppf(0.95, freedom) * np.sqrt(variance + UNSEEN**2 * unseen_squares)
        return [float(v * own.unit) for v in (mean, mean - half, mean + half)]

    drills = []
    for place, drill in enumerate(own.drills):
        c = np.zeros(own.X.shape[1])
        c[own.fixed + place] = 1
        if own.compared:
            c[2] = 1
        for way in (0, 1):
            c[own.fixed + (1 + way) * len(own.drills) + place] = -own.middle[way]
        lost, lost_without = gone(lambda did: drill in did), gone(lambda did: not did)
        adds = told(c, lost + lost_without) if own.compared else None
        c[0] = 1
        drills.append({"drill": drill, "change": told(c, lost), "gain": adds})
    by_itself = told(np.eye(own.X.shape[1])[0], gone(lambda did: not did)) if own.compared else None
    return {"start": float(own.start), "effective": float(own.kish[1]), "unit": float(own.unit),
            "other_faults": len(gains), "by_itself": by_itself, "drills": drills}


rng = np.random.default_rng(711)
problems = []
for faults, players, fault, start, placed in (
    (1, 30, 0, None, True),
    (1, 14, 0, -9.0, True),
    (8, 30, 1, -0.06, True),
    (7, 20, 5, None, False),
):
    rows, unseen = made = table(rng, faults, players, placed)
    problems.append({"rows": rows, "unseen": unseen, "fault": fault, "asked": start, "found": answer(made, fault, start)})
# Nobody without a plan: nothing to compare with.
rows, unseen = table(rng, 1, 25)
rows = [row for row in rows if row["drills"]]
problems.append({"rows": rows, "unseen": unseen, "fault": 0, "asked": None, "found": answer((rows, unseen), 0, None)})
tools = f"statsmodels {statsmodels.__version__}, scipy {scipy.__version__}, numpy {np.__version__}"
text = json.dumps({"tools": tools, "problems": problems})
pathlib.Path(__file__).with_name("estimates.json").write_text(text + "\n")
