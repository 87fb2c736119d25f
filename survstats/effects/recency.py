"""How far does survival differ between people trained so long ago and the never trained, band by band?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.recency_fits import band_differences
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
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
    lived, has limits at least as wide as the exact ones of its counts allow. A band of fewer than five people, or five
    mishaps, has none and its people are in no model (common practice, no source); the degrees of freedom are those of
    the mishaps that hold the band.

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
    (``empty_band``, ``few_people``, ``few_mishaps``, ``one_arm``, ``one_outcome``, ``one_mishap``,
    ``arm_in_one_mishap``, ``too_many_fields``, ``not_converged``). Standardisation: Robins 1986
    (doi:10.1016/0270-0255(86)90088-6).
    """
    groups = groups_of(frame, status=status, months=months)
    kept = groups.never | groups.dated
    rows = frame.loc[kept].reset_index(drop=True)
    since = np.where(groups.dated, frame[months].to_numpy(float), np.nan)[kept]
    inside = _memberships(since, edges)
    try:
        found = band_differences(
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
