"""Prints the slope and clustered standard error that src/squad/trends.rs is checked against."""

import numpy as np
import statsmodels
import statsmodels.api as sm

table = [
    (0, 0.0, 1), (0, 1.0, 1), (0, 2.5, 0), (1, 0.5, 1), (1, 3.0, 1), (2, 0.0, 0),
    (2, 2.0, 0), (2, 4.0, 1), (3, 1.0, 1), (3, 4.5, 0), (4, 0.2, 1), (4, 3.3, 0),
    (5, 1.1, 0), (5, 2.2, 0), (5, 5.0, 0), (6, 0.4, 1), (6, 4.1, 0),
]
player, month, present = (np.array(column) for column in zip(*table))
fit = sm.Logit(present, sm.add_constant(month)).fit(
    disp=False, tol=1e-12, cov_type="cluster", cov_kwds={"groups": player}
)
print(statsmodels.__version__, repr(float(fit.params[1])), repr(float(fit.bse[1])))
