"""What does training change with unknown training imputed, and what if the unknown differ from the rest?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.imputation import Imputed, trained_of
from survstats.effects.imputation_draws import drawn_status
from survstats.effects.intervals import edges, jackknife_error, t_quantile
from survstats.effects.missing_values import CURRENT
from survstats.effects.risk_model import EXPOSURE_COLUMN, prepare, refuse_thin
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, Scale, Unit, from_scale, to_scale
from survstats.groundwork.resampling import leave_one_out
from survstats.models.design import build_design, fill_gaps
from survstats.models.kernel import collapse, mean_risk, solve
from survstats.models.pooling import pool

Floats = NDArray[np.float64]

METHOD = "imputed_jackknife"
DEAD = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
SURVIVORS = (-1.0, 0.0, 1.0)
SETS_AT_ONCE = 11  # sets of one draw fitted by one call


@dataclass(frozen=True)
class PooledEffect:
    """What training would change, pooled over completed sets.

    Attributes
    ----------
    if_all, if_none : Estimate
        Survival if all, if none had been trained; limits on the logit scale.
    difference : Estimate
        Their difference. ``occupants`` and ``mishaps`` of all three are the fewest of any completed set.
    fraction_missing : float
        Share of the information about the difference that the gaps took.
    draws : int
    """

    if_all: Estimate
    if_none: Estimate
    difference: Estimate
    fraction_missing: float
    draws: int


@dataclass(frozen=True)
class DeltaPoint:
    """The difference if the unknown had been trained more, or less, often than everything else tells.

    Attributes
    ----------
    delta_dead, delta_survivors : float
        Log odds added to the chance of having been currently trained, of the unknown who died and who lived.
    difference : Estimate
    trained_died, trained_survived : float
        How many of the unknown dead and survivors were then currently trained, mean over the draws.
    """

    delta_dead: float
    delta_survivors: float
    difference: Estimate
    trained_died: float
    trained_survived: float


@dataclass(frozen=True)
class _Set:
    """What one completed set says: psi1, psi0 (1 + g, 2), all mishaps first; and what it rests on."""

    risks: Floats
    occupants: int


def imputed_effect(
    imputed: Imputed,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    level: float = 0.95,
) -> PooledEffect:
    """Survival if all, if none had been trained, standardised in each completed set and pooled.

    Parameters
    ----------
    imputed : Imputed
    outcome, exposure, cluster, covariates
        As `survstats.effects.risk_model.prepare`.
    level : float

    Raises
    ------
    NotEstimable
        As `prepare`, if any completed set cannot be estimated.

    References
    ----------
    Variance within each set by the delete-one-mishap jackknife; Rubin's rules with the degrees of freedom of Barnard
    and Rubin 1999 (doi:10.1093/biomet/86.4.948), those of complete data being mishaps less one.
    """
    names = (outcome, exposure, tuple(covariates), cluster)
    sets = [_one_set(frame, *names) for frame in imputed.frames]
    difference, missing = _pooled(sets, "difference", level)
    return PooledEffect(
        if_all=_pooled(sets, "if_all", level)[0],
        if_none=_pooled(sets, "if_none", level)[0],
        difference=difference,
        fraction_missing=missing,
        draws=len(sets),
    )


def delta_range(
    imputed: Imputed,
    deltas_dead: Sequence[float] = DEAD,
    deltas_survivors: Sequence[float] = SURVIVORS,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    level: float = 0.95,
) -> tuple[DeltaPoint, ...]:
    """The pooled difference when the odds of training of the unknown are moved, for each pair of moves.

    The chances of the last turn are tilted (odds of being current times exp(delta)) and statuses drawn again with
    the same uniform numbers, so that the point (0, 0) is `imputed_effect` itself and a higher delta only moves people
    into the trained. The chains are not run again: their fits are what the people of known training tell, which
    delta does not touch. What they were given of the neighbours' imputed training stays as it was without delta:
    delta is a statement about each person beyond that.

    Parameters
    ----------
    imputed : Imputed
    deltas_dead, deltas_survivors : sequence of float
        Log odds, for the unknown who died, who lived.
    outcome, exposure, covariates, cluster, level
        As `imputed_effect`.

    Raises
    ------
    NotEstimable
        As `imputed_effect`.
    """
    pairs = list(product(deltas_dead, deltas_survivors))
    died = imputed.frames[0][outcome].to_numpy(float)[imputed.unknown] == 0
    tilts = np.array([np.where(died, dead, lived) for dead, lived in pairs])
    names = (outcome, exposure, tuple(covariates), cluster)
    by_draw, current = [], []
    for draw in range(len(imputed.frames)):
        status = drawn_status(_tilted(imputed.chances[draw], tilts), imputed.uniforms[draw])
        current.append(status == CURRENT)
        by_draw.append(_moved_sets(imputed, draw, trained_of(status), names))
    share = np.mean(current, axis=0)
    return tuple(
        DeltaPoint(
            delta_dead=dead,
            delta_survivors=lived,
            difference=_pooled([sets[at] for sets in by_draw], "difference", level)[0],
            trained_died=float(share[at, died].sum()),
            trained_survived=float(share[at, ~died].sum()),
        )
        for at, (dead, lived) in enumerate(pairs)
    )


def _tilted(chances: Floats, tilts: Floats) -> Floats:
    """Chances (d, u, 4) with the odds of being current multiplied by exp(tilt) (d, u)."""
    tilted = np.broadcast_to(chances, (*tilts.shape, chances.shape[-1])).copy()
    tilted[..., CURRENT] *= np.exp(tilts)
    return np.asarray(tilted / tilted.sum(axis=-1, keepdims=True))


def _one_set(
    frame: pd.DataFrame, outcome: str, exposure: str, covariates: tuple[str, ...], cluster: str
) -> _Set:
    """One completed set by the road of the main estimate."""
    compared = frame[frame[exposure].notna()]
    model = prepare(compared, outcome=outcome, exposure=exposure, covariates=covariates, cluster=cluster)
    effect = standardise(model)
    point = [effect.if_all.value, effect.if_none.value]
    return _Set(np.vstack([point, effect.leave_one_out]), model.occupants)


def _moved_sets(
    imputed: Imputed, draw: int, moved: Floats, names: tuple[str, str, tuple[str, ...], str]
) -> list[_Set]:
    """The sets (one per row of ``moved``, the exposures of the unknown) of one draw, fitted together.

    Those that maximum likelihood cannot fit with every mishap left out go one by one, penalised where they must.
    """
    outcome, exposure, covariates, cluster = names
    frame = imputed.frames[draw]
    given = frame[exposure].to_numpy(float)
    exposures = np.tile(given, (len(moved), 1))
    exposures[:, imputed.unknown] = moved
    rows = np.flatnonzero(np.isfinite(exposures).any(axis=0))
    exposures = exposures[:, rows]
    people = frame.iloc[rows].assign(**{exposure: np.where(np.isnan(given[rows]), 0.0, given[rows])})
    refuse_thin(people, outcome, exposure, cluster)
    filled, terms, _ = fill_gaps(people, covariates)
    design = build_design(filled, [exposure, *terms], cluster=cluster)
    lived = filled[outcome].to_numpy(float)
    found = [
        one
        for first in range(0, len(exposures), SETS_AT_ONCE)
        for one in _fitted_together(
            design.matrix, design.mishap_codes, lived, exposures[first : first + SETS_AT_ONCE]
        )
    ]
    return [
        one
        if one is not None
        else _one_set(people.assign(**{exposure: exposures[at]}), outcome, exposure, covariates, cluster)
        for at, one in enumerate(found)
    ]


def _fitted_together(
    matrix: Floats, codes: NDArray[np.int64], lived: Floats, exposures: Floats
) -> list[_Set | None]:
    """Risks of all sets (d) with all mishaps and each left out, by one solve; None where one has no finite fit."""
    d, g = len(exposures), int(codes.max()) + 1
    which, row = np.nonzero(np.isfinite(exposures))
    stacked = matrix[row]
    stacked[:, EXPOSURE_COLUMN] = exposures[which, row]
    own = codes[row] + g * which
    collapsed = collapse(stacked, lived[row], own, mishaps=g * d)
    one_set = np.vstack([np.ones((1, g)), leave_one_out(g)])
    weights = np.kron(np.eye(d, dtype=np.uint8), one_set.astype(np.uint8))
    start = _first_fit(matrix, codes, lived, exposures)
    fit = solve(collapsed, weights, start=start)
    good = np.all(np.reshape(fit.converged & fit.identified[:, EXPOSURE_COLUMN], (d, -1)), axis=1)
    coefficients = np.where(fit.converged[:, None], fit.coefficients, 0.0)
    pair = []
    for value in (1.0, 0.0):
        stacked[:, EXPOSURE_COLUMN] = value
        pair.append(mean_risk(stacked, own, weights, coefficients).reshape(d, -1))
    risks = np.stack(pair, axis=-1)
    seen = np.zeros((d, g), dtype=bool)
    seen[which, codes[row]] = True
    return [
        _Set(np.vstack([risks[at, :1], risks[at, 1:][seen[at]]]), int((which == at).sum()))
        if good[at]
        else None
        for at in range(d)
    ]


def _first_fit(matrix: Floats, codes: NDArray[np.int64], lived: Floats, exposures: Floats) -> Floats:
    """Coefficients (k,) of the middle set, from which all others are a short way."""
    middle = exposures[len(exposures) // 2]
    there = np.isfinite(middle)
    design = matrix[there]
    design[:, EXPOSURE_COLUMN] = middle[there]
    collapsed = collapse(design, lived[there], codes[there], mishaps=int(codes.max()) + 1)
    fit = solve(collapsed, np.ones((1, collapsed.mishaps)))
    return fit.coefficients[0] if fit.converged[0] else np.zeros(matrix.shape[1])


def _pooled(sets: Sequence[_Set], number: str, level: float) -> tuple[Estimate, float]:
    """One number of the pooled effect, and the share of information missing."""
    scale: Scale = "identity" if number == "difference" else "logit"
    unit: Unit = "difference" if number == "difference" else "share"
    contrast = {"difference": [1.0, -1.0], "if_all": [1.0, 0.0], "if_none": [0.0, 1.0]}[number]
    values = [one.risks @ np.array(contrast) for one in sets]
    errors = [jackknife_error(float(v[0]), v[1:], scale=scale) for v in values]
    mishaps = min(len(v) for v in values) - 1
    centres = [to_scale(float(v[0]), scale) for v in values]
    bottom, top = edges(unit)
    if not np.isfinite([*centres, *errors]).all():
        raise NotEstimable(
            "not_converged", "A completed set puts survival on the edge, where no error is known."
        )
    found = pool(centres, np.square(errors), complete_df=mishaps - 1)
    reach = t_quantile(level, found.df) * found.se
    estimate = Estimate(
        value=from_scale(found.value, scale),
        low=max(from_scale(found.value - reach, scale), bottom),
        high=min(from_scale(found.value + reach, scale), top),
        se=found.se,
        level=level,
        df=found.df,
        scale=scale,
        unit=unit,
        method=METHOD,
        mishaps=mishaps,
        occupants=min(one.occupants for one in sets),
    )
    return estimate, found.fraction_missing
