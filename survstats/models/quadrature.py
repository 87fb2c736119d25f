"""What is the likelihood when the level of each mishap is integrated out, and where is it highest?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import roots_hermite

from survstats.groundwork.errors import NotEstimable
from survstats.models.patterns import pattern_codes

Floats = NDArray[np.float64]

PASSES = 100
STEP = 1e-4  # of the differences that give the information
NEAR = 1e-5  # slope, in standard errors, at which the search hands over to Newton's steps
ARRIVED = 1e-12  # of the likelihood that a further step would gain
CHUNK = 2**18  # cells times nodes worked on at once


class Integrated:
    """Log-likelihood and its gradient in coefficients and spread, by nodes laid around each mishap's mode.

    Rows alike in mishap and covariates are one cell.  A mishap's level ``u`` is in units of the spread.
    """

    def __init__(self, matrix: Floats, outcome: Floats, mishap_codes: NDArray[np.int64], nodes: int) -> None:
        labels, first = pattern_codes(np.column_stack([mishap_codes, matrix]))
        order = np.argsort(mishap_codes[first], kind="stable")
        self.x, self.mishap = matrix[first][order], mishap_codes[first][order]
        self.rows = np.bincount(labels).astype(float)[order]
        self.lived = np.bincount(labels, weights=outcome)[order]
        self.starts = np.flatnonzero(np.diff(self.mishap, prepend=-1))
        self.places, weights = roots_hermite(nodes)
        self.log_weights = np.log(weights) + self.places**2
        self.modes = np.zeros(len(self.starts))

    def gather(self, cells: Floats) -> Floats:
        """Sum over the cells of each mishap."""
        return np.asarray(np.add.reduceat(cells, self.starts, axis=0), dtype=float)

    def value_and_gradient(self, parameters: Floats) -> tuple[float, Floats]:
        """Log-likelihood and its gradient (k + 1,), the nodes moving along with the parameters."""
        spread = float(parameters[-1])
        linear = self.x @ parameters[:-1]
        mode, curve, shift, turn = self._nodes(linear, spread)
        width = curve**-0.5
        u = mode[:, None] + np.sqrt(2) * width[:, None] * self.places
        total, rest = self._at_nodes(linear, spread, u)
        total += self.log_weights - u**2 / 2
        top = total.max(axis=1)
        shares = np.exp(total - top[:, None])
        mass = shares.sum(axis=1)
        shares /= mass[:, None]
        value = float((top + np.log(mass) + np.log(width)).sum()) - 0.5 * len(top) * np.log(np.pi)
        pull = shares * (spread * self.gather(rest) - u)
        expected = np.einsum("cq,cq->c", shares[self.mishap], rest)
        with_level = np.einsum("cq,cq->", (shares * u)[self.mishap], rest)
        # the nodes move: by the mode's shift, and by the relative change of width times their distance
        outward = 1 + np.sqrt(2) * width * (pull @ self.places)
        moved = pull.sum(axis=1) @ shift + outward @ turn
        return value, np.append(self.x.T @ expected, with_level) + moved

    def _at_nodes(self, linear: Floats, spread: float, u: Floats) -> tuple[Floats, Floats]:
        """Log-likelihood of each mishap (g, q) and outcome minus expectation of each cell (c, q) at each node."""
        total, rest = np.empty(u.shape), np.empty((len(linear), u.shape[1]))
        at_once = max(1, CHUNK // len(linear))
        for first in range(0, u.shape[1], at_once):
            here = slice(first, first + at_once)
            eta = linear[:, None] + spread * u[:, here][self.mishap]
            small = np.exp(-np.abs(eta))
            above = np.maximum(eta, 0.0) + np.log1p(small)
            rest[:, here] = self.lived[:, None] - self.rows[:, None] * np.exp(eta - above)
            total[:, here] = self.gather(self.lived[:, None] * eta - self.rows[:, None] * above)
        return total, rest

    def _nodes(self, linear: Floats, spread: float) -> tuple[Floats, Floats, Floats, Floats]:
        """Each mishap's mode (g,), minus second derivative there (g,), how mode and log-width move (g, k + 1)."""
        u, longest = self.modes, np.inf
        for _ in range(PASSES):
            risk = 0.5 + 0.5 * np.tanh((linear + spread * u[self.mishap]) / 2)
            weight = self.rows * risk * (1 - risk)
            slope = spread * self.gather(self.lived - self.rows * risk) - u
            curve = spread**2 * self.gather(weight) + 1
            longest = float(np.abs(slope).max())
            if longest < 1e-11 * (1 + abs(spread)):
                break
            step = slope / curve
            u = u + step / np.maximum(1.0, np.abs(spread * step))
        if longest > 1e-8:
            raise NotEstimable("not_converged", "The level of a mishap could not be found.")
        self.modes = u
        bend = weight * (1 - 2 * risk)
        score, weights, bends = (self.gather(part) for part in (self.lived - self.rows * risk, weight, bend))
        scaled, bent = (self.gather(self.x * part[:, None]) for part in (weight, bend))
        shift = np.column_stack([-spread * scaled, score - spread * u * weights]) / curve[:, None]
        third = np.column_stack([-(spread**2) * bent, -2 * spread * weights - spread**2 * u * bends])
        change = third - (spread**3 * bends)[:, None] * shift
        return u, curve, shift, change / (2 * curve[:, None])


def maximise(integrated: Integrated, start: Floats, covariance: Floats, *, free: int) -> tuple[Floats, float]:
    """Where the likelihood is highest in the first ``free`` parameters, and how high: a search by BFGS.

    Parameters
    ----------
    integrated : Integrated
    start : (k + 1,) array
        Coefficients, then the spread.
    covariance : (free, free) array
        A guess of the covariance of those that are free, which gives the search its units.
    """
    turn = np.linalg.cholesky(covariance)

    def fall(whitened: Floats) -> tuple[float, Floats]:
        value, gradient = integrated.value_and_gradient(_placed(start, turn @ whitened))
        return -value, -turn.T @ gradient[:free]

    found = minimize(fall, np.zeros(free), jac=True, method="BFGS", options={"gtol": NEAR, "maxiter": PASSES})
    return _placed(start, turn @ found.x), -float(found.fun)


def polish(integrated: Integrated, at: Floats) -> tuple[Floats, float, Floats]:
    """The top near ``at`` (k + 1,), its height, and the observed information there (k + 1, k + 1).

    Newton's steps, with the information by central differences of the exact gradient.

    Raises
    ------
    NotEstimable
        ``not_converged``.
    """
    size = np.append(np.maximum(np.abs(integrated.x).max(axis=0), 1e-300), 1.0)
    for _ in range(5):
        value, gradient = integrated.value_and_gradient(at)
        rows = []
        for j, unit in enumerate(STEP / size):
            step = np.zeros(len(at))
            step[j] = unit
            up, down = (integrated.value_and_gradient(at + way * step)[1] for way in (1, -1))
            rows.append((down - up) / (2 * unit))
        information = (np.array(rows) + np.array(rows).T) / 2
        try:
            np.linalg.cholesky(information / np.outer(size, size))
        except np.linalg.LinAlgError:
            break
        step = np.linalg.solve(information, gradient)
        at = at + step
        if float(gradient @ step) < ARRIVED * (1 + abs(value)):
            return at, value, np.asarray(information, dtype=float)
    raise NotEstimable("not_converged", "The fit with a level of each mishap did not converge.")


def _placed(start: Floats, difference: Floats) -> Floats:
    """The start with its first parameters moved."""
    moved = start.copy()
    moved[: len(difference)] += difference
    return moved
