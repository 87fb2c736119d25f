"""Survival if all, if none had been trained: standardisation over the people who were there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from survstats.effects.arms import compare_arms, seen
from survstats.effects.question import Target
from survstats.effects.risk_model import Refits, RiskModel, refit
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.groundwork.resampling import leave_one_out
from survstats.models.kernel import mean_risk

Floats = NDArray[np.float64]
Weighting = Literal["people", "mishaps"]

MISHAP_BLOCK = 256  # fits whose mishap weights are written out at a time


@dataclass(frozen=True)
class Effect:
    """What training would change, averaged over a target group.

    Attributes
    ----------
    target : {"all", "untrained", "trained"}
    if_all, if_none : Estimate
        Survival if all, if none of the target had been trained (psi1, psi0).
    difference : Estimate
        psi1 - psi0.
    survival_ratio, death_ratio, odds_ratio : Estimate
        psi1 / psi0, (1 - psi1) / (1 - psi0), and the marginal odds ratio.
    leave_one_out : ndarray of shape (g, 2)
        psi1 and psi0 with mishap j left out.
    """

    target: Target
    if_all: Estimate
    if_none: Estimate
    difference: Estimate
    survival_ratio: Estimate
    death_ratio: Estimate
    odds_ratio: Estimate
    leave_one_out: Floats


def standardise(
    model: RiskModel | Refits,
    *,
    target: Target = "all",
    weighting: Weighting = "people",
    rows: NDArray[np.bool_] | None = None,
    level: float = 0.95,
) -> Effect:
    """Survival if all, if none had been trained, and how they compare, with mishap-jackknife intervals.

    Parameters
    ----------
    model : RiskModel or Refits
        All numbers come from its one pass of fits, whatever is asked of it.
    target : {"all", "untrained", "trained"}
        Average over everybody (ATE), over those who never were trained (ATU), over the trained (ATT).
    weighting : {"people", "mishaps"}
        Every person counts the same, or every mishap does (each of its n_g people 1 / n_g).
    rows : ndarray of shape (n,), optional
        Average over these people only; the model still rests on all. The degrees of freedom are then those of the
        mishaps that hold any of them.
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        ``no_rows`` where nobody is averaged over, or nobody once some mishap is left out.

    Notes
    -----
    Where nobody of a group died, or nobody lived, the jackknife sees no spread in it. There the limits of that
    group's survival are at least the exact ones of its raw counts, and those of the difference and of all three ratios
    at least what the two groups' limits allow together (`arms`); a ratio's limit is then 0 or infinity where a group's
    lies on the edge.

    Standardisation over the covariates of the target (g-computation): Robins 1986
    (doi:10.1016/0270-0255(86)90088-6). It leaves out whatever was not measured.
    """
    refits = model if isinstance(model, Refits) else refit(model)
    whole = refits.model
    over = _target_rows(whole, target, rows)
    mishaps = whole.mishaps if rows is None else len(np.unique(whole.design.mishap_codes[over]))
    if mishaps < 2:
        raise NotEstimable("no_rows", "The people averaged over come from fewer than two mishaps.")
    risks = standardised_risks(refits, over, weighting=weighting)

    there = np.ones_like(over) if rows is None else rows
    found = compare_arms(
        risks,
        seen(whole.outcome[there], whole.exposure[there]),
        occupants=int(over.sum()),
        mishaps=mishaps,
        method=whole.method,
        level=level,
    )
    return Effect(target=target, leave_one_out=risks[1:], **found)


def standardised_risks(refits: Refits, over: NDArray[np.bool_], *, weighting: Weighting = "people") -> Floats:
    """Mean survival of some people if all, if none of them had been trained, shape (1 + g, 2), one row a fit.

    Parameters
    ----------
    refits : Refits
    over : ndarray of shape (n,)
        Whom to average over; where a mishap is left out of the fit it is left out of the average.
    weighting : {"people", "mishaps"}

    Raises
    ------
    NotEstimable
        ``no_rows``.
    """
    model = refits.model
    codes, everyone = model.design.mishap_codes[over], np.ones((1, model.mishaps))
    pair = []
    for matrix in (model.trained_rows[over], model.untrained_rows[over]):
        if weighting == "mishaps":
            pair.append(_mean_of_mishap_means(matrix, codes, model.mishaps, refits.coefficients))
            continue
        whole = mean_risk(matrix, codes, everyone, refits.coefficients[:1])
        without = mean_risk(matrix, codes, leave_one_out(model.mishaps), refits.coefficients[1:])
        pair.append(np.concatenate([whole, without]))
    return np.column_stack(pair)


def _target_rows(model: RiskModel, target: Target, rows: NDArray[np.bool_] | None) -> NDArray[np.bool_]:
    over = np.ones(model.occupants, dtype=bool) if rows is None else np.asarray(rows, dtype=bool)
    if target != "all":
        over = over & (model.exposure == (1.0 if target == "trained" else 0.0))
    if not over.any():
        raise NotEstimable("no_rows", "Nobody is there to average over.")
    return over


def _mean_of_mishap_means(
    matrix: Floats, codes: NDArray[np.int64], mishaps: int, coefficients: Floats
) -> Floats:
    """Mean over mishaps of the mean risk inside each, shape (1 + g,); row 1 + j leaves mishap j out of the mean."""
    aboard = np.bincount(codes, minlength=mishaps)
    share = np.divide(1.0, aboard, out=np.zeros(mishaps), where=aboard > 0)
    risks = np.empty(1 + mishaps)
    risks[:1] = mean_risk(matrix, codes, share[None, :], coefficients[:1])
    for first in range(0, mishaps, MISHAP_BLOCK):
        fits = slice(first, min(first + MISHAP_BLOCK, mishaps))
        weights = leave_one_out(mishaps)[fits] * share
        risks[1:][fits] = mean_risk(matrix, codes, weights, coefficients[1:][fits])
    return risks
