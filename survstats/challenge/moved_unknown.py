"""What if the dead of unknown training had been trained more often, or less, than everything else tells?

Gate 4 moves the odds of each of them (`moved_unknown`). How many of them it would take (`tipping`) is another question:
moved by odds, the draws hold unlike numbers of trained dead, and their spread would count how many as unknown, which
is what is supposed. So there the number is fixed, the same in every draw, and who they are is all that is drawn.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import logit

from survstats.effects.completed_sets import Question, completed_sets
from survstats.effects.imputation import Imputed, trained_of
from survstats.effects.imputation_chains import drawn_status
from survstats.effects.imputed_effect import DeltaPoint, delta_range
from survstats.effects.missing_values import CURRENT
from survstats.effects.pooled_sets import pooled_difference
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate

Crossing = Literal["crosses", "never", "already", "dips"]

NEAR = (-1.0, 0.0, 1.0)
POINTS = 13  # numbers of people tried at first, and at most in each gap that is narrowed
AS_DRAWN = -1  # in place of a number: whoever was drawn

_Height = Callable[[Estimate], float]


@dataclass(frozen=True)
class CountPoint:
    """The pooled difference if exactly ``trained_died`` of the unknown dead had been currently trained."""

    trained_died: int
    difference: Estimate


@dataclass(frozen=True)
class Vanishing:
    """At which numbers of trained people among the unknown dead something that was found is gone.

    Attributes
    ----------
    state : {"crosses", "never", "already", "dips"}
        ``crosses`` where it is gone from some number on, outward from the number expected, up to the last that may be;
        ``never`` where it is gone at no number tried; ``already`` where it is gone as drawn; ``dips`` where it is gone
        at some numbers and there again further out.
    people : int or None
        Where it crosses: the number nearest the expected one from which on it is gone. Upward where training helps
        ("that many or more"), downward where it harms ("that many or fewer").
    between : (int, int) or None
        Where it dips: the least and the greatest number at which it is gone.
    """

    state: Crossing
    people: int | None = None
    between: tuple[int, int] | None = None


@dataclass(frozen=True)
class Tipping:
    """How many of the unknown dead would have to have been currently trained for the result to vanish.

    Attributes
    ----------
    unknown_dead : int
        The dead whose training is unknown.
    expected : float
        How many of them were currently trained as far as everything else tells, mean over the draws.
    chance, difference : Vanishing
        At which numbers the interval reaches 0, and the estimate is 0 or beyond.
    points : tuple of CountPoint
        Rising, from the fewest who must have been trained to the most who may have been; the survivors stay.
    """

    unknown_dead: int
    expected: float
    chance: Vanishing
    difference: Vanishing
    points: tuple[CountPoint, ...]


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
        ``nobody_unknown`` where nobody of unknown training died; else as `delta_range`, if any completed set of any
        number cannot be estimated.

    Notes
    -----
    In each draw the unknown dead are put in the order in which they would become current if the odds of all of them
    rose together: person i, of chance p and uniform draw u, is current from the log odds logit(u) - logit(p) on. The
    first k of that order are current, the others what their second uniform draw makes of them. So those who are trained
    with k are so with k + 1, and each set is one of those that moved odds could have given. Sets of the same k are
    pooled by Rubin's rules: between them differ who the k are and what fills the other gaps, not how many. A course
    too old to be current stays so: the most that can be trained may be fewer than ``unknown_dead``.

    Some `POINTS` numbers are tried at first, and the gap around each turn is narrowed until its ends are neighbours, so
    that the answer is a whole number at which it was tried. The interval is no straight line of the number: it also
    widens where the draws differ in who is trained. A turn and return between two neighbours of the first numbers
    would go unseen.
    """
    if not imputed.died:
        raise NotEstimable("nobody_unknown", "The training of everyone who died is known.")
    question = Question(outcome, exposure, tuple(covariates), cluster)
    ranks, expected, (least, most) = _order(imputed, outcome)
    near = {int(np.clip(each, least, most)) for each in (np.floor(expected), np.ceil(expected))}
    found = _differences(imputed, ranks, [AS_DRAWN, *sorted({*near, *_spread(least, most)})], question, level)
    drawn = found.pop(AS_DRAWN)
    side = 1.0 if (drawn.value if sign is None else sign) >= 0 else -1.0
    start = max(near) if side > 0 else min(near)
    heights: tuple[_Height, ...] = (
        lambda one: side * (one.low if side > 0 else one.high),
        lambda one: side * one.value,
    )
    heights_there = [height for height in heights if height(drawn) > 0]
    while asked := _between_turns(found, heights_there, start, side):
        found |= _differences(imputed, ranks, asked, question, level)
    chance, difference = (
        _vanishing(_outward(found, start, side), found, height)
        if height in heights_there
        else Vanishing("already")
        for height in heights
    )
    return Tipping(
        unknown_dead=imputed.died,
        expected=expected,
        chance=chance,
        difference=difference,
        points=tuple(CountPoint(at, found[at]) for at in sorted(found)),
    )


def _order(imputed: Imputed, outcome: str) -> tuple[NDArray[np.intp], float, tuple[int, int]]:
    """Each unknown dead's place in the order of becoming current (m, d), how many are as drawn, and may be.

    The last are the most who must be and the fewest who can be, over the draws.
    """
    died = imputed.frames[0][outcome].to_numpy(float)[imputed.unknown] == 0
    current = imputed.chances[:, died, CURRENT]
    uniforms = imputed.uniforms[:, died, 0]
    readiness = logit(current) - logit(uniforms)
    ranks = np.argsort(np.argsort(-readiness, axis=1, kind="stable"), axis=1, kind="stable")
    expected = float((uniforms < current).sum(axis=1).mean())
    least, most = int((current >= 1).sum(axis=1).max()), int((current > 0).sum(axis=1).min())
    return ranks, expected, (least, most)


def _differences(
    imputed: Imputed, ranks: NDArray[np.intp], asked: Sequence[int], question: Question, level: float
) -> dict[int, Estimate]:
    """The pooled difference at each number asked for, `AS_DRAWN` being whoever was drawn."""
    died = imputed.frames[0][question.outcome].to_numpy(float)[imputed.unknown] == 0
    rows = imputed.unknown[died]
    numbers = np.asarray(asked)[:, None]
    exposures = []
    for draw, frame in enumerate(imputed.frames):
        own = frame[question.exposure].to_numpy(float)
        not_current = imputed.uniforms[draw, died].copy()
        not_current[:, 0] = 1.0
        others = drawn_status(imputed.chances[draw, died], not_current)
        counted = trained_of(np.where(ranks[draw] < numbers, CURRENT, others))
        exposures.append(np.tile(own, (len(asked), 1)))
        exposures[-1][:, rows] = np.where(numbers == AS_DRAWN, own[rows], counted)
    by_draw = completed_sets(imputed.frames, exposures, question)
    return {
        number: pooled_difference([sets[at] for sets in by_draw], level=level).estimate
        for at, number in enumerate(asked)
    }


def _spread(low: int, high: int) -> list[int]:
    """At most `POINTS` whole numbers from ``low`` to ``high``, both ends among them, as evenly as can be."""
    return [int(each) for each in np.unique(np.round(np.linspace(low, high, min(POINTS, high - low + 1))))]


def _outward(found: Mapping[int, Estimate], start: int, side: float) -> list[int]:
    """The numbers tried from ``start`` on, in the direction of ``side``."""
    return [at for at in sorted(found, reverse=side < 0) if side * (at - start) >= 0]


def _between_turns(
    found: Mapping[int, Estimate], heights: Sequence[_Height], start: int, side: float
) -> list[int]:
    """Numbers to try next, outward from ``start``: inside every gap over which a height comes to 0 or leaves it."""
    outward = _outward(found, start, side)
    gaps = {
        (min(pair), max(pair))
        for height in heights
        for pair in pairwise(outward)
        if (height(found[pair[0]]) <= 0) != (height(found[pair[1]]) <= 0)
    }
    return sorted({each for gap in gaps for each in _spread(*gap)} - set(found))


def _vanishing(outward: Sequence[int], found: Mapping[int, Estimate], height: _Height) -> Vanishing:
    """How what was found fares at the numbers of people ``outward`` from the expected one."""
    gone = [height(found[at]) <= 0 for at in outward]
    if not any(gone):
        return Vanishing("never")
    first = gone.index(True)
    if all(gone[first:]):
        return Vanishing("crosses", people=outward[first])
    where = [at for at, each in zip(outward, gone, strict=True) if each]
    return Vanishing("dips", between=(min(where), max(where)))
