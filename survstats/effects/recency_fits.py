"""What is the difference of each band of people to those in no band, by one model of all?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.arms import Seen, compare_arms
from survstats.effects.modifier_levels import FEWEST_MISHAPS, FEWEST_PEOPLE
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.groundwork.resampling import leave_one_out
from survstats.models.design import Design, build_design, fill_gaps
from survstats.models.kernel import mean_risk
from survstats.models.one_pass import fit_one_pass

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


def band_differences(
    rows: pd.DataFrame,
    inside: Sequence[Bools],
    *,
    outcome: str,
    covariates: Sequence[str],
    cluster: str,
    level: float,
) -> list[Estimate | str]:
    """The difference of each band to those in none, or the reason why it has none.

    Parameters
    ----------
    rows : DataFrame of n rows
    inside : sequence of ndarray of shape (n,)
        Who is in each band; nobody is in two.
    outcome, covariates, cluster, level
        As `survstats.effects.recency.recency`.

    Raises
    ------
    NotEstimable
        Where no band can be compared, as listed at `recency`.

    Notes
    -----
    A band stands on its own with so many people from so many mishaps as a level of a modifier; people of a thinner one
    are in no model. Degrees of freedom are those of the mishaps that hold the band, or the rest where those are fewer.
    """
    _refuse_thin(rows, inside, outcome, cluster)
    rest = ~np.logical_or.reduce(inside)
    thin = [_too_thin(rows.loc[mask, cluster]) for mask in inside]
    if (why := _too_thin(rows.loc[rest, cluster])) is not None:
        raise NotEstimable(why, "Too few people, or mishaps, are there to compare with.")
    kept = [band for band, reason in enumerate(thin) if reason is None]
    if not kept:
        return [str(reason) for reason in thin]
    there = np.asarray(np.logical_or.reduce([rest, *(inside[band] for band in kept)]), dtype=bool)
    found = _fitted(
        rows.loc[there].reset_index(drop=True),
        [inside[band][there] for band in kept],
        outcome=outcome,
        covariates=covariates,
        cluster=cluster,
        level=level,
    )
    by_band = dict(zip(kept, found, strict=True))
    return [by_band.get(band, str(reason)) for band, reason in enumerate(thin)]


def _too_thin(mishaps: pd.Series[str]) -> str | None:
    if mishaps.empty:
        return "empty_band"
    if len(mishaps) < FEWEST_PEOPLE:
        return "few_people"
    return "few_mishaps" if mishaps.nunique() < FEWEST_MISHAPS else None


def _refuse_thin(rows: pd.DataFrame, inside: Sequence[Bools], outcome: str, cluster: str) -> None:
    """Stop where nothing can be compared at all."""
    if rows.empty:
        raise NotEstimable("no_rows", "No one is left to compare.")
    trained = np.logical_or.reduce(inside)
    if trained.all() or not trained.any():
        raise NotEstimable("one_arm", "Everyone in the comparison stands in the same training group.")
    _refuse_one_outcome(rows[outcome].to_numpy(float))
    if rows[cluster].nunique() < 2:
        raise NotEstimable("one_mishap", "All occupants come from one mishap.")


def _refuse_one_outcome(lived: Floats) -> None:
    if lived.min() == lived.max():
        raise NotEstimable("one_outcome", "Everyone in the comparison had the same outcome.")


def _fitted(
    rows: pd.DataFrame,
    inside: Sequence[Bools],
    *,
    outcome: str,
    covariates: Sequence[str],
    cluster: str,
    level: float,
) -> list[Estimate | str]:
    """The same for bands of which each can stand on its own."""
    _refuse_one_outcome(lived := rows[outcome].to_numpy(float))
    filled, terms, _ = fill_gaps(rows, covariates)
    marks = {f"since_{band}": mask.astype(float) for band, mask in enumerate(inside)}
    filled = filled.assign(**marks)
    design = build_design(filled, [*marks, *terms], cluster=cluster)
    if min(lived.sum(), len(lived) - lived.sum()) < len(design.columns):
        raise NotEstimable(
            "too_many_fields", "There are fewer deaths, or fewer survivors, than columns to adjust for."
        )
    fits = fit_one_pass(design.matrix, lived, design.mishap_codes)
    rest = ~np.logical_or.reduce(inside)
    untrained = _risks(design, filled, marks, "", fits.coefficients)
    codes = design.mishap_codes
    found: list[Estimate | str] = []
    for name, mask in zip(marks, inside, strict=True):
        if name in design.dropped or not fits.told[design.columns.index(name)]:
            found.append("arm_in_one_mishap")
            continue
        found.append(
            compare_arms(
                np.column_stack([_risks(design, filled, marks, name, fits.coefficients), untrained]),
                (_seen(lived[mask]), _seen(lived[rest])),
                occupants=len(rows),
                mishaps=min(len(np.unique(codes[group])) for group in (mask, rest)),
                method="standardised_firth_flic" if fits.penalised else "standardised_ml",
                level=level,
            )["difference"]
        )
    return found


def _seen(lived: Floats) -> Seen:
    return Seen(int(lived.sum()), len(lived))


def _risks(
    design: Design, filled: pd.DataFrame, marks: dict[str, Floats], setting: str, coefficients: Floats
) -> Floats:
    """Mean survival of everybody with all in one band (or, ``""``, in none), shape (1 + g,)."""
    matrix = design.apply(filled, setting={name: float(name == setting) for name in marks})
    codes, g = design.mishap_codes, len(coefficients) - 1
    whole = mean_risk(matrix, codes, np.ones((1, g)), coefficients[:1])
    return np.concatenate([whole, mean_risk(matrix, codes, leave_one_out(g), coefficients[1:])])
