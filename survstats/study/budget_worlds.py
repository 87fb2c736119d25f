"""Which plausible worlds is the decision told by: people at risk and gain from the records, the rest as given?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.decision.aboard import people_at_risk
from survstats.decision.draw_worlds import Drawn, draw_worlds
from survstats.decision.group_gain import GroupGain, group_gain, recorded_survival
from survstats.decision.room import room_for
from survstats.decision.world import NEVER_TRAINED, TRAINED
from survstats.effects.risk_model import refit
from survstats.study.budget_inputs import decision_inputs, over_worlds
from survstats.study.counting import COMPARED
from survstats.study.decision_plan import DecisionPlan, GroupPlan
from survstats.study.estimating import EXPOSURE, MainEstimate, model_of
from survstats.study.everybody import Everybody, in_fixed_order
from survstats.study.plan import Study
from survstats.study.plan_sections import CabinPlan
from survstats.study.results import Cell
from survstats.study.results_builder import People, ResultsBuilder
from survstats.study.results_builder import people as people_of

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: The counts that people at risk in a mishap rest on.
AT_RISK = ("all_aboard.population", "cohort.population")
#: As many of the worlds are kept for trying other figures.
KEPT = 2000
_DIGITS = 6
KINDS = {"never": NEVER_TRAINED, "trained": TRAINED}
#: What holds one number in each world, by the name it has in the table.
_PLAIN = (
    *("mishaps_a_year", "fading", "first_cost", "refresher_cost", "fixed_cost"),
    *("deaths_per_course", "injuries_per_course", "injury_cost", "false_confidence"),
)
_OF_SPENDS = ("cost_a_year", "deaths_averted", "overlap")


def members(frame: pd.DataFrame, group: GroupPlan, cabins: Mapping[str, CabinPlan]) -> Bools:
    """Who of some people belongs to a group of the decision, shape (n,).

    Parameters
    ----------
    frame : DataFrame of n rows
        ``role``, ``aircraft_class``, ``seat_row``.
    group : GroupPlan
        With a zone, whoever sat in no recorded row does not belong to it.
    cabins : mapping of str to CabinPlan
    """
    kind = frame["aircraft_class"].astype(object)
    found = frame["role"].isin(list(group.roles)).to_numpy(bool)
    if group.classes:
        found &= kind.isin(list(group.classes)).to_numpy(bool)
    if group.zone is None:
        return found
    row = frame["seat_row"].astype("Float64").to_numpy(float, na_value=np.nan)
    seated = np.zeros(len(frame), dtype=bool)
    for name, cabin in cabins.items():
        if group.zone in cabin.zones:
            first, last = cabin.zones[group.zone]
            seated |= kind.eq(name).to_numpy(bool) & (row >= first) & (row <= last)
    return found & seated


@dataclass(frozen=True)
class Drawing:
    """Plausible worlds of a decision, and the people they were read from.

    Attributes
    ----------
    drawn : Drawn
    gain : GroupGain
    aboard : DataFrame of n rows
        Everyone aboard (P2), in the order the worlds were drawn in.
    groups : mapping of str to ndarray of shape (n,)
        Who of them is in each group.
    dated : bool
        Whether of anybody trained it is known how long ago that was.
    """

    drawn: Drawn
    gain: GroupGain
    aboard: pd.DataFrame
    groups: Mapping[str, Bools]
    dated: bool


def draw(study: Study, decision: DecisionPlan, people: Everybody, main: MainEstimate | None) -> Drawing:
    """Plausible worlds of a decision, drawn in an order that neither files nor ids decide.

    Without a main estimate survival is as recorded, trained or not, and nothing is gained: such worlds serve what would
    have to be true alone. Where of nobody trained is it known how long ago that was, nothing is taken to have faded.

    Parameters
    ----------
    study : Study
    decision : DecisionPlan
        With no figure missing.
    people : Everybody
    main : MainEstimate or None

    Raises
    ------
    NotEstimable
        As `survstats.decision.aboard.people_at_risk` and `survstats.decision.group_gain.group_gain`.
    """
    cabins = study.plan.cabin

    def groups(frame: pd.DataFrame) -> dict[str, Bools]:
        return {one.name: members(frame, one, cabins) for one in decision.group}

    aboard = in_fixed_order(people.everyone.frame)
    at_risk = people_at_risk(aboard, groups(aboard), mishaps=len(people.mishaps))
    if main is None:
        frame = people.primary_in_order
        gain = recorded_survival(frame, groups(frame))
    else:
        frame = in_fixed_order(people.primary.analysed)
        gain = group_gain(refit(model_of(frame, main.covariates)), groups(frame))
    months = frame.loc[frame[EXPOSURE] == 1, "months_since"].to_numpy(float)
    months = months[np.isfinite(months)]
    drawn = draw_worlds(
        decision_inputs(decision),
        gain,
        at_risk,
        months_since=months if len(months) else np.zeros(1),
        seed=study.plan.run.seed,
        draws=decision.draws,
    )
    return Drawing(drawn, gain, aboard, groups(aboard), dated=len(months) > 0)


def store_groups(out: ResultsBuilder, drawing: Drawing) -> None:
    """Of each group: how many the records hold aboard, how many are at risk in a mishap, whose gain stands for theirs.

    ``borrowed`` says of which kind (untrained, trained) there were so few that the whole arm's gain stands for theirs.
    ``budget.no_group`` counts the people aboard who belong to no group: nothing is bought for them.
    """
    rows = drawing.aboard["file_row"].to_numpy()
    lines: list[tuple[Cell | People, ...]] = []
    for at, (name, who) in enumerate(drawing.groups.items()):
        at_risk = over_worlds(drawing.drawn.worlds.at_risk[:, at], "count")
        untrained, trained = (int(count) for count in drawing.gain.people[at])
        few = drawing.gain.borrowed[at]
        borrowed = "both" if few.all() else "untrained" if few[0] else "trained" if few[1] else "none"
        limits = (at_risk.value, at_risk.low, at_risk.high)
        lines.append((at, name, people_of(rows[who]), *limits, untrained, trained, borrowed))
    columns = ("group", "name", "aboard", "at_risk", "at_risk_low", "at_risk_high", "untrained", "trained")
    out.table("budget_groups", (*columns, "borrowed"), lines, rests_on=AT_RISK)
    held = np.any(list(drawing.groups.values()), axis=0)
    out.count_people("budget.no_group", people_of(rows[~held]))


def store_gain(out: ResultsBuilder, drawing: Drawing) -> None:
    """The difference of each group and kind of people, as recorded and on the day of the course: ``budget_gain``.

    The recorded one has faded since the course; the other is what would have faded to it (`survstats.decision.room`),
    cut here to the room there is on that day.
    """
    drawn, lines = drawing.drawn, []
    worlds = drawn.worlds
    room = room_for(worlds.gain, worlds.survival_untrained)
    first_day = np.clip(worlds.gain, -room, room)
    for at in range(len(drawing.groups)):
        for name, kind in KINDS.items():
            told = [
                over_worlds(values[:, at, kind], "difference")
                for values in (worlds.survival_untrained, drawn.gain.observed, first_day)
            ]
            lines.append((at, name, *(part for one in told for part in (one.value, one.low, one.high))))
    parts = ("survival_untrained", "observed", "gain")
    columns = (column for part in parts for column in (part, f"{part}_low", f"{part}_high"))
    out.table("budget_gain", ("group", "kind", *columns), lines, rests_on=COMPARED)


def store_worlds(out: ResultsBuilder, drawn: Drawn, *, carried: bool, rests_on: tuple[str, ...]) -> None:
    """Some of the worlds, for trying other figures: the table ``worlds``, one row a world, numbers to six digits.

    Groups and spends go by their place, from 0: ``at_risk.0``, ``leaving.0``, ``survival_untrained.0.never``,
    ``spend.0.cost_a_year``. ``observed.0.trained`` is the difference as recorded, faded as far as it had, and stands
    there only where the records carry it. ``worlds_months`` says how long ago how many of the trained people had their
    course, so that the share they still held can be worked out for another half-life.

    Parameters
    ----------
    out : ResultsBuilder
    drawn : Drawn
    carried : bool
        Whether the verdict lets a gain be told from the records.
    rests_on : tuple of str
    """
    worlds, first = drawn.worlds, slice(0, KEPT)
    columns: dict[str, Floats] = {name: getattr(worlds, name) for name in _PLAIN}
    for at in range(len(worlds.groups)):
        columns[f"at_risk.{at}"], columns[f"leaving.{at}"] = worlds.at_risk[:, at], worlds.leaving[:, at]
        for name, kind in KINDS.items():
            columns[f"survival_untrained.{at}.{name}"] = worlds.survival_untrained[:, at, kind]
            if carried:
                columns[f"observed.{at}.{name}"] = drawn.gain.observed[:, at, kind]
    for at, spend in enumerate(worlds.spends.values()):
        columns |= {f"spend.{at}.{name}": getattr(spend, name) for name in _OF_SPENDS}
    values = np.column_stack([column[first] for column in columns.values()])
    rows = [[float(f"{value:.{_DIGITS}g}") for value in row] for row in values.tolist()]
    out.table("worlds", tuple(columns), rows, rests_on=rests_on)
    months, people = np.unique(drawn.months_since.round(2), return_counts=True)
    out.table(
        "worlds_months",
        ("months", "people"),
        zip(months.tolist(), people.tolist(), strict=True),
        rests_on=rests_on,
    )
