"""What if the dead of unknown training had been trained more often, or less, than everything else tells?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from survstats.effects.imputation import Imputed
from survstats.effects.imputed_effect import DeltaPoint, delta_range
from survstats.groundwork.errors import NotEstimable

Crossing = Literal["crosses", "never", "already"]

NEAR = (-1.0, 0.0, 1.0)
EVERYBODY = 40.0  # log odds that leave nobody out who may have been trained, and nobody in who may not
GRID = (-EVERYBODY, -6.0, -4.0, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0, 6.0, EVERYBODY)


@dataclass(frozen=True)
class Tipping:
    """How many of the unknown dead would have to have been currently trained for the result to vanish.

    Attributes
    ----------
    unknown_dead : int
        The dead whose training is unknown.
    expected : float
        How many of them were currently trained as far as everything else tells, mean over the draws.
    not_beyond_chance, no_difference : float or None
        How many of ``unknown_dead``, not rounded, would have to have been trained for the interval to reach 0, and
        for the difference to be 0; where training helps it is then that many or more, where it harms that many or
        fewer. None unless the state of the same name is ``crosses``.
    chance_state, difference_state : {"crosses", "never", "already"}
        Whether the number exists; ``never`` where it does not vanish even with all (none, where training harms) who may
        have been trained counted so; ``already`` where it has vanished before anybody is moved.
    points : tuple of DeltaPoint
        Difference by log odds added for the dead, from none of them to all who may have been; the survivors stay.
    """

    unknown_dead: int
    expected: float
    not_beyond_chance: float | None
    no_difference: float | None
    chance_state: Crossing
    difference_state: Crossing
    points: tuple[DeltaPoint, ...]


def moved_unknown(
    imputed: Imputed,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    deltas: Sequence[float] = NEAR,
    level: float = 0.95,
) -> tuple[DeltaPoint, ...]:
    """The pooled difference with the odds of current training moved for the unknown dead, one point a move.

    Parameters
    ----------
    imputed : Imputed
    outcome, exposure, covariates, cluster
        As `survstats.effects.risk_model.prepare`.
    deltas : sequence of float
        Log odds added for the dead; 0 is the imputed difference itself. Survivors are not moved.
    level : float

    Raises
    ------
    NotEstimable
        As `survstats.effects.imputed_effect.delta_range`.
    """
    return delta_range(
        imputed,
        deltas,
        (0.0,),
        outcome=outcome,
        exposure=exposure,
        covariates=covariates,
        cluster=cluster,
        level=level,
    )


def tipping(
    imputed: Imputed,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    sign: float | None = None,
    level: float = 0.95,
) -> Tipping:
    """How many of the unknown dead would have to have been trained for chance, or no difference, to explain it?

    Parameters
    ----------
    imputed : Imputed
    outcome, exposure, covariates, cluster
        As `survstats.effects.risk_model.prepare`.
    sign : float, optional
        Above 0 where the main result is a benefit, below 0 where it is a harm; by default as the imputed difference. An
        imputed difference of the other sign has vanished already.
    level : float

    Raises
    ------
    NotEstimable
        ``nobody_unknown`` where nobody of unknown training died; else as `delta_range`.

    Notes
    -----
    The difference is made at every delta of `GRID`, from the last uniform draws of the same chains, and read between
    two of them along a straight line over the mean number of people trained. A course too old to be current stays so:
    the most that can be trained may be fewer than ``unknown_dead``.
    """
    if not imputed.died:
        raise NotEstimable("nobody_unknown", "The training of everyone who died is known.")
    points = moved_unknown(
        imputed,
        outcome=outcome,
        exposure=exposure,
        covariates=covariates,
        cluster=cluster,
        deltas=GRID,
        level=level,
    )
    here = GRID.index(0.0)
    side = float(np.sign(points[here].difference.value if sign is None else sign))
    onward = points[here:] if side >= 0 else points[here::-1]
    chance_state, chance = _crossing(
        onward, lambda one: side * (one.difference.low if side > 0 else one.difference.high)
    )
    difference_state, difference = _crossing(onward, lambda one: side * one.difference.value)
    return Tipping(
        unknown_dead=imputed.died,
        expected=points[here].trained_died,
        not_beyond_chance=chance,
        no_difference=difference,
        chance_state=chance_state,
        difference_state=difference_state,
        points=points,
    )


def _crossing(
    points: Sequence[DeltaPoint], height: Callable[[DeltaPoint], float]
) -> tuple[Crossing, float | None]:
    """Where along the points ``height`` first falls to 0, in people trained among the unknown dead."""
    heights = [height(one) for one in points]
    if heights[0] <= 0:
        return "already", None
    for at in range(1, len(points)):
        if heights[at] <= 0:
            share = heights[at - 1] / (heights[at - 1] - heights[at])
            before, after = points[at - 1].trained_died, points[at].trained_died
            return "crosses", before + share * (after - before)
    return "never", None
