"""Which coefficients does each set of weights give, and which likelihood do all of them need?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import Weights, leave_one_out
from survstats.models.kernel import Collapsed, collapse, refit_intercept, solve
from survstats.models.separation import find_separation

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Fits:
    """Logistic fits under b sets of weights, all by one likelihood.

    Attributes
    ----------
    coefficients : ndarray of shape (b, k)
    told : ndarray of bool, shape (k,)
        Whether the column can be told from the others in every fit.
    finite : bool
        Whether every fit has a finite solution; where not, the coefficients must not be used.
    penalised : bool
        Whether they are Firth's with the intercept refitted, or maximum likelihood.
    """

    coefficients: Floats
    told: NDArray[np.bool_]
    finite: bool
    penalised: bool


def fit_sets(collapsed: Collapsed, weights: Weights, *, penalised: bool) -> Fits:
    """The fits under cluster weights of shape (b, g), by the likelihood asked for."""
    fits = solve(collapsed, weights, penalty="firth" if penalised else "none")
    finite = bool(np.all(fits.converged))
    coefficients = fits.coefficients
    if penalised and finite:
        coefficients = refit_intercept(collapsed, weights, coefficients)
    return Fits(coefficients, np.asarray(np.all(fits.identified, axis=0)), finite, penalised)


def fit_one_pass(matrix: Floats, outcome: Floats, codes: NDArray[np.int64]) -> Fits:
    """The fit of all g clusters and those with one left out (1 + g, k), penalised throughout if any has to be.

    Parameters
    ----------
    matrix : ndarray of shape (n, k)
        Intercept first.
    outcome : ndarray of shape (n,)
        0 and 1.
    codes : ndarray of shape (n,)
        Cluster of each row, 0 to g - 1.

    Raises
    ------
    NotEstimable
        ``not_converged`` where the penalised fits have no finite solution either.

    References
    ----------
    Heinze and Schemper 2002 (doi:10.1002/sim.1047), Puhr et al. 2017 (doi:10.1002/sim.7273).
    """
    collapsed = collapse(matrix, outcome, codes)
    if find_separation(matrix, outcome).kind == "none":
        plain = _one_pass(collapsed, penalised=False)
        if plain.finite:
            return plain
    found = _one_pass(collapsed, penalised=True)
    if not found.finite:
        raise NotEstimable(
            "not_converged", "A refit has no finite solution.", "Use fewer covariates in the study file."
        )
    return found


def _one_pass(collapsed: Collapsed, *, penalised: bool) -> Fits:
    whole = fit_sets(collapsed, np.ones((1, collapsed.mishaps)), penalised=penalised)
    if not whole.finite:
        return whole
    without = fit_sets(collapsed, leave_one_out(collapsed.mishaps), penalised=penalised)
    return Fits(
        np.concatenate([whole.coefficients, without.coefficients]),
        whole.told & without.told,
        without.finite,
        penalised,
    )
