"""What the worksheet should show, worked out by the package's own engine from the tables of the results.

Nothing of the page is used: worlds are built anew from the table, moved as the page says it moves them, and handed to
`survstats.decision`. The gain of the first day is worked out anew at the half-life that was typed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from survstats.decision.outcome import outcome
from survstats.decision.room import faded, gain_of_first_day
from survstats.decision.world import Outcome, Policy, Spend, Worlds
from survstats.decision.worth import cost_per_life
from survstats.study.results import StudyResults

KINDS = ("never", "trained")
FORMS = {"better_and_cheaper": "cheaper", "worse_and_dearer": "dearer"}
Typed = Mapping[str, float | bool | None]


@dataclass(frozen=True)
class Shown:
    """A figure of the page: mean over the worlds and the limits that hold 95 % of them."""

    value: float | None
    low: float | None = None
    high: float | None = None
    form: str | None = None


def start_of(results: StudyResults, policy: int) -> dict[str, float | bool | None]:
    """What the fields of the page hold at first, with a policy of the study to start from."""

    def given(name: str) -> float:
        return results.numbers[f"input.{name}"].value

    months = results.numbers.get(f"policy.{policy}.months")
    aside = given("travel_cost") + given("cover_cost")
    life = results.numbers.get("input.value_of_life")
    start: dict[str, float | bool | None] = {
        "months": months.value if months else None,
        "no_refresher": months is None,
        "hours_a_year": given("hours_a_year"),
        "half_life_months": given("half_life_months"),
        "first_course_cost": given("first_course_cost") + aside,
        "refresher_cost": given("refresher_cost") + aside,
        "programme_cost_a_year": given("programme_cost_a_year"),
        "deaths_per_course": 1e6 * given("deaths_per_course"),
        "injuries_per_course": 1e3 * given("injuries_per_course"),
        "injury_cost": given("injury_cost"),
        "value_of_life": life.value if life else None,
        "points": 100 * results.numbers["plan.smallest_worthwhile"].value,
    }
    for at in range(count(results, "group")):
        start[f"covered.{at}"] = 100 * results.numbers[f"policy.{policy}.covered.{at}"].value
        start[f"people.{at}"] = given(f"people.{at}")
        start[f"leavers_a_year.{at}"] = 100 * given(f"leavers_a_year.{at}")
    for at in range(count(results, "spend")):
        start[f"bought.{at}"] = name(results, "spend", at) in results.lists[f"policy.{policy}.spends"]
    return start


def shown(results: StudyResults, typed: Typed, *, policy: int) -> dict[str, Shown]:
    """What the page should show when these figures stand in its fields; what is not typed is the study's."""
    study = start_of(results, policy)
    values = {**study, **typed}
    worlds = moved(results, values, study)
    tried = Policy("tried", interval(values), shares(results, values), bought(results, values))
    today = today_of(results)
    found, base = outcome(worlds, tried, today=today), outcome(worlds, today, today=today)
    ratio = cost_per_life(found.extra_cost, found.lives)
    told = {
        "lives": spread(found.lives),
        "extra": spread(found.extra_cost),
        "cost": spread(found.cost),
        "courses": spread(courses(found)),
        "chance": Shown(float(np.mean(found.lives < 0))),
        "cost_per_life": Shown(ratio.value, ratio.low, ratio.high, FORMS.get(ratio.form, ratio.form)),
        "cost_today": Shown(float(base.cost.mean())),
        "courses_today": Shown(float(courses(base).mean())),
    }
    life = values["value_of_life"]
    if life is not None:
        told["worth"] = spread(life * found.lives - found.extra_cost)
    return told


def spread(values: np.ndarray) -> Shown:
    return Shown(float(values.mean()), *(float(end) for end in np.quantile(values, [0.025, 0.975])))


def courses(found: Outcome) -> np.ndarray:
    return found.first_courses + found.refreshers


def interval(values: Typed) -> float:
    return np.inf if values["no_refresher"] else float(values["months"]) / 12


def shares(results: StudyResults, values: Typed) -> np.ndarray:
    return np.array([values[f"covered.{at}"] / 100 for at in range(count(results, "group"))])


def bought(results: StudyResults, values: Typed) -> tuple[str, ...]:
    return tuple(
        name(results, "spend", at) for at in range(count(results, "spend")) if values[f"bought.{at}"]
    )


def today_of(results: StudyResults) -> Policy:
    at = [name(results, "policy", at) for at in range(count(results, "policy"))].index(
        results.texts["decision.today"]
    )
    start = start_of(results, at)
    return Policy("today", interval(start), shares(results, start), bought(results, start))


def name(results: StudyResults, kind: str, at: int) -> str:
    return results.texts[f"{kind}.{at}.name"]


def count(results: StudyResults, kind: str) -> int:
    return sum(f"{kind}.{at}.name" in results.texts for at in range(20))


def moved(results: StudyResults, values: Typed, study: Typed) -> Worlds:
    """The drawn worlds, each column times what was typed over the study's figure; the typed one, where that is 0."""
    worlds = drawn(results)

    def scaled(column: np.ndarray, key: str, units: float = 1.0) -> np.ndarray:
        typed, own = float(values[key]), float(study[key])
        return column * typed / own if own else np.full(column.shape, typed / units)

    fading = worlds.fading * float(study["half_life_months"]) / float(values["half_life_months"])
    groups = range(len(worlds.groups))
    leaving = [scaled(worlds.leaving[:, at], f"leavers_a_year.{at}", 100.0) for at in groups]
    observed = worlds.gain
    if results.codes["budget.form"] == "would_have_to":
        observed = np.full(observed.shape, float(values["points"]) / 100)
    gain = gain_of_first_day(observed, worlds.survival_untrained, faded(fading, recorded(results)))
    return replace(
        worlds,
        people=np.array([float(values[f"people.{at}"]) for at in groups]),
        mishaps_a_year=scaled(worlds.mishaps_a_year, "hours_a_year"),
        gain=gain,
        fading=fading,
        leaving=np.column_stack(leaving),
        first_cost=scaled(worlds.first_cost, "first_course_cost"),
        refresher_cost=scaled(worlds.refresher_cost, "refresher_cost"),
        fixed_cost=scaled(worlds.fixed_cost, "programme_cost_a_year"),
        deaths_per_course=scaled(worlds.deaths_per_course, "deaths_per_course", 1e6),
        injuries_per_course=scaled(worlds.injuries_per_course, "injuries_per_course", 1e3),
        injury_cost=scaled(worlds.injury_cost, "injury_cost"),
    )


def recorded(results: StudyResults) -> np.ndarray:
    """Months since their course of the trained people of the records."""
    months, people = np.array(results.tables["worlds_months"].rows, dtype=float).T
    return np.repeat(months, people.astype(int))


def drawn(results: StudyResults) -> Worlds:
    """The worlds of the table; in place of the gain stands the difference as recorded."""
    table = results.tables["worlds"]
    values = np.array(table.rows, dtype=float)
    column = {key: values[:, at] for at, key in enumerate(table.columns)}
    groups, nought = range(count(results, "group")), np.zeros(len(values))

    def by_kind(start: str) -> np.ndarray:
        each = [[column.get(f"{start}.{at}.{kind}", nought) for kind in KINDS] for at in groups]
        return np.moveaxis(np.array(each), -1, 0)

    spends = {
        name(results, "spend", at): Spend(
            *(column[f"spend.{at}.{part}"] for part in ("cost_a_year", "deaths_averted", "overlap"))
        )
        for at in range(count(results, "spend"))
    }
    plain = ("mishaps_a_year", "fading", "first_cost", "refresher_cost", "fixed_cost")
    harm = ("deaths_per_course", "injuries_per_course", "injury_cost", "false_confidence")
    return Worlds(
        groups=tuple(name(results, "group", at) for at in groups),
        people=np.zeros(len(groups)),
        at_risk=np.column_stack([column[f"at_risk.{at}"] for at in groups]),
        leaving=np.column_stack([column[f"leaving.{at}"] for at in groups]),
        survival_untrained=by_kind("survival_untrained"),
        gain=by_kind("observed"),
        spends=spends,
        **{key: column[key] for key in (*plain, *harm)},
    )
