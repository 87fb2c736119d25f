"""The same numbers by other roads: plain loops and textbook formulas, no code shared with the package."""

from __future__ import annotations

import math

import numpy as np
from scipy import stats
from scipy.optimize import brentq


def risk(row, beta):
    return 1 / (1 + math.exp(-(row @ beta)))


def information(rows, beta):
    k = len(beta)
    total = np.zeros((k, k))
    for row in rows:
        total += risk(row, beta) * risk(-row, beta) * np.outer(row, row)
    return total


def logistic(rows, outcome, firth=False, free=None, beta=None):
    """Coefficients by scoring one row at a time; with Firth's adjustment of the score if asked."""
    k = len(rows[0])
    beta = np.zeros(k) if beta is None else np.array(beta, dtype=float)
    free = list(range(k)) if free is None else free
    for _ in range(500):
        info = information(rows, beta)
        inverse = np.linalg.inv(info) if firth else None
        score = np.zeros(k)
        for row, y in zip(rows, outcome, strict=True):
            p = risk(row, beta)
            h = p * risk(-row, beta) * (row @ inverse @ row) if firth else 0.0
            score += row * (y - p + h * (0.5 - p))
        step = np.linalg.solve(info[np.ix_(free, free)], score[free])
        step /= max(1.0, np.abs(step).max() / 2)
        before, trial = likelihood(rows, outcome, beta, firth), beta.copy()
        trial[free] = beta[free] + step
        while np.abs(step).max() > 1e-7 and likelihood(rows, outcome, trial, firth) < before:
            step /= 2
            trial[free] = beta[free] + step
        beta = trial
        if np.abs(step).max() < 1e-11:
            return beta
    raise AssertionError("the slow fit did not converge")


def likelihood(rows, outcome, beta, firth):
    total = 0.5 * math.log(np.linalg.det(information(rows, beta))) if firth else 0.0
    for row, y in zip(rows, outcome, strict=True):
        total += math.log(risk(row if y else -row, beta))
    return total


def profile_limits(rows, outcome, column, level=0.95):
    """Where twice the fall of the penalised profile is the chi-squared quantile."""
    beta = logistic(rows, outcome, firth=True)
    best = likelihood(rows, outcome, beta, True)
    free = [j for j in range(len(beta)) if j != column]

    near = [beta]

    def fall(value):
        start = min(near, key=lambda known: abs(known[column] - value)).copy()
        start[column] = value
        held = logistic(rows, outcome, firth=True, free=free, beta=start)
        near.append(held)
        return 2 * (best - likelihood(rows, outcome, held, True)) - stats.chi2.ppf(level, 1)

    width = 1.0
    limits = []
    for sign in (-1, 1):
        while fall(beta[column] + sign * width) < 0:
            width *= 1.25
        limits.append(brentq(fall, beta[column], beta[column] + sign * width, xtol=1e-9))
    return limits


def root_of_inverse(matrix):
    values, vectors = np.linalg.eigh(matrix)
    total = np.zeros_like(matrix)
    for value, vector in zip(values, vectors.T, strict=True):
        if value > 1e-10:
            total += np.outer(vector, vector) / math.sqrt(value)
    return total


def bias_reduced_covariance(x, e, codes):
    """CR2 and its degrees of freedom from the full (n, n) matrices of the formulas."""
    n, k = x.shape
    bread = np.linalg.inv(x.T @ x)
    rest = np.eye(n) - x @ bread @ x.T
    groups = [np.flatnonzero(codes == g) for g in sorted(set(codes))]
    meat = np.zeros((k, k))
    columns = [[] for _ in range(k)]
    for rows in groups:
        root = root_of_inverse(rest[np.ix_(rows, rows)])
        score = x[rows].T @ root @ e[rows]
        meat += np.outer(score, score)
        for j in range(k):
            columns[j].append(rest[:, rows] @ root @ x[rows] @ bread[:, j])
    df = []
    for j in range(k):
        p = np.column_stack(columns[j])
        df.append(np.trace(p.T @ p) ** 2 / np.trace(p.T @ p @ p.T @ p))
    return bread @ meat @ bread, np.array(df)


def standardised_difference(rows, outcome, beta, column):
    total = 0.0
    for row in rows:
        for value, sign in ((1.0, 1), (0.0, -1)):
            changed = row.copy()
            changed[column] = value
            total += sign * risk(changed, beta)
    return total / len(rows)


def jackknife_difference(rows, outcome, codes, column, penalised=False):
    """Standardised risk difference and its delete-one-mishap standard error."""

    def estimate(keep):
        beta = logistic(rows[keep], outcome[keep], firth=penalised)
        if penalised:
            beta = logistic(rows[keep], outcome[keep], free=[0], beta=beta)
        return standardised_difference(rows[keep], outcome[keep], beta, column)

    whole = estimate(np.ones(len(rows), dtype=bool))
    parts = [estimate(codes != g) for g in sorted(set(codes))]
    g = len(parts)
    return whole, math.sqrt((g - 1) / g * sum((part - whole) ** 2 for part in parts))


def exact_within(outcome, exposure, codes, level=0.95):
    """CMLE, exact and mid-p limits, one-sided p from the full table of arrangements, in whole numbers."""
    ways, t = {0: 1}, 0
    for g in sorted(set(codes)):
        y, a = outcome[codes == g], exposure[codes == g]
        n, d, m = len(y), int(y.sum()), int(a.sum())
        if not (0 < d < n and 0 < m < n):
            continue
        t += int((y * a).sum())
        fresh = {}
        for done, count in ways.items():
            for s in range(max(0, d + m - n), min(d, m) + 1):
                more = count * math.comb(m, s) * math.comb(n - m, d - s)
                fresh[done + s] = fresh.get(done + s, 0) + more
        ways = fresh

    def chance(theta, test):
        whole = sum(c * math.exp(theta * (s - t)) for s, c in ways.items())
        return sum(c * math.exp(theta * (s - t)) for s, c in ways.items() if test(s)) / whole

    def mean(theta):
        whole = sum(c * math.exp(theta * (s - t)) for s, c in ways.items())
        return sum(s * c * math.exp(theta * (s - t)) for s, c in ways.items()) / whole

    tail = (1 - level) / 2
    low = -math.inf if t == min(ways) else brentq(lambda z: chance(z, lambda s: s >= t) - tail, -30, 30)
    high = math.inf if t == max(ways) else brentq(lambda z: chance(z, lambda s: s <= t) - tail, -30, 30)
    if t in (min(ways), max(ways)):
        estimate = math.copysign(math.inf, 1 if t == max(ways) else -1)
    else:
        estimate = brentq(lambda z: mean(z) - t, -30, 30, xtol=1e-12)

    def mid(theta, beyond):
        return chance(theta, beyond) + chance(theta, lambda s: s == t) / 2 - tail

    mid_low = low if math.isinf(low) else brentq(lambda z: mid(z, lambda s: s > t), -30, 30)
    mid_high = high if math.isinf(high) else brentq(lambda z: mid(z, lambda s: s < t), -30, 30)
    tails = chance(0.0, lambda s: s >= t), chance(0.0, lambda s: s <= t)
    return estimate, low, high, mid_low, mid_high, *tails


def conditional_likelihood(rows, outcome, codes, beta):
    """Conditional log-likelihood by listing every choice of as many people as lived."""
    from itertools import combinations

    total = 0.0
    for g in sorted(set(codes)):
        x, y = rows[codes == g], outcome[codes == g]
        eta = x @ beta
        d = int(y.sum())
        total += float(eta[y == 1].sum())
        total -= math.log(sum(math.exp(sum(eta[list(c)])) for c in combinations(range(len(y)), d)))
    return total
