"""How the finding fares against each of the twelve challenges, by id: the battery as it is printed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import pandas as pd

from survstats.challenge import battery
from survstats.challenge.battery import CHALLENGES, Challenge
from survstats.challenge.doubts import miscoding_gate
from survstats.challenge.hidden_bias import HiddenBias
from survstats.challenge.moved_unknown import Tipping
from survstats.challenge.under_reporting import UnderReporting
from survstats.challenge.verdict import Gate
from survstats.study.counting import out_value
from survstats.study.judging import Figures
from survstats.study.results import Table
from survstats.study.results_builder import ResultsBuilder


@dataclass(frozen=True)
class Further:
    """What the challenges found that no gate asks for; None for what could not be estimated."""

    tipping: Tipping | None
    bias: HiddenBias | None
    bias_of_passengers: HiddenBias | None
    reported: tuple[UnderReporting, ...] | None


def store_challenges(
    out: ResultsBuilder, gates: tuple[Gate, ...], figures: Figures, further: Further
) -> None:
    """State and finding of each challenge, numbered in their order.

    Parameters
    ----------
    out : ResultsBuilder
        With the figures of every challenge stored.
    gates : tuple of Gate
        All eight.
    figures : Figures
        Of the gates.
    further : Further
    """
    by_name = {found.name: found for found in gates}
    taken = _taken_up(out, by_name, figures, further)
    for number, name in enumerate(CHALLENGES, start=1):
        out.count(f"challenge.{name}.number", number)
        out.codes[f"challenge.{name}.state"] = taken[name].state
        out.codes[f"challenge.{name}.finding"] = taken[name].finding
    out.tables["challenges"] = Table(
        ("challenge", "state", "finding"),
        tuple((name, taken[name].state, taken[name].finding) for name in CHALLENGES),
    )


def _taken_up(
    out: ResultsBuilder, gates: Mapping[str, Gate], figures: Figures, further: Further
) -> dict[str, Challenge]:
    main, about, other = figures.main, figures.about, figures.other
    tipping, bias = further.tipping, further.bias
    entries = miscoding_gate(replace(figures.entries, by_fate=False), about)
    found = (
        battery.survivor_headline(_range_known(out), lived="claim.rd_low" in out.numbers, about=about),
        battery.worst_case(figures.unknown.worst_case, unknown=out_value(out, "unknown.people"), about=about),
        battery.unknown_dead(
            None if tipping is None else tipping.chance.state,
            None if tipping is None else tipping.difference.state,
            unknown=out_value(out, "tipping.unknown_dead"),
            gate=gates["unknown_status"],
        ),
        battery.fitness(other.strength_limit, other.strength_estimate, floor=other.floor),
        battery.hidden_bias(bias, further.bias_of_passengers, about=about),
        battery.wrong_entries(entries),
        battery.impact_death(other.alarm, beyond_margin=_beyond_margin(out)),
        battery.one_mishap(
            None if main is None else main.effect.difference,
            None if main is None else _without_one(main.without_one),
            about=about,
        ),
        battery.choices(gates["choices"]),
        battery.under_reporting(
            None if further.reported is None else [one.difference for one in further.reported],
            harmless=out_value(out, "under_reporting.harmless"),
            about=about,
        ),
        battery.counterparts(gates["comparable"]),
        battery.calibration(out.codes.get("adequacy.calibration")),
    )
    return {one.name: battery.where_something_was_found(one, about=about) for one in found}


def _without_one(rows: pd.DataFrame) -> list[tuple[float, float, float]]:
    return [(float(value), float(low), float(high)) for _, value, low, high in rows.itertuples(index=False)]


def _range_known(out: ResultsBuilder) -> tuple[float, float] | None:
    """What the difference can be with what is known of the dead, with its interval; None where nothing is known."""
    known = "claim.dead_known" in out.numbers and out_value(out, "claim.dead_known") > 0
    if not known or "unknown.rd_low" not in out.numbers:
        return None
    low, high = out.numbers["unknown.rd_low"].low, out.numbers["unknown.rd_high"].high
    return None if low is None or high is None else (low, high)


def _beyond_margin(out: ResultsBuilder) -> bool:
    """Whether deaths on impact differ by more than is let pass, whatever chance may make of it."""
    found = out.numbers.get("impact_death.rd")
    return found is not None and abs(found.value) > out.numbers["impact_death.margin"].value
