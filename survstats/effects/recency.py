"""How far does survival differ between people trained so long ago and the never trained, band by band?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.exact_table import clopper_pearson
from survstats.effects.intervals import jackknife_estimate
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.groundwork.resampling import leave_one_out
from survstats.models.design import Design, build_design, fill_gaps
from survstats.models.kernel import collapse, mean_risk, refit_intercept, solve
from survstats.models.separation import find_separation
from survstats.records.deriving import HANDS_ON

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

EDGES = (0.0, 12.0, 24.0, 48.0)
UNDATED = "undated"


@dataclass(frozen=True)
class RecencyBand:
    """People whose last hands-on course lay so many months back, against the never trained.

    Attributes
    ----------
    from_months, to_months : float, float or None
        The band is (from, to], the first one holds its lower end too; None: no upper end.
    occupants, survived : int
    difference : Estimate or None
        Survival of everybody in the comparison had all been trained so long ago, minus had none been.
    reason : str or None
        Why there is no difference.
    """

    from_months: float
    to_months: float | None
    occupants: int
    survived: int
    difference: Estimate | None
    reason: str | None


@dataclass(frozen=True)
class Recency:
    """All bands; iterating gives them one by one.

    Attributes
    ----------
    bands : tuple of RecencyBand
    never, never_survived : int
        People who never had a hands-on course: what each band is compared with.
    unknown_date : int
        People known to have had one, nobody knows when; they are in no band and not in the model.
    """

    bands: tuple[RecencyBand, ...]
    never: int
    never_survived: int
    unknown_date: int

    def __iter__(self) -> Iterator[RecencyBand]:
        return iter(self.bands)

    def __len__(self) -> int:
        return len(self.bands)


@dataclass(frozen=True)
class Groups:
    """Who was never trained, trained at a known date, trained at an unknown one: masks of shape (n,)."""

    never: Bools
    dated: Bools
    undated: Bools


def hands_on_status(frame: pd.DataFrame) -> pd.Series:
    """Training status (n occupants) with ``undated`` for those who had a hands-on course nobody knows the date of.

    Parameters
    ----------
    frame : DataFrame
        As derived; a status that is not ``unknown`` stays what it is.
    """
    status = frame["trained_status"].astype(object)
    taught = frame["training_ever"].eq("yes") & frame["training_type"].isin(HANDS_ON)
    return status.mask(status.eq("unknown") & taught & frame["training_last_date"].isna(), UNDATED)


def groups_of(frame: pd.DataFrame, *, status: str, months: str) -> Groups:
    """Split people by what is known of their last hands-on course; the briefed and the unknown are in no group.

    Parameters
    ----------
    frame : DataFrame
    status : str
        Column with ``none``, ``current``, ``lapsed``, ``undated`` (see `hands_on_status`), or anything else.
    months : str
        Column with the months since that course.
    """
    code = frame[status].astype(object)
    trained = code.isin(["current", "lapsed", UNDATED]).to_numpy(bool)
    known = np.isfinite(frame[months].to_numpy(float))
    return Groups(code.eq("none").to_numpy(bool), trained & known, trained & ~known)


def recency(
    frame: pd.DataFrame,
    *,
    outcome: str,
    status: str,
    months: str,
    covariates: Sequence[str],
    cluster: str,
    edges: Sequence[float] = EDGES,
    level: float = 0.95,
) -> Recency:
    """Difference in survival of each band of months since training against the never trained.

    One logistic model with an indicator for each band, standardised over everybody in it (the never trained and all
    whose hands-on course has a date, current or lapsed), with mishap-jackknife limits from one pass of fits. If any
    fit has no finite solution all are Firth's with the intercept refitted. A band in which nobody died, or nobody
    lived, has limits at least as wide as the exact ones of its counts allow.

    Parameters
    ----------
    frame : DataFrame of n rows
    outcome, status, months, cluster : str
        Columns; for ``status`` and ``months`` see `groups_of`.
    covariates : sequence of str
        Columns measured before immersion; gaps are coded as such.
    edges : sequence of float
        Where bands begin, rising; the last has no upper end.
    level : float
        Coverage aimed at.

    Notes
    -----
    Nothing is raised for thin rows: a band, or all of them, then has a reason in place of its difference
    (``empty_band``, ``one_arm``, ``one_outcome``, ``one_mishap``, ``arm_in_one_mishap``, ``too_many_fields``,
    ``not_converged``).  Standardisation: Robins 1986 (doi:10.1016/0270-0255(86)90088-6).
    """
    groups = groups_of(frame, status=status, months=months)
    kept = groups.never | groups.dated
    rows = frame.loc[kept].reset_index(drop=True)
    since = np.where(groups.dated, frame[months].to_numpy(float), np.nan)[kept]
    inside = _memberships(since, edges)
    try:
        found = _differences(
            rows, inside, outcome=outcome, covariates=covariates, cluster=cluster, level=level
        )
    except NotEstimable as fault:
        found = [fault.reason if mask.any() else "empty_band" for mask in inside]
    lived = rows[outcome].to_numpy(float)
    uppers = [*edges[1:], None]
    never = np.isnan(since)
    return Recency(
        bands=tuple(
            RecencyBand(
                from_months=float(low),
                to_months=None if high is None else float(high),
                occupants=int(mask.sum()),
                survived=int(lived[mask].sum()),
                difference=value if isinstance(value, Estimate) else None,
                reason=value if isinstance(value, str) else None,
            )
            for low, high, mask, value in zip(edges, uppers, inside, found, strict=True)
        ),
        never=int(never.sum()),
        never_survived=int(lived[never].sum()),
        unknown_date=int(groups.undated.sum()),
    )


def _memberships(since: Floats, edges: Sequence[float]) -> list[Bools]:
    """Who is in each band, masks of shape (n,)."""
    place = np.searchsorted(np.asarray(edges, dtype=float), since, side="left") - 1
    place = np.where(since == edges[0], 0, place)
    return [(place == band) & np.isfinite(since) for band in range(len(edges))]


def _differences(
    rows: pd.DataFrame,
    inside: Sequence[Bools],
    *,
    outcome: str,
    covariates: Sequence[str],
    cluster: str,
    level: float,
) -> list[Estimate | str]:
    """The difference of each band, or the reason why it has none."""
    lived = _refuse_thin(rows, inside, outcome, cluster)
    names = [f"since_{band}" if mask.any() else "" for band, mask in enumerate(inside)]
    filled, terms, _ = fill_gaps(rows, covariates)
    marks = {name: mask.astype(float) for name, mask in zip(names, inside, strict=True) if name}
    filled = filled.assign(**marks)
    design = build_design(filled, [*marks, *terms], cluster=cluster)
    coefficients, told, penalised = _one_pass(design, lived)
    weights = np.vstack([np.ones(len(coefficients) - 1), leave_one_out(len(coefficients) - 1)])

    def risks(setting: str) -> Floats:
        matrix = design.apply(filled, setting={name: float(name == setting) for name in marks})
        return mean_risk(matrix, design.mishap_codes, weights, coefficients)

    untrained, never = risks(""), ~np.logical_or.reduce(inside)
    method = "standardised_firth_flic" if penalised else "standardised_ml"
    found: list[Estimate | str] = []
    for name, mask in zip(names, inside, strict=True):
        if not name:
            found.append("empty_band")
        elif not told[design.columns.index(name)]:
            found.append("arm_in_one_mishap")
        else:
            arms = ((risks(name), lived[mask]), (untrained, lived[never]))
            found.append(_contrast(arms, occupants=len(rows), method=method, level=level))
    return found


def _refuse_thin(rows: pd.DataFrame, inside: Sequence[Bools], outcome: str, cluster: str) -> Floats:
    """The outcome (n,), where anything can be compared at all."""
    if rows.empty:
        raise NotEstimable("no_rows", "No one is left to compare.")
    trained = np.logical_or.reduce(inside)
    if trained.all() or not trained.any():
        raise NotEstimable("one_arm", "Everyone in the comparison stands in the same training group.")
    lived = rows[outcome].to_numpy(float)
    if lived.min() == lived.max():
        raise NotEstimable("one_outcome", "Everyone in the comparison had the same outcome.")
    if rows[cluster].nunique() < 2:
        raise NotEstimable("one_mishap", "All occupants come from one mishap.")
    return lived


def _one_pass(design: Design, lived: Floats) -> tuple[Floats, Bools, bool]:
    """Coefficients (1 + g, k) of all mishaps and with each left out, which are told in all fits, and if penalised."""
    if min(lived.sum(), len(lived) - lived.sum()) < len(design.columns):
        raise NotEstimable(
            "too_many_fields", "There are fewer deaths, or fewer survivors, than columns to adjust for."
        )
    collapsed = collapse(design.matrix, lived, design.mishap_codes)
    g = collapsed.mishaps
    weights = np.vstack([np.ones(g), leave_one_out(g)])
    if find_separation(design.matrix, lived).kind == "none":
        fits = solve(collapsed, weights)
        if fits.converged.all():
            return fits.coefficients, np.asarray(np.all(fits.identified, axis=0)), False
    fits = solve(collapsed, weights, penalty="firth")
    if not fits.converged.all():
        raise NotEstimable(
            "not_converged", "A refit has no finite solution.", "Use fewer covariates in the study file."
        )
    told = np.asarray(np.all(fits.identified, axis=0))
    return refit_intercept(collapsed, weights, fits.coefficients), told, True


def _contrast(
    arms: Sequence[tuple[Floats, Floats]], *, occupants: int, method: str, level: float
) -> Estimate:
    """The difference of two arms, each its risks (1 + g,) and the outcomes of who is in it."""
    moved = arms[0][0] - arms[1][0]
    found = jackknife_estimate(
        float(moved[0]),
        moved[1:],
        scale="identity",
        unit="difference",
        occupants=occupants,
        method=method,
        level=level,
    )
    if all(outcomes.min() < outcomes.max() for _, outcomes in arms):
        return found
    reach = []
    for risks, outcomes in arms:
        share = jackknife_estimate(
            float(risks[0]),
            risks[1:],
            scale="logit",
            unit="share",
            occupants=occupants,
            method=method,
            level=level,
        )
        low, high = share.low, share.high
        if outcomes.min() == outcomes.max():
            exact = clopper_pearson(int(outcomes.sum()), len(outcomes), level=level)
            low, high = min(low, exact[0]), max(high, exact[1])
        reach.append((share.value - low, high - share.value))
    (down, up), (never_down, never_up) = reach
    low = max(-1.0, min(found.low, found.value - math.hypot(down, never_up)))
    high = min(1.0, max(found.high, found.value + math.hypot(up, never_down)))
    return replace(found, low=low, high=high)
