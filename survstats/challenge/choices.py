"""What does each of the listed ways of asking the same question find?"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.challenge.choice_list import (
    CHOICES_FILE,
    Choice,
    Tried,
    choices_hash,
    different,
    inside,
    inside_range,
    listed_choices,
    same_sign,
    same_sign_range,
)
from survstats.challenge.choice_people import Coded, People, code_all, people_of
from survstats.challenge.verdict import thresholds
from survstats.effects.arms import compare_arms, seen
from survstats.effects.augmented import augmented
from survstats.effects.completed_sets import CompletedSet, completed_sets
from survstats.effects.imputation import Imputed
from survstats.effects.pooled_sets import pooled_difference
from survstats.effects.risk_model import RiskModel, penalise, refit
from survstats.effects.standardise import standardised_risks
from survstats.effects.weighting import weighted_risks
from survstats.groundwork.errors import NotEstimable

__all__ = [
    "CHOICES_FILE",
    "Choice",
    "Tried",
    "choices_hash",
    "different",
    "inside",
    "inside_range",
    "listed_choices",
    "same_sign",
    "same_sign_range",
    "try_choices",
]

Floats = NDArray[np.float64]

Road = Callable[[Mapping[Choice, People], bool], list[Tried]]


def try_choices(
    populations: Mapping[str, pd.DataFrame],
    *,
    covariates: Mapping[str, tuple[str, ...]],
    imputed: Imputed | NotEstimable | None,
    cluster: str,
    intervals: bool,
) -> tuple[Tried, ...]:
    """The difference in survival by each of the listed choices, in order.

    Parameters
    ----------
    populations : mapping of str to DataFrame
        Everyone, as derived, in ``P1``, ``passengers`` (those of P1), ``unknown_survivability`` (P1 and the mishaps
        that perhaps belong to it) and ``P2``.
    covariates : mapping of str to tuple of str
        What the study holds equal in each of them.
    imputed : Imputed, NotEstimable or None
        The completed rows of P1, or why there are none. Where no status is unknown the drawn choices take the rows as
        they are; else they have no value without it.
    cluster : str
        Column of the mishap's label.
    intervals : bool
        Whether 95 % limits (mishap jackknife, Rubin's rules for drawn choices) are made; values do not hang on it.

    Returns
    -------
    tuple of 24 Tried
        A choice that cannot be estimated holds its reason: that of `prepare`, `augmented` or `weighted_risks`;
        ``few_mishaps`` below the fewest mishaps of a model; that of ``imputed``, or ``not_imputed``.

    Notes
    -----
    The choices share their people and most of their assumptions, and in a study that, say, lists no seat two of them
    are one and the same analysis: that rows agree is no independent evidence, and one that differs shows what the
    number hangs on. Unknown training read as none is no choice, nor is holding equal what training moves.
    """
    coded = code_all(populations, covariates, imputed, cluster)
    found: list[Tried] = []
    for road, choices in _fitted_together(listed_choices()):
        population, drawn = choices[0].population, choices[0].missing == "imputed"
        rows = coded[population, drawn]
        if isinstance(rows, NotEstimable):
            found += [_without(choice, rows) for choice in choices]
            continue
        people = {one: _people(one, rows, covariates[population], cluster) for one in choices}
        found += [_without(one, why) for one, why in people.items() if isinstance(why, NotEstimable)]
        there = {one: who for one, who in people.items() if isinstance(who, People)}
        if there:
            found += road(there, intervals)
    return tuple(sorted(found, key=lambda one: one.choice.number))


def _fitted_together(choices: Sequence[Choice]) -> list[tuple[Road, list[Choice]]]:
    """The choices in groups that share their fits or at least their design, each with the road it takes.

    The share trained of the others aboard has a model of its own: the mark of its few gaps often separates outcomes,
    which the linear programme of `prepare` tells sooner than fits that run to infinity. The numbers are the same.
    """
    groups: dict[tuple[Road, tuple[object, ...]], list[Choice]] = {}
    for one in choices:
        road: Road = _of_sets
        key: tuple[object, ...] = (one.population, one.covariates, one.missing == "imputed")
        if one.estimator in ("augmented", "weighting"):
            road, key = (_augmented if one.estimator == "augmented" else _weighted), (one.number,)
        elif (
            one.family == "main" or one.estimator != "standardised" or one.covariates == "with_others_aboard"
        ):
            road, key = _of_one_model, (*key, one.exposure)
        groups.setdefault((road, key), []).append(one)
    return [(road, together) for (road, _), together in groups.items()]


def _people(choice: Choice, rows: Coded, covariates: Sequence[str], cluster: str) -> People | NotEstimable:
    """Whom a choice compares, or why it cannot."""
    try:
        return people_of(choice, rows, covariates, cluster)
    except NotEstimable as fault:
        return fault


def _without(choice: Choice, why: NotEstimable) -> Tried:
    return Tried(choice, None, reason=why.reason)


def _of_sets(people: Mapping[Choice, People], intervals: bool) -> list[Tried]:
    """Standardised choices that hold the same things equal among the same people, all fitted together.

    Where that fails each is fitted alone, so that one without a value leaves the others theirs.
    """
    (first, *_), choices = people.values(), list(people)
    groups = np.stack([who.groups for who in people.values()], axis=1)  # draws, choices, people
    frames = [
        frame.assign(**{first.question.exposure: group[0]})
        for frame, group in zip(first.frames, groups, strict=True)
    ]
    try:
        by_draw = completed_sets(frames, list(groups), first.question)
    except NotEstimable as fault:
        if len(choices) == 1:
            return [_without(choices[0], fault)]
        return [one for choice, who in people.items() for one in _of_sets({choice: who}, intervals)]
    return [_told(choice, [sets[at] for sets in by_draw], intervals) for at, choice in enumerate(choices)]


def _of_one_model(people: Mapping[Choice, People], intervals: bool) -> list[Tried]:
    """A standardised choice, and others that read the same model in another way."""
    who = next(iter(people.values()))
    try:
        model = who.question.model(_compared(who))
    except NotEstimable as fault:
        return [_without(choice, fault) for choice in people]
    found = []
    for choice in people:
        try:
            risks = _risks(model, choice, intervals)
        except NotEstimable as fault:
            found.append(_without(choice, fault))
            continue
        found.append(_told(choice, [CompletedSet(risks, seen(model.outcome, model.exposure))], intervals))
    return found


def _risks(model: RiskModel, choice: Choice, intervals: bool) -> Floats:
    """Survival if all, if none had been trained (1 + g, 2), or (1, 2) where refits would decide nothing."""
    everybody = np.ones(model.occupants, dtype=bool)
    if choice.estimator == "mishap_average":
        return standardised_risks(refit(model), everybody, weighting="mishaps")
    if choice.estimator == "penalised" and not model.penalised:
        penalised = penalise(model)
        if not intervals:
            return penalised.risks(np.ones((1, model.mishaps)))
        return standardised_risks(refit(penalised), everybody)
    return standardised_risks(refit(model), everybody)


def _augmented(people: Mapping[Choice, People], intervals: bool) -> list[Tried]:
    """A choice with a model of who lived and one of who was trained."""
    ((choice, who),) = people.items()
    asked = who.question
    try:
        found = augmented(
            _compared(who),
            outcome=asked.outcome,
            exposure=asked.exposure,
            covariates=asked.covariates,
            cluster=asked.cluster,
            level=_level(),
        ).difference
    except NotEstimable as fault:
        return [_without(choice, fault)]
    return [Tried(choice, found.value, *((found.low, found.high) if intervals else ()))]


def _weighted(people: Mapping[Choice, People], intervals: bool) -> list[Tried]:
    """A choice with a model of who was trained alone."""
    ((choice, who),) = people.items()
    compared, asked = _compared(who), who.question
    try:
        risks = weighted_risks(
            compared,
            outcome=asked.outcome,
            exposure=asked.exposure,
            covariates=asked.covariates,
            cluster=asked.cluster,
            without_each=intervals,
        )
    except NotEstimable as fault:
        return [_without(choice, fault)]
    outcome, group = (compared[name].to_numpy(float) for name in (asked.outcome, asked.exposure))
    return [_told(choice, [CompletedSet(risks, seen(outcome, group))], intervals)]


def _compared(who: People) -> pd.DataFrame:
    """The people of either group, with their group written in."""
    (frame,), (group,) = who.frames, who.groups
    compared: pd.DataFrame = frame.assign(**{who.question.exposure: group})[np.isfinite(group)]
    return compared


def _told(choice: Choice, sets: Sequence[CompletedSet], intervals: bool) -> Tried:
    """The difference, mean over m completed sets (one where nothing was drawn), and its limits."""
    values = np.array([one.risks[0, 0] - one.risks[0, 1] for one in sets])
    wobble = float(values.std(ddof=1)) / math.sqrt(len(sets)) if len(sets) > 1 else 0.0
    low, high = _limits(sets) if intervals else (None, None)
    return Tried(choice, float(values.mean()), low, high, wobble=wobble)


def _level() -> float:
    """That of the main difference."""
    return thresholds()["beyond_chance"]["met_level"]


def _limits(sets: Sequence[CompletedSet]) -> tuple[float | None, float | None]:
    """95 % limits of the difference, None where pooling puts survival on the edge."""
    if len(sets) > 1:
        try:
            pooled = pooled_difference(sets, level=_level()).estimate
        except NotEstimable:
            return None, None
        return pooled.low, pooled.high
    (one,) = sets
    found = compare_arms(
        one.risks,
        one.tallies,
        occupants=one.occupants,
        mishaps=len(one.risks) - 1,
        method="listed_choice",
        level=_level(),
    )["difference"]
    return found.low, found.high
