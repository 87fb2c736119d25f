"""Which worlds are plausible, all that is given and all that is recorded taken together?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from survstats.decision.aboard import AtRisk, draw_at_risk
from survstats.decision.bounds import bounds_of
from survstats.decision.conventions import MONTHS_A_YEAR
from survstats.decision.draw_gain import DrawnGain, draw_gain
from survstats.decision.exposure import MishapRate, check_rate, draw_rate
from survstats.decision.given import Given, check, sample
from survstats.decision.group_gain import GroupGain
from survstats.decision.room import faded, gain_of_first_day
from survstats.decision.world import Spend, Worlds
from survstats.groundwork.errors import CallError, StudyFileError
from survstats.groundwork.resampling import stream

Floats = NDArray[np.float64]

DRAWS = 20_000


@dataclass(frozen=True)
class GroupInputs:
    """A group of people of the fleet: how many (known), and which share of them leaves and is replaced in a year."""

    name: str
    people: Given
    leavers_a_year: Given


@dataclass(frozen=True)
class SpendInputs:
    """A rival way to spend: cost a year, share of deaths it averts, and the share of these that training averts too."""

    name: str
    cost_a_year: Given
    deaths_averted: Given
    overlap: Given


@dataclass(frozen=True)
class DecisionInputs:
    """All that is given and not recorded. Money a year or a course, in whatever unit the study file names.

    Attributes
    ----------
    rate : MishapRate
    hours_a_year : Given
        Flight hours of the fleet in a year.
    first_course_cost, refresher_cost, travel_cost, cover_cost : Given
        For one person and one course; travel and cover are paid for both kinds.
    programme_cost_a_year : Given
        Whatever the number of courses.
    half_life_months : Given
    deaths_per_course, injuries_per_course, injury_cost : Given
    groups : tuple of GroupInputs
    spends : tuple of SpendInputs
    false_confidence : Given or None
        Survival lost by whoever holds training; None: none is reckoned with.
    """

    rate: MishapRate
    hours_a_year: Given
    first_course_cost: Given
    refresher_cost: Given
    travel_cost: Given
    cover_cost: Given
    programme_cost_a_year: Given
    half_life_months: Given
    deaths_per_course: Given
    injuries_per_course: Given
    injury_cost: Given
    groups: tuple[GroupInputs, ...]
    spends: tuple[SpendInputs, ...] = ()
    false_confidence: Given | None = None


@dataclass(frozen=True)
class Drawn:
    """Plausible worlds, and the effects that stand in them.

    Attributes
    ----------
    worlds : Worlds
    gain : DrawnGain
        The effects as recorded, and the same freed of their fading.
    months_since : ndarray of shape (n,)
        Months since training of the people whom the difference was read from.
    """

    worlds: Worlds
    gain: DrawnGain
    months_since: Floats

    @property
    def mean_held(self) -> Floats:
        """Share of the effect still held, on average, by the trained people of the records, shape (b,)."""
        return self.gain.held


def check_inputs(inputs: DecisionInputs) -> None:
    """Can every given figure be what is said of it?

    Raises
    ------
    StudyFileError
        As `survstats.decision.given.check` and `survstats.decision.exposure.check_rate`; ``must_be_known`` where the
        number of people has limits.
    """
    check_rate(inputs.rate)
    for name, given in _figures(inputs):
        check(given, least=_ends(name)[0], most=_ends(name)[1])
    for group in inputs.groups:
        check(group.people, least=0.0)
        if group.people.shape != "known":
            raise StudyFileError(
                "must_be_known",
                f"How many people there are in '{group.name}' has limits.",
                "Write one number: the people who are there now.",
            )


def draw_worlds(
    inputs: DecisionInputs,
    gain: GroupGain,
    at_risk: AtRisk,
    *,
    months_since: Floats,
    seed: int,
    draws: int = DRAWS,
) -> Drawn:
    """Draw worlds in which everything uncertain takes a plausible value, each figure from a stream of its own.

    Parameters
    ----------
    inputs : DecisionInputs
    gain, at_risk
        Of the same groups, in the same order.
    months_since : ndarray of shape (n,)
        Months since the course of the trained people behind ``gain``.
    seed : int
        The study's; one figure more moves no other's draws.
    draws : int
        b.

    Raises
    ------
    CallError
        ``groups_differ``.
    StudyFileError
        As `check_inputs`.
    NotEstimable
        As `survstats.decision.draw_gain.mean_held`.
    """
    names = tuple(group.name for group in inputs.groups)
    if not names == gain.groups == at_risk.groups:
        raise CallError("groups_differ", "Figures, effects and people at risk are not of the same groups.")
    check_inputs(inputs)
    given = {
        name: sample(one, _own_stream(seed, name), draws, least=_ends(name)[0], most=_ends(name)[1])
        for name, one in _figures(inputs)
    }
    given["mishaps"] = draw_rate(inputs.rate, _own_stream(seed, "mishaps"), draws)
    aboard = draw_at_risk(at_risk, _own_stream(seed, "aboard"), draws)
    drawn = draw_gain(gain, given["half_life_months"], months_since, _own_stream(seed, "gain"))
    known = months_since[np.isfinite(months_since)]
    return Drawn(_assemble(inputs, given, aboard, drawn, known), drawn, months_since)


def assumed_gain(worlds: Worlds, points: float) -> Worlds:
    """The same worlds, had the records shown this difference for every group and kind of people.

    Parameters
    ----------
    worlds : Worlds
    points : float
        A difference in survival, as a share (.05 for 5 points), of people who held as much as those of the records.

    Notes
    -----
    Nobody's survival goes below 0 or above 1: where few die without training, less than the difference is held.
    """
    shown = np.full(worlds.gain.shape, points)
    still = faded(worlds.fading, worlds.recorded_months)
    return replace(worlds, gain=gain_of_first_day(shown, worlds.survival_untrained, still))


def _assemble(
    inputs: DecisionInputs,
    given: Mapping[str, Floats],
    at_risk: Floats,
    gain: DrawnGain,
    recorded_months: Floats,
) -> Worlds:
    each_course = given["travel_cost"] + given["cover_cost"]
    return Worlds(
        groups=tuple(group.name for group in inputs.groups),
        people=np.array([group.people.value for group in inputs.groups]),
        mishaps_a_year=given["mishaps"] * given["hours_a_year"],
        at_risk=at_risk,
        survival_untrained=gain.survival_untrained,
        gain=gain.gain,
        fading=math.log(2) * MONTHS_A_YEAR / given["half_life_months"],
        leaving=np.column_stack([given[f"leavers_a_year.{group.name}"] for group in inputs.groups]),
        first_cost=given["first_course_cost"] + each_course,
        refresher_cost=given["refresher_cost"] + each_course,
        fixed_cost=given["programme_cost_a_year"],
        deaths_per_course=given["deaths_per_course"],
        injuries_per_course=given["injuries_per_course"],
        injury_cost=given["injury_cost"],
        false_confidence=given.get("false_confidence", np.zeros(len(at_risk))),
        spends={
            spend.name: Spend(
                *(given[f"{part}.{spend.name}"] for part in ("cost_a_year", "deaths_averted", "overlap"))
            )
            for spend in inputs.spends
        },
        recorded_months=recorded_months,
    )


def _figures(inputs: DecisionInputs) -> Iterator[tuple[str, Given]]:
    """Every given figure that is drawn, by its name; those of a group or a spend with its name behind a full stop."""
    for name in (
        "hours_a_year",
        "first_course_cost",
        "refresher_cost",
        "travel_cost",
        "cover_cost",
        "programme_cost_a_year",
        "half_life_months",
        "deaths_per_course",
        "injuries_per_course",
        "injury_cost",
    ):
        yield name, getattr(inputs, name)
    if inputs.false_confidence is not None:
        yield "false_confidence", inputs.false_confidence
    for group in inputs.groups:
        yield f"leavers_a_year.{group.name}", group.leavers_a_year
    for spend in inputs.spends:
        for part in ("cost_a_year", "deaths_averted", "overlap"):
            yield f"{part}.{spend.name}", getattr(spend, part)


def _ends(name: str) -> tuple[float, float]:
    return bounds_of(name).least, bounds_of(name).most


def _own_stream(seed: int, name: str) -> np.random.Generator:
    return stream(seed, f"decision.{name}")
