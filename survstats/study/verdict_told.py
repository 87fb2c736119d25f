"""The word, its readings, what would change it, and the rule behind it, by id."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from survstats.challenge.doubts import other_explanations_gate
from survstats.challenge.verdict import (
    READING_GATES,
    Gate,
    Interval,
    State,
    Verdict,
    borderline,
    decide,
    thresholds,
    what_would_change,
)
from survstats.effects.overlap import COUNTERPART_RANGE
from survstats.study import counting
from survstats.study.estimating import FEWEST_MISHAPS
from survstats.study.judging import Figures
from survstats.study.results import Table
from survstats.study.results_builder import ResultsBuilder


def store_verdict(out: ResultsBuilder, gates: tuple[Gate, ...], figures: Figures) -> Verdict:
    """Store the gates, their thresholds, the verdict and what would change it."""
    _store_thresholds(out)
    _store_possible(out)
    for number, found in enumerate(gates, start=1):
        out.count(f"gate.{found.name}.number", number)
        out.codes[f"gate.{found.name}.state"] = found.state
        out.codes[f"gate.{found.name}.finding"] = found.finding
    out.tables["gates"] = Table(
        ("gate", "state", "finding"), tuple((found.name, found.state, found.finding) for found in gates)
    )
    states: dict[str, State] = {found.name: found.state for found in gates}
    about = figures.about
    verdict = decide(states, about)
    out.codes["verdict.reason"] = "gates"
    for name in ("word", "chance", "reading", "direction", "size"):
        out.codes[f"verdict.{name}"] = getattr(verdict, name)
    out.count("verdict.assessed", verdict.assessed)
    out.count("verdict.gates", len(gates))
    _store_shown(out, gates, verdict, figures)
    close = borderline(gates, about)
    out.codes["verdict.borderline"] = "yes" if close else "no"
    sixth = other_explanations_gate(replace(figures.other, floor=_lower_floor()), about)
    out.codes["verdict.word_at_lower_floor"] = decide({**states, sixth.name: sixth.state}, about).word
    by_route = figures.route is not None and states["beyond_chance"] != "not_met"
    out.codes["verdict.few_mishaps_route"] = "yes" if by_route else "no"
    _store_change(out, states, about)
    return verdict


def _store_change(out: ResultsBuilder, states: Mapping[str, State], about: Interval) -> None:
    change = what_would_change(states, about)
    out.codes["change.up_word"] = change.up_word
    out.lists["change.up"] = list(change.up[0]) if change.up else []
    out.lists["change.down"] = list(change.down)
    out.count("change.up_count", len(out.lists["change.up"]))


def _store_shown(out: ResultsBuilder, gates: tuple[Gate, ...], verdict: Verdict, figures: Figures) -> None:
    """The two readings as they are printed, each with its reason."""
    by_name = {found.name: found for found in gates}
    out.codes["verdict.chance_why"] = _chance_why(by_name, verdict.chance)
    out.codes["verdict.chance_shown"] = verdict.chance
    if verdict.chance == "more_than_chance" and figures.about.sign:
        out.codes["verdict.chance_shown"] = "more_often" if figures.about.sign > 0 else "less_often"
    shown, why = reading_shown(by_name, verdict, estimated=figures.about.sign != 0)
    out.codes["verdict.reading_shown"], out.codes["verdict.reading_why"] = shown, why


def _lower_floor() -> float:
    """The floor of gate 6 at which the word is told too; a study's own may lie below it."""
    return thresholds()["other_explanations"]["lower_floor"]


def _store_thresholds(out: ResultsBuilder) -> None:
    rule = thresholds()
    for name, value, unit in (
        ("documented_dead", rule["seen"]["met_documented_dead"], "share"),
        ("inside", rule["comparable"]["met_inside"], "share"),
        ("mishaps", rule["enough"]["met_mishaps"], "count"),
        ("people", rule["enough"]["met_people"], "count"),
        ("df", rule["enough"]["met_df"], "df"),
        ("chance_low", COUNTERPART_RANGE[0], "share"),
        ("chance_high", COUNTERPART_RANGE[1], "share"),
        ("effective", rule["comparable"]["met_effective"], "share"),
        ("narrower", rule["beyond_chance"]["partly_level"], "share"),
        ("gap", rule["seen"]["met_largest_gap"], "difference"),
        ("model_mishaps", FEWEST_MISHAPS, "count"),
        ("never_beyond_chance", rule["model"]["never_beyond_chance_mishaps"], "count"),
        ("largest_delta", rule["unknown_status"]["largest_delta"], "log_odds"),
        ("documented_people", rule["miscoding"]["fewest_documented_dead"], "count"),
        ("same_sign", rule["choices"]["met_share"], "share"),
        ("same_sign_partly", rule["choices"]["partly_share"], "share"),
        ("lower_floor", _lower_floor(), "logit_per_sd"),
        ("lower_floor_odds", math.exp(_lower_floor()), "ratio"),
        ("within_p", rule["beyond_chance"]["within_met_p"], "p"),
        ("documented_dead_partly", rule["seen"]["partly_documented_dead"], "share"),
        ("inside_partly", rule["comparable"]["partly_inside"], "share"),
        ("mishaps_partly", rule["enough"]["partly_mishaps"], "count"),
        ("people_partly", rule["enough"]["partly_people"], "count"),
        ("as_far_not_full", rule["reading"]["as_far_most_not_fully_met"], "count"),
        ("in_part_not_met", rule["reading"]["in_part_most_not_met"], "count"),
        ("in_part_not_full", rule["reading"]["in_part_most_not_fully_met"], "count"),
    ):
        out.figure(f"threshold.{name}", value, unit=unit, method="rule")


def _store_possible(out: ResultsBuilder) -> None:
    """Whether so many mishaps can show more than chance at all."""
    fewest = thresholds()["model"]["never_beyond_chance_mishaps"]
    few = 1 < counting.out_value(out, "cohort.mishaps") <= fewest
    out.codes["cohort.beyond_chance"] = "never" if few else "possible"


def _chance_why(gates: Mapping[str, Gate], chance: str) -> str:
    beyond = gates["beyond_chance"]
    if chance == "not_shown" and beyond.state != "not_met":
        return "not_enough"
    return beyond.finding


def reading_shown(gates: Mapping[str, Gate], verdict: Verdict, *, estimated: bool) -> tuple[str, str]:
    """The reading to print and the code of its reason: the gate that decided, or that several did."""
    if gates["seen"].finding == "survivor_only":
        return "no", "survivor_only"
    if not estimated:
        return "no", "no_estimate"
    if verdict.reading != "no":
        return verdict.reading, verdict.reading
    failed = [name for name in READING_GATES if gates[name].state in ("not_met", "not_assessed")]
    return "no", failed[0] if len(failed) == 1 else "several"
