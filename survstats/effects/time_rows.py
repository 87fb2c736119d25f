"""Whose times out can a model be made of, and which columns does it hold equal?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.getting_out import OUT, WayOut, by_themselves, way_out
from survstats.effects.risk_model import prepare, refit
from survstats.groundwork.errors import NotEstimable
from survstats.models.design import Design, build_design, fill_gaps

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.int64]

#: With fewer timed people in a group, or mishaps with any, no model of times is made (common practice, no source).
FEWEST_TIMED, FEWEST_MISHAPS = 10, 5
#: So many timed people for each column, at least (common practice, no source).
_PEOPLE_A_COLUMN = 2
#: No distribution of times holds second 0: who is written down at 0 was out within half a second.
_AT_ONCE = 0.5


@dataclass(frozen=True)
class ShareModel:
    """Who ever gets out: a logistic model of all n people.

    Attributes
    ----------
    as_they_were, if_trained, if_untrained : ndarray of shape (n, k)
        Its design as recorded, and with the exposure set.
    coefficients : ndarray of shape (1 + g, k)
        From all mishaps, then with mishap j left out.
    """

    as_they_were: Floats
    if_trained: Floats
    if_untrained: Floats
    coefficients: Floats


@dataclass(frozen=True)
class TimeRows:
    """The people compared of whom anything is known of the way out, ready for a model of any distribution.

    Attributes
    ----------
    frame : DataFrame of n rows
        As recorded.
    filled : DataFrame of n rows
        With gaps in covariates coded as such.
    terms : tuple of str
        Covariates with the indicators of their gaps.
    known : WayOut
        Of whom it is known that they got out, that they did not, or until when they were inside.
    trained : ndarray of shape (n,)
    codes : ndarray of shape (n,)
        Mishap, 0 to g - 1.
    design : Design
        Of the timed people alone: intercept, exposure, covariates.
    exposure, cluster : str
        Column names.
    covariates : tuple of str
    """

    frame: pd.DataFrame
    filled: pd.DataFrame
    terms: tuple[str, ...]
    known: WayOut
    trained: Floats
    codes: Codes
    design: Design
    exposure: str
    cluster: str
    covariates: tuple[str, ...]

    @property
    def mishaps(self) -> int:
        """Mishaps that hold any of them (g)."""
        return int(self.codes.max()) + 1

    @property
    def undecided(self) -> Bools:
        """Who was last seen inside, and nobody knows whether they got out (n,)."""
        return np.isnan(self.known.ever)

    @cached_property
    def share(self) -> tuple[ShareModel | None, str | None]:
        """The model of who ever gets out, fitted by itself, or the reason why there is none."""
        try:
            model = prepare(
                self.frame,
                outcome=OUT,
                exposure=self.exposure,
                covariates=self.covariates,
                cluster=self.cluster,
            )
            coefficients = refit(model).coefficients
        except NotEstimable as fault:
            return None, fault.reason
        found = ShareModel(model.design.matrix, model.trained_rows, model.untrained_rows, coefficients)
        return found, None


def time_rows(frame: pd.DataFrame, *, exposure: str, covariates: Sequence[str], cluster: str) -> TimeRows:
    """The people compared of whom anything is known of the way out, with the design of their times.

    Parameters
    ----------
    frame : DataFrame
        As `way_out`; ``exposure`` holds 0 and 1.
    exposure, cluster : str
        Column names.
    covariates : sequence of str
        Columns measured before immersion; gaps are coded as such.

    Raises
    ------
    NotEstimable
        ``few_timed`` with fewer than ten timed people in a group, or timed people in fewer than five mishaps;
        ``too_many_fields`` with fewer than two timed people a column; ``missing_value``.

    Notes
    -----
    Who was brought out alive from inside at no recorded time stands among those who never got out (`by_themselves`).
    """
    frame = by_themselves(frame)
    known = way_out(frame)
    told = ~np.isnan(known.ever) | (known.low > 0)
    frame, known = frame.loc[told].reset_index(drop=True), known.of(told)
    trained, timed = frame[exposure].to_numpy(dtype=float), known.timed
    refuse_few(known, trained, frame[cluster])
    filled, terms, _ = fill_gaps(frame, covariates)
    design = build_design(filled.loc[timed], [exposure, *terms], cluster=cluster)
    if timed.sum() < _PEOPLE_A_COLUMN * len(design.columns):
        raise NotEstimable(
            "too_many_fields", "There are too few timed people for the columns.", "Adjust for fewer fields."
        )
    codes, _ = pd.factorize(frame[cluster], sort=True)
    return TimeRows(
        frame=frame,
        filled=filled,
        terms=terms,
        known=known,
        trained=trained,
        codes=codes.astype(np.int64),
        design=design,
        exposure=exposure,
        cluster=cluster,
        covariates=tuple(covariates),
    )


def bands(known: WayOut) -> tuple[Floats, Floats]:
    """Ends of the bands (n,) as a model takes them: who is written down at second 0 was out within half a second."""
    at_once = known.high == 0
    return known.low, np.where(at_once, _AT_ONCE, known.high)


def refuse_few(known: WayOut, trained: Floats, cluster: pd.Series) -> None:
    """Raise ``few_timed`` where too few people of a group, or mishaps, have a time that is known from above."""
    timed = known.timed & np.isfinite(known.high)
    fewest = min(int((timed & (trained == arm)).sum()) for arm in (1, 0))
    mishaps = cluster[timed].nunique()
    if fewest < FEWEST_TIMED or mishaps < FEWEST_MISHAPS:
        raise NotEstimable(
            "few_timed", f"A group has {fewest} people with a time, and {mishaps} mishaps hold any."
        )
