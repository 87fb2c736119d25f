"""Which log odds ratios does maximum likelihood give, with errors from the spread between mishaps?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import expit, stdtrit

from survstats.groundwork.errors import CallError, NotEstimable, Notice
from survstats.models.cluster_covariance import Correction, cluster_covariance
from survstats.models.design import Design, build_design
from survstats.models.fitted import Coefficient, CoefficientTable, FittedLogistic, Usage
from survstats.models.kernel import collapse, solve
from survstats.models.separation import find_separation


def fit_logistic(
    frame: pd.DataFrame,
    outcome: str,
    terms: Sequence[str],
    *,
    cluster: str,
    covariance: Correction = "CR2",
    level: float = 0.95,
) -> FittedLogistic:
    """Log odds ratios by maximum likelihood, with limits from the spread between mishaps.

    Parameters
    ----------
    frame : DataFrame
        n rows without gaps in the columns named.
    outcome : str
        Column of 0 and 1.
    terms : sequence of str
    cluster : str
        Column with the mishap's label.
    covariance : {"CR0", "CR1", "CR2"}
        See :func:`~survstats.models.cluster_covariance.cluster_covariance`.
    level : float
        Coverage of the limits.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_outcome``, ``one_mishap``, ``separated``, ``not_converged``, ``missing_value``.
    CallError
        ``missing_column``, ``not_binary``.
    """
    check_level(level)
    design = build_design(frame, terms, cluster=cluster)
    y = binary_outcome(frame, outcome)
    refuse_separation(design, y)
    collapsed = collapse(design.matrix, y, design.mishap_codes)
    fit = solve(collapsed, np.ones((1, collapsed.mishaps)))
    if not fit.converged[0]:
        raise NotEstimable(
            "not_converged", "The logistic fit did not converge.", "Use the penalised (Firth) fit."
        )
    beta = fit.coefficients[0]
    mu = expit(design.matrix @ beta)
    root = np.sqrt(np.maximum(mu * (1 - mu), 1e-300))
    spread = cluster_covariance(
        design.matrix * root[:, None], (y - mu) / root, design.mishap_codes, correction=covariance
    )
    half = stdtrit(spread.df, (1 + level) / 2) * spread.se
    rows = zip(design.columns, beta, spread.se, spread.df, beta - half, beta + half, strict=True)
    return FittedLogistic(
        table=CoefficientTable(tuple(Coefficient(name, *map(float, row)) for name, *row in rows), level),
        covariance=spread.covariance,
        method=covariance,
        log_likelihood=float(fit.log_likelihood[0]),
        design=design,
        usage=usage_of(design),
        notices=aliased_notices(design),
        flic_intercept=float(beta[0]),
    )


def binary_outcome(frame: pd.DataFrame, outcome: str) -> NDArray[np.float64]:
    """The outcome as 0 and 1, shape (n,), with both values present.

    Raises
    ------
    CallError
        ``missing_column``, ``not_binary``.
    NotEstimable
        ``missing_value``, ``one_outcome``.
    """
    if outcome not in frame.columns:
        raise CallError("missing_column", f"The rows have no column '{outcome}'.")
    if frame[outcome].isna().any():
        raise NotEstimable(
            "missing_value", f"'{outcome}' is missing in {int(frame[outcome].isna().sum())} rows."
        )
    values = frame[outcome].to_numpy(dtype=float)
    if not np.isin(values, (0.0, 1.0)).all():
        raise CallError("not_binary", f"'{outcome}' has values other than 0 and 1.")
    if values.min() == values.max():
        raise NotEstimable("one_outcome", f"'{outcome}' is {int(values[0])} in every row.")
    return values


def check_level(level: float) -> None:
    """Raise ``CallError("level")`` unless the level lies in (0, 1)."""
    if not 0 < level < 1:
        raise CallError("level", f"A level must lie between 0 and 1, not {level}.")


def usage_of(design: Design) -> Usage:
    """What a fit of all rows of the design rests on."""
    return Usage(
        rows=len(design.matrix),
        mishaps=len(design.mishap_labels),
        coefficients=len(design.columns),
        dropped=dict.fromkeys(design.dropped, "aliased"),
    )


def aliased_notices(design: Design) -> tuple[Notice, ...]:
    """One notice per column that was dropped."""
    return tuple(Notice("aliased_column", {"column": name}) for name in design.dropped)


def refuse_separation(design: Design, outcome: NDArray[np.float64]) -> None:
    """Raise ``NotEstimable("separated")`` naming the columns that run to infinity, if there are any."""
    separation = find_separation(design.matrix, outcome)
    if separation.kind == "none":
        return
    infinite = [
        name for name, way in zip(design.columns, separation.directions, strict=True) if way != "finite"
    ]
    raise NotEstimable(
        "separated",
        f"The outcomes are separated ({separation.kind}) by {', '.join(infinite)}.",
        "Use the penalised (Firth) fit.",
    )
