"""The conjugate update and the forecast again, with numpy and scipy, for rates_test.go. JSON on stdin: rows x (already divided by their
forecasts), y, weights w, prior (common, own, job, df), what weights take (gentle), the next job x_new and the share of its range. Numbers out, one a line: the
rates' factors, the degrees of freedom, the spread of a job, forecast, low, high."""
import json
import sys

import numpy as np
from scipy import stats

q = json.load(sys.stdin)
x, y, w = np.array(q["x"]), np.array(q["y"]), np.array(q["w"])
k = x.shape[1]
v0 = (q["common"] ** 2 * np.ones((k, k)) + q["own"] ** 2 * np.eye(k)) / q["job"] ** 2
# As least squares with the prior as further rows, by QR, not by the normal equations.
l = np.linalg.cholesky(np.linalg.inv(v0)).T
s = np.sqrt(w)
a = np.vstack([x * s[:, None], l])
b = np.concatenate([y * s, l @ np.ones(k)])
m, _, _, _ = np.linalg.lstsq(a, b, rcond=None)
rss = float(np.sum((a @ m - b) ** 2))
df = q["df"] + float(np.sum(w))
t2 = (q["df"] * q["job"] ** 2 + rss / q["gentle"]) / df
xn = np.array(q["x_new"])
f = float(xn @ m)
r = np.linalg.qr(a, mode="r")
u = np.linalg.solve(r.T, xn)
rel2 = t2 * (1 + float(u @ u) / f**2)
mu, sd = np.log(f) - np.log1p(rel2) / 2, np.sqrt(np.log1p(rel2))
t = stats.t(df, loc=mu, scale=sd)
p = (1 - q["share"]) / 2
for v in [*m, df, np.sqrt(t2), f, np.exp(t.ppf(p)), np.exp(t.ppf(1 - p))]:
    print(repr(float(v)))
