"""What do estimates from several completed data sets say together?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from survstats.groundwork.errors import CallError


@dataclass(frozen=True)
class Pooled:
    """One number from m completed data sets.

    Attributes
    ----------
    value : float
        Mean of the m estimates.
    se : float
        Square root of the total variance.
    df : float
        Degrees of freedom of the t quantile; never more than the completed data alone would give.
    fraction_missing : float
        Share of the information about the number that the gaps took, in [0, 1].
    between, within : float
        Variance between the m estimates; mean of their own variances.
    """

    value: float
    se: float
    df: float
    fraction_missing: float
    between: float
    within: float


def pool(values: ArrayLike, variances: ArrayLike, *, complete_df: float) -> Pooled:
    """Mean, standard error and degrees of freedom of a number estimated in m completed data sets.

    Parameters
    ----------
    values, variances : (m,) array
        The estimate and its squared standard error in each, on the scale of the interval.
    complete_df : float
        Degrees of freedom the number would have without gaps (mishaps less one); may be infinite.

    Raises
    ------
    CallError
        ``too_few_draws`` for fewer than two, ``pooled_shape`` where the two do not match, ``bad_variance`` for
        a variance below 0 or not finite, ``complete_df`` for degrees of freedom that are not above 0.

    References
    ----------
    Rubin 1987, doi:10.1002/9780470316696; Barnard and Rubin 1999, doi:10.1093/biomet/86.4.948. The share of
    missing information is Rubin's with these degrees of freedom; it is 0 where the m estimates agree.
    """
    estimates, own = np.asarray(values, dtype=float), np.asarray(variances, dtype=float)
    _check(estimates, own, complete_df)
    m = len(estimates)
    within = float(own.mean())
    between = float(estimates.var(ddof=1)) if np.ptp(estimates) > 0 else 0.0
    extra = (1 + 1 / m) * between
    total = within + extra
    share = extra / total if total > 0 else 0.0
    df = _barnard_rubin(share, m, complete_df)
    return Pooled(
        value=float(estimates.mean()),
        se=math.sqrt(total),
        df=df,
        fraction_missing=share + (1 - share) * 2 / (df + 3) if share > 0 else 0.0,
        between=between,
        within=within,
    )


def _barnard_rubin(share: float, m: int, complete_df: float) -> float:
    """Degrees of freedom where ``share`` of the total variance comes from the gaps."""
    by_draws = share**2 / (m - 1)
    if math.isinf(complete_df):
        return 1 / by_draws if by_draws > 0 else math.inf
    observed = (complete_df + 1) / (complete_df + 3) * complete_df * (1 - share)
    return 1 / (by_draws + 1 / observed) if observed > 0 else 0.0


def _check(values: np.ndarray, variances: np.ndarray, complete_df: float) -> None:
    if values.ndim != 1 or values.shape != variances.shape:
        raise CallError("pooled_shape", f"{values.shape} estimates do not match {variances.shape} variances.")
    if len(values) < 2:
        raise CallError("too_few_draws", "Pooling needs at least two completed data sets.")
    if not (np.isfinite(values).all() and np.isfinite(variances).all() and np.all(variances >= 0)):
        raise CallError(
            "bad_variance", "An estimate or its variance is not finite, or a variance is below 0."
        )
    if not complete_df > 0:
        raise CallError("complete_df", f"Degrees of freedom must be above 0, not {complete_df}.")
