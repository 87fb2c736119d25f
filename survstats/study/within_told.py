"""What people of the same mishap show when they are compared with each other, by id."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, from_scale
from survstats.models.conditional import fit_within
from survstats.models.design import fill_gaps
from survstats.models.within_mishap import WithinMishap, exact_within, within_tally
from survstats.study.counting import COMPARED
from survstats.study.estimating import CLUSTER, EXPOSURE, OUTCOME
from survstats.study.results_builder import ResultsBuilder


@dataclass(frozen=True)
class WithinComparison:
    """The exact odds ratio among people of the same mishap, and its one-sided p for benefit and for harm."""

    odds_ratio: Estimate
    p_better: float
    p_worse: float


def store_within(
    out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str], *, whole: bool = True
) -> WithinComparison | None:
    """The comparison of people in the same mishap: the raw count of mishaps and the exact odds ratio.

    Its mid-p limits are stored as ``within.odds_ratio_mid_p``, the conditional odds ratio with the covariates that
    differ between people of a mishap as ``within.odds_ratio_adjusted``, which is left out without ``whole``.
    """
    outcome, exposure = frame[OUTCOME].to_numpy(float), frame[EXPOSURE].to_numpy(float)
    cluster = frame[CLUSTER].to_numpy()
    counted = within_tally(outcome, exposure, cluster)
    for name in ("informative", "better", "worse", "tied"):
        out.count(f"within.{name}", getattr(counted, name), rests_on=COMPARED)
    if whole:
        with out.or_absent("within.odds_ratio_adjusted"):
            out.estimate("within.odds_ratio_adjusted", _adjusted(frame, covariates), rests_on=COMPARED)
    try:
        found = exact_within(outcome, exposure, cluster)
    except NotEstimable as fault:
        out.leave_out(fault.reason, "within.odds_ratio", "within.odds_ratio_mid_p")
        return None
    odds_ratio = _exact(found)
    out.estimate("within.odds_ratio", odds_ratio, rests_on=COMPARED)
    mid_p = replace(
        odds_ratio,
        low=from_scale(found.mid_p_low, "log"),
        high=from_scale(found.mid_p_high, "log"),
        method="mid_p_within_mishap",
    )
    out.estimate("within.odds_ratio_mid_p", mid_p, rests_on=COMPARED)
    return WithinComparison(odds_ratio, found.p_better, found.p_worse)


def _exact(found: WithinMishap) -> Estimate:
    return Estimate(
        value=from_scale(found.log_odds_ratio, "log"),
        low=from_scale(found.exact_low, "log"),
        high=from_scale(found.exact_high, "log"),
        se=math.nan,
        level=found.level,
        df=math.nan,
        scale="log",
        unit="odds_ratio",
        method="exact_within_mishap",
        mishaps=found.tally.informative,
        occupants=found.tally.rows,
    )


def _adjusted(frame: pd.DataFrame, covariates: Sequence[str]) -> Estimate:
    """The conditional odds ratio, exact likelihood, with the covariates that vary inside mishaps."""
    if frame.empty or frame[EXPOSURE].nunique() < 2 or frame[OUTCOME].nunique() < 2:
        raise NotEstimable("few_mishaps", "No mishap has both outcomes and both training groups aboard.")
    filled, terms, _ = fill_gaps(frame, covariates)
    found = fit_within(filled, OUTCOME, [EXPOSURE, *terms], cluster=CLUSTER)
    if EXPOSURE not in [row.term for row in found.table]:
        raise NotEstimable("no_free_column", "Training does not vary between people of the same mishap.")
    row = found.table[EXPOSURE]
    return Estimate(
        value=from_scale(row.estimate, "log"),
        low=from_scale(row.low, "log"),
        high=from_scale(row.high, "log"),
        se=row.se,
        level=found.table.level,
        df=row.df,
        scale="log",
        unit="odds_ratio",
        method="conditional_within_mishap",
        mishaps=found.usage.mishaps,
        occupants=found.usage.rows,
    )
