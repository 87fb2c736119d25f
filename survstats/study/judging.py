"""What the figures amount to: the gates, the word, and which form the paper takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from survstats.challenge import gates as gate
from survstats.challenge.unknown_status import unknown_bounds
from survstats.challenge.verdict import READING_GATES, Gate, State, Verdict, decide, reading_of, thresholds
from survstats.effects.standardise import Effect
from survstats.groundwork.errors import NotEstimable
from survstats.records.loading import Records
from survstats.study import counting
from survstats.study.estimating import FEWEST_MISHAPS, MainEstimate, WithinComparison
from survstats.study.results import ResultsBuilder, Table


@dataclass(frozen=True)
class Found:
    """What the models found; None for what could not be estimated."""

    main: MainEstimate | None
    passengers: Effect | None
    all_aboard: Effect | None
    within: WithinComparison | None


def weigh(out: ResultsBuilder, records: Records, frame: pd.DataFrame, found: Found) -> tuple[Gate, ...]:
    """The eight gates, those that are built from the figures, and those figures stored.

    Parameters
    ----------
    out : ResultsBuilder
    records : Records
    frame : DataFrame
        Everyone in the primary population.
    found : Found
    """
    main = found.main
    difference = None if main is None else main.effect.difference
    beyond = gate.beyond_chance_gate(
        difference, None if main is None else main.narrower, None if main is None else main.without_one
    )
    others = gate.other_explanations_gate(
        difference,
        passengers=None if found.passengers is None else found.passengers.difference,
        all_aboard=None if found.all_aboard is None else found.all_aboard.difference,
        within_odds_ratio=None if found.within is None else found.within.odds_ratio,
    )
    comparable = gate.comparable_gate(None if main is None else main.overlap)
    if main is not None:
        _store_overlap(out, main)
    seen = gate.seen_gate(_seen_figures(out, records, frame))
    enough = gate.enough_gate(_enough_figures(out, main, found.within))
    return gate.all_gates((seen, enough, beyond, others, comparable))


def form(out: ResultsBuilder, analysed: pd.DataFrame, *, estimated: bool) -> str:
    """Which form the paper takes: ``estimated``, or why there is no estimate."""
    if estimated:
        return "estimated"
    if out.codes["records.survivor_only"] == "yes":
        return "survivor_only"
    reason = out.absent["effect.rd"]
    if reason == "one_arm":
        return "all_trained" if (analysed["trained"] == 1).all() else "none_trained"
    if reason == "one_outcome":
        return "all_survived" if (analysed["survived"] == 1).all() else "all_died"
    return reason


def _seen_figures(out: ResultsBuilder, records: Records, frame: pd.DataFrame) -> gate.SeenFigures:
    def share(part: str, whole: str) -> float | None:
        total = out.numbers[whole].value
        return out.numbers[part].value / total if total else None

    documented_dead = share("seen.documented_died", "seen.died")
    documented_survivors = share("seen.documented_survived", "seen.survived")
    for name, value in (("dead", documented_dead), ("survivors", documented_survivors)):
        if value is not None:
            out.figure(f"gate.seen.documented_{name}", value, unit="share", method="counted")
    known_dead = out.numbers["seen.died"].value - out.numbers["seen.unknown_died"].value
    by = records.mishap["status_ascertained_by"]
    survivor_only = bool(by.eq("survivors_only").all()) or bool(
        out.numbers["seen.died"].value
        and not known_dead
        and out.numbers["seen.unknown_survived"].value < out.numbers["seen.survived"].value
    )
    out.codes["records.survivor_only"] = "yes" if survivor_only else "no"
    out.codes["records.left_out"] = _left_out(out)
    undocumented = (frame["survived"] == 0) & ~frame["documented"]
    strict = frame.assign(trained_status=frame["trained_status"].mask(undocumented, "unknown"))
    try:
        excludes = unknown_bounds(counting.cell_counts(strict)).interval_excludes_zero
    except NotEstimable:
        excludes = False
    return gate.SeenFigures(documented_dead, documented_survivors, survivor_only, excludes)


def _left_out(out: ResultsBuilder) -> str:
    """Which way leaving out the unknown moves survival."""
    value = {
        name: out.numbers[f"seen.{name}"].value for name in ("unknown", "unknown_died", "died", "survived")
    }
    if not value["unknown"]:
        return "nobody_left_out"
    known = value["died"] + value["survived"] - value["unknown"]
    share_unknown = value["unknown_died"] / value["unknown"]
    share_known = (value["died"] - value["unknown_died"]) / known if known else 0.0
    return "left_out_more_dead" if share_unknown > share_known else "left_out_fewer_dead"


def _enough_figures(
    out: ResultsBuilder, main: MainEstimate | None, within: WithinComparison | None
) -> gate.EnoughFigures:
    same_direction = None
    if within is not None:
        sign = main.effect.difference.value if main else within.odds_ratio.value - 1
        same_direction = within.p_better if sign > 0 else within.p_worse
    df = main.df if main else None
    if df is not None:
        out.figure("gate.enough.df", df, unit="df", method="cr2_satterthwaite")
    value = {
        name: counting.out_value(out, name) for name in ("cohort.mishaps", "cohort.died", "cohort.survived")
    }
    fewest = {name: counting.out_value(out, f"seen.{name}") for name in ("trained", "untrained")}
    smallest = min(value["cohort.died"], value["cohort.survived"], *fewest.values())
    out.count("gate.enough.smallest", smallest)
    return gate.EnoughFigures(
        mishaps=value["cohort.mishaps"],
        dead=value["cohort.died"],
        survivors=value["cohort.survived"],
        trained=fewest["trained"],
        untrained=fewest["untrained"],
        df=df,
        within_p_same_direction=same_direction,
    )


def _store_overlap(out: ResultsBuilder, main: MainEstimate) -> None:
    found = main.overlap
    out.figure("gate.comparable.inside", found.smallest_inside, unit="share", method="propensity")
    out.figure("gate.comparable.effective", found.smallest_effective, unit="share", method="propensity")
    out.lists["gate.comparable.empty_eras"] = list(found.empty_eras)


def store_verdict(out: ResultsBuilder, gates: tuple[Gate, ...], *, worthwhile: float) -> None:
    """Store the gates, their thresholds and the verdict."""
    rule = thresholds()
    out.figure("threshold.documented_dead", rule["seen"]["met_documented_dead"], unit="share", method="rule")
    out.figure("threshold.inside", rule["comparable"]["met_inside"], unit="share", method="rule")
    out.figure("threshold.mishaps", rule["enough"]["met_mishaps"], unit="count", method="rule")
    out.figure("threshold.people", rule["enough"]["met_people"], unit="count", method="rule")
    out.figure("threshold.model_mishaps", FEWEST_MISHAPS, unit="count", method="rule")
    for number, found in enumerate(gates, start=1):
        out.count(f"gate.{found.name}.number", number)
        out.codes[f"gate.{found.name}.state"] = found.state
        out.codes[f"gate.{found.name}.finding"] = found.finding
    main = out.numbers.get("effect.rd")
    low, high = (main.low, main.high) if main else (-1.0, 1.0)
    verdict = decide(
        {found.name: found.state for found in gates},
        low=-1.0 if low is None else low,
        high=1.0 if high is None else high,
        worthwhile=worthwhile,
    )
    for name in ("word", "reason", "chance", "reading", "direction", "size"):
        out.codes[f"verdict.{name}"] = getattr(verdict, name)
    by_name = {found.name: found for found in gates}
    out.codes["verdict.chance_why"] = _chance_why(by_name, verdict.chance)
    shown, why = _reading_shown(by_name, verdict)
    out.codes["verdict.reading_shown"], out.codes["verdict.reading_why"] = shown, why
    out.count("verdict.assessed", verdict.assessed)
    out.count("verdict.gates", len(gates))
    out.tables["gates"] = Table(
        ("gate", "state", "finding"), tuple((found.name, found.state, found.finding) for found in gates)
    )


def _chance_why(gates: Mapping[str, Gate], chance: str) -> str:
    beyond = gates["beyond_chance"]
    if chance == "not_shown" and beyond.state != "not_met":
        return "not_enough"
    return beyond.finding


def _reading_shown(gates: Mapping[str, Gate], verdict: Verdict) -> tuple[str, str]:
    """The reading to print and why: open, unless the gates assessed rule it out whatever the others become."""
    states: dict[str, State] = {
        name: "met" if found.state == "not_assessed" else found.state for name, found in gates.items()
    }
    if verdict.reason == "not_all_checked" and reading_of(states) != "no":
        return "open", "open"
    failed = [found for name, found in gates.items() if found.state == "not_met" and name in READING_GATES]
    if verdict.reading != "no":
        return verdict.reading, "several"
    if len(failed) != 1:
        return "no", "several"
    only = failed[0]
    if only.finding in ("survivor_only", "populations_disagree", "within_disagrees"):
        return "no", only.finding
    return "no", only.name
