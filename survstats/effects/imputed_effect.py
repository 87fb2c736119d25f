"""What does training change with unknown training imputed, and what if the unknown differ from the rest?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from survstats.effects.completed_sets import Question, completed_sets
from survstats.effects.imputation import Imputed, trained_of
from survstats.effects.imputation_chains import drawn_status
from survstats.effects.missing_values import CURRENT
from survstats.effects.pooled_sets import pooled_arms, pooled_difference
from survstats.groundwork.estimate import Estimate

Floats = NDArray[np.float64]

DEAD = (-3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0)
SURVIVORS = (-1.0, 0.0, 1.0)


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
    limit_error, value_error : float
        Monte Carlo standard errors, over the draws, of the limit of the difference that lies nearest 0 and of the
        difference.
    """

    if_all: Estimate
    if_none: Estimate
    difference: Estimate
    fraction_missing: float
    draws: int
    limit_error: float
    value_error: float


@dataclass(frozen=True)
class DeltaPoint:
    """The difference if the unknown had been current more, or less, often than everything else tells.

    Attributes
    ----------
    delta_dead, delta_survivors : float
        Log odds added to the chance of having been current, against lapsed, briefed and never together, of the
        unknown who died and who lived.
    difference : Estimate
    trained_died, trained_survived : float
        How many of the unknown dead and survivors were then currently trained, mean over the draws.
    limit_error, value_error : float
        As in `PooledEffect`.
    """

    delta_dead: float
    delta_survivors: float
    difference: Estimate
    trained_died: float
    trained_survived: float
    limit_error: float
    value_error: float


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

    Notes
    -----
    Where in any completed set nobody of a group died, or nobody lived, that group's limits are at least the exact ones
    of that set's raw counts, and those of the difference at least what both groups' limits allow together, as
    `standardise` does.

    Variance within each set by the delete-one-mishap jackknife; Rubin's rules with the degrees of freedom of Barnard
    and Rubin 1999 (doi:10.1093/biomet/86.4.948), those of complete data being mishaps less one.
    """
    question = Question(outcome, exposure, tuple(covariates), cluster)
    own = [frame[exposure].to_numpy(float)[None] for frame in imputed.frames]
    sets = [of_draw[0] for of_draw in completed_sets(imputed.frames, own, question)]
    found = pooled_difference(sets, level=level)
    return PooledEffect(
        *pooled_arms(sets, level=level),
        difference=found.estimate,
        fraction_missing=found.fraction_missing,
        draws=len(sets),
        limit_error=found.limit_error,
        value_error=found.value_error,
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
    """The pooled difference when the odds of being current are moved for the unknown, for each pair of moves.

    What is moved is current against all else together: each chance of the last turn is tilted so that the odds of
    a course within the months of currency, against one that had lapsed, a briefing or none, are exp(delta) times what
    they were; how the rest divides among lapsed, briefed and never stays as it was. Currency alone makes a person
    count as trained here. A person who cannot have been current stays so, and one who must have been too.

    Statuses are drawn again with the same uniform numbers, so that the point (0, 0) is `imputed_effect` itself and a
    higher delta only moves people into the trained. The chains are not run again: their fits are what the people of
    known training tell, which delta does not touch. What they were given of the neighbours' imputed training stays as
    it was without delta: delta is a statement about each person beyond that.

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
    exposures, current = [], []
    for draw, frame in enumerate(imputed.frames):
        status = drawn_status(_tilted(imputed.chances[draw], tilts), imputed.uniforms[draw])
        current.append(status == CURRENT)
        exposures.append(np.tile(frame[exposure].to_numpy(float), (len(pairs), 1)))
        exposures[-1][:, imputed.unknown] = trained_of(status)
    question = Question(outcome, exposure, tuple(covariates), cluster)
    by_draw = completed_sets(imputed.frames, exposures, question)
    share = np.mean(current, axis=0)
    pooled = [pooled_difference([sets[at] for sets in by_draw], level=level) for at in range(len(pairs))]
    return tuple(
        DeltaPoint(
            delta_dead=dead,
            delta_survivors=lived,
            difference=found.estimate,
            trained_died=float(share[at, died].sum()),
            trained_survived=float(share[at, ~died].sum()),
            limit_error=found.limit_error,
            value_error=found.value_error,
        )
        for at, ((dead, lived), found) in enumerate(zip(pairs, pooled, strict=True))
    )


def _tilted(chances: Floats, tilts: Floats) -> Floats:
    """Chances (d, u, 4) with the odds of being current multiplied by exp(tilt) (d, u)."""
    tilted = np.broadcast_to(chances, (*tilts.shape, chances.shape[-1])).copy()
    tilted[..., CURRENT] *= np.exp(tilts)
    return np.asarray(tilted / tilted.sum(axis=-1, keepdims=True))
