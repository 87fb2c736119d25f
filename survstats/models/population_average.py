"""Which log odds ratios hold on average over mishaps when people of a mishap are taken to be equally alike?"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, stdtrit
from statsmodels.genmod.cov_struct import Exchangeable
from statsmodels.genmod.families import Binomial
from statsmodels.genmod.generalized_estimating_equations import GEE

from survstats.groundwork.errors import NotEstimable, Notice
from survstats.models.design import Design, build_design
from survstats.models.fitted import Coefficient, CoefficientTable
from survstats.models.logistic import aliased_notices, binary_outcome, check_level, refuse_separation

Floats = NDArray[np.float64]

PASSES = 200
TOLERANCE = 1e-8  # largest estimating function at which the search stops


@dataclass(frozen=True)
class PopulationAverage:
    """Log odds ratios averaged over mishaps.

    Attributes
    ----------
    table : CoefficientTable
    covariance : (k, k) array
        Bias-reduced sandwich of the coefficients.
    correlation : float
        Estimated between two people of a mishap, given their columns.
    design : Design
    mishaps : int
    notices : tuple of Notice
    """

    table: CoefficientTable
    covariance: Floats
    correlation: float
    design: Design
    mishaps: int
    notices: tuple[Notice, ...]

    def mean_risk(self, frame: pd.DataFrame, *, setting: Mapping[str, float] | None = None) -> float:
        """Mean predicted risk over the rows, with numeric terms set to a value if asked, in [0, 1]."""
        return float(expit(self.design.apply(frame, setting=setting) @ self.table.estimates).mean())


def fit_population_average(
    frame: pd.DataFrame, outcome: str, terms: Sequence[str], *, cluster: str, level: float = 0.95
) -> PopulationAverage:
    """Log odds ratios by estimating equations with one correlation for all pairs of a mishap.

    Liang and Zeger 1986, doi:10.1093/biomet/73.1.13; errors by the bias-reduced sandwich of Mancl and DeRouen
    2001, doi:10.1111/j.0006-341X.2001.00126.x, through statsmodels; limits by t with g - 1 degrees of freedom.

    Parameters
    ----------
    frame : DataFrame
        n rows without gaps in the columns named.
    outcome : str
        Column of 0 and 1.
    terms : sequence of str
    cluster : str
        Column with the mishap's label.
    level : float

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_outcome``, ``one_mishap``, ``missing_value``, ``separated``,
        ``not_converged``; ``few_pairs`` where the pairs of people of a mishap are no more than the coefficients.
    CallError
        ``missing_column``, ``not_binary``, ``level``.
    """
    check_level(level)
    design = build_design(frame, terms, cluster=cluster)
    y = binary_outcome(frame, outcome)
    mishaps = len(design.mishap_labels)
    if mishaps < 2:
        raise NotEstimable("one_mishap", "Only one mishap: nothing shows how mishaps differ.")
    aboard = np.bincount(design.mishap_codes)
    if (aboard * (aboard - 1) // 2).sum() <= len(design.columns):
        raise NotEstimable("few_pairs", "Too few people share a mishap to show how alike they are.")
    refuse_separation(design, y)
    beta, covariance, correlation = _solved(design, y)
    se = np.sqrt(np.diag(covariance))
    half = float(stdtrit(mishaps - 1, (1 + level) / 2)) * se
    rows = zip(design.columns, beta, se, np.full(len(se), mishaps - 1), beta - half, beta + half, strict=True)
    return PopulationAverage(
        table=CoefficientTable(tuple(Coefficient(name, *map(float, row)) for name, *row in rows), level),
        covariance=covariance,
        correlation=correlation,
        design=design,
        mishaps=mishaps,
        notices=aliased_notices(design),
    )


def _solved(design: Design, outcome: Floats) -> tuple[Floats, Floats, float]:
    """Coefficients (k,), their covariance (k, k) and the correlation."""
    model = GEE(
        outcome, design.matrix, groups=design.mishap_codes, family=Binomial(), cov_struct=Exchangeable()
    )
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            fit = model.fit(maxiter=PASSES, ctol=TOLERANCE, cov_type="bias_reduced")
    except (Warning, ValueError, ArithmeticError, np.linalg.LinAlgError) as trouble:
        raise NotEstimable("not_converged", "The population-average fit did not converge.") from trouble
    beta, covariance = np.asarray(fit.params, dtype=float), np.asarray(fit.cov_params(), dtype=float)
    if not (np.isfinite(beta).all() and np.isfinite(covariance).all() and (np.diag(covariance) > 0).all()):
        raise NotEstimable("not_converged", "The population-average fit did not converge.")
    correlation = float(model.cov_struct.dep_params)
    if not -1 / (int(np.bincount(design.mishap_codes).max()) - 1) < correlation < 1:
        raise NotEstimable("not_converged", "The population-average fit gave a correlation that cannot be.")
    return beta, covariance, correlation
