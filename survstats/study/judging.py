"""What the figures amount to: the gates, the word, and which form the paper takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.challenge import gates as gate
from survstats.challenge.verdict import READING_GATES, Gate, State, Verdict, decide, reading_of, thresholds
from survstats.effects.overlap import COUNTERPART_RANGE, Overlap
from survstats.effects.standardise import Effect
from survstats.records.deriving import looked_up_for_survivors
from survstats.study import counting
from survstats.study.estimating import FEWEST_MISHAPS, MainEstimate
from survstats.study.results import Table
from survstats.study.results_builder import ResultsBuilder
from survstats.study.within_told import WithinComparison

SurvivorOnly = Literal["no", "yes", "said"]


@dataclass(frozen=True)
class Found:
    """What the models found; None for what could not be estimated."""

    main: MainEstimate | None
    passengers: Effect | None
    all_aboard: Effect | None
    within: WithinComparison | None


def weigh(
    out: ResultsBuilder,
    frame: pd.DataFrame,
    found: Found,
    *,
    perhaps: NDArray[np.float64],
    labels: pd.Index,
) -> tuple[Gate, ...]:
    """The eight gates, those that are built from the figures, and those figures stored.

    Parameters
    ----------
    out : ResultsBuilder
    frame : DataFrame
        Everyone in the primary population.
    found : Found
    perhaps : ndarray of shape (g, 3)
        The dead who perhaps died on impact, per mishap.
    labels : Index
        The g mishaps.
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
    if main is not None and main.overlap is not None:
        _store_overlap(out, main.overlap)
    seen = gate.seen_gate(_seen_figures(out, frame, perhaps=perhaps, labels=labels))
    enough = gate.enough_gate(_enough_figures(out, main, found.within))
    gates: tuple[Gate, ...] = (seen, enough, beyond, others, comparable)
    if set(out.lists["records.banners"]) & {"R40", "R41"}:
        gates += (Gate("miscoding", "not_met", "by_fate"),)
    return gate.all_gates(gates)


def form(out: ResultsBuilder, mishaps: pd.DataFrame, analysed: pd.DataFrame, *, estimated: bool) -> str:
    """Which form the paper takes: ``estimated``, or why there is no estimate.

    ``mishaps`` are those the study is about.
    """
    out.codes["records.survivor_only"] = _survivor_only(out, mishaps)
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


def _survivor_only(out: ResultsBuilder, mishaps: pd.DataFrame) -> SurvivorOnly:
    """Whether training was ascertained for survivors only: no dead person's is known, or the records say so."""
    value = {
        name: counting.out_value(out, f"seen.{name}")
        for name in ("died", "unknown_died", "survived", "unknown_survived")
    }
    some_known = value["unknown_survived"] < value["survived"]
    none_known_of_dead = value["died"] > 0 and value["died"] == value["unknown_died"]
    said = looked_up_for_survivors(mishaps)
    if none_known_of_dead and (said or some_known):
        return "yes"
    return "said" if said and value["died"] > 0 else "no"


def _seen_figures(
    out: ResultsBuilder,
    frame: pd.DataFrame,
    *,
    perhaps: NDArray[np.float64],
    labels: pd.Index,
) -> gate.SeenFigures:
    def share(part: str, whole: str) -> float | None:
        total = out.numbers[whole].value
        return out.numbers[part].value / total if total else None

    documented_dead = share("seen.documented_died", "seen.died")
    documented_survivors = share("seen.documented_survived", "seen.survived")
    for name, fate, value in (
        ("dead", "died", documented_dead),
        ("survivors", "survived", documented_survivors),
    ):
        if value is not None:
            out.figure(
                f"gate.seen.documented_{name}",
                value,
                unit="share",
                method="counted",
                rests_on=(f"seen.documented_{fate}", f"seen.{fate}"),
            )
    out.codes["records.left_out"] = _left_out(out)
    undocumented = (frame["survived"] == 0) & ~frame["documented"]
    strict = frame.assign(trained_status=frame["trained_status"].mask(undocumented, "unknown"))
    excludes = counting.worst_case_excludes_zero(counting.cell_counts(strict, labels), perhaps)
    by_code: dict[str, SurvivorOnly] = {"no": "no", "yes": "yes", "said": "said"}
    survivor_only = by_code[out.codes["records.survivor_only"]]
    return gate.SeenFigures(documented_dead, documented_survivors, survivor_only, excludes)


def _left_out(out: ResultsBuilder) -> str:
    """Whether more or fewer of the unknown died than of those compared."""
    unknown, unknown_died = (counting.out_value(out, f"seen.{name}") for name in ("unknown", "unknown_died"))
    compared, compared_died = (counting.out_value(out, f"cohort.{name}") for name in ("analysed", "died"))
    difference = unknown_died * compared - compared_died * unknown
    if difference == 0:
        return "left_out_alike"
    return "left_out_more_dead" if difference > 0 else "left_out_fewer_dead"


def _enough_figures(
    out: ResultsBuilder, main: MainEstimate | None, within: WithinComparison | None
) -> gate.EnoughFigures:
    same_direction = None
    if within is not None:
        sign = main.effect.difference.value if main else within.odds_ratio.value - 1
        same_direction = within.p_better if sign > 0 else within.p_worse
    df = main.df if main else None
    if df is not None:
        out.figure("gate.enough.df", df, unit="df", method="cr2_satterthwaite", rests_on=counting.COMPARED)
    value = {
        name: counting.out_value(out, name) for name in ("cohort.mishaps", "cohort.died", "cohort.survived")
    }
    fewest = {name: counting.out_value(out, f"seen.{name}") for name in ("trained", "untrained")}
    smallest = min(value["cohort.died"], value["cohort.survived"], *fewest.values())
    out.count(
        "gate.enough.smallest",
        smallest,
        rests_on=("cohort.died", "cohort.survived", "seen.trained", "seen.untrained"),
    )
    return gate.EnoughFigures(
        mishaps=value["cohort.mishaps"],
        dead=value["cohort.died"],
        survivors=value["cohort.survived"],
        trained=fewest["trained"],
        untrained=fewest["untrained"],
        df=df,
        within_p_same_direction=same_direction,
    )


def _store_overlap(out: ResultsBuilder, found: Overlap) -> None:
    for name, value in (("inside", found.smallest_inside), ("effective", found.smallest_effective)):
        out.figure(
            f"gate.comparable.{name}", value, unit="share", method="propensity", rests_on=counting.COMPARED
        )
    out.lists["gate.comparable.empty_eras"] = list(found.empty_eras)


def store_verdict(out: ResultsBuilder, gates: tuple[Gate, ...], *, worthwhile: float) -> None:
    """Store the gates, their thresholds and the verdict."""
    rule = thresholds()
    out.figure("threshold.documented_dead", rule["seen"]["met_documented_dead"], unit="share", method="rule")
    out.figure("threshold.inside", rule["comparable"]["met_inside"], unit="share", method="rule")
    out.figure("threshold.mishaps", rule["enough"]["met_mishaps"], unit="count", method="rule")
    out.figure("threshold.people", rule["enough"]["met_people"], unit="count", method="rule")
    out.figure("threshold.df", rule["enough"]["met_df"], unit="df", method="rule")
    for name, chance in zip(("low", "high"), COUNTERPART_RANGE, strict=True):
        out.figure(f"threshold.chance_{name}", chance, unit="share", method="rule")
    out.figure("threshold.effective", rule["comparable"]["met_effective"], unit="share", method="rule")
    out.figure("threshold.narrower", rule["beyond_chance"]["partly_level"], unit="share", method="rule")
    out.figure("threshold.gap", rule["seen"]["met_largest_gap"], unit="difference", method="rule")
    out.figure("threshold.model_mishaps", FEWEST_MISHAPS, unit="count", method="rule")
    never = rule["model"]["never_beyond_chance_mishaps"]
    out.figure("threshold.never_beyond_chance", never, unit="count", method="rule")
    few = 1 < counting.out_value(out, "cohort.mishaps") <= never
    out.codes["cohort.beyond_chance"] = "never" if few else "possible"
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
    out.codes["verdict.chance_shown"] = verdict.chance
    if verdict.chance == "more_than_chance" and main is not None:
        out.codes["verdict.chance_shown"] = "more_often" if main.value > 0 else "less_often"
    shown, why = reading_shown(by_name, verdict, estimated=out.codes["brief.form"] == "estimated")
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


def reading_shown(gates: Mapping[str, Gate], verdict: Verdict, *, estimated: bool) -> tuple[str, str]:
    """The reading to print and the code of its reason.

    While gates are not assessed it is ``open``, unless those assessed rule out any reading but 'no' even if all the
    others were met.
    """
    if gates["seen"].finding == "survivor_only":
        return "no", "survivor_only"
    if not estimated:
        return "no", "no_estimate"
    states: dict[str, State] = {
        name: "met" if found.state == "not_assessed" else found.state for name, found in gates.items()
    }
    if verdict.reason == "not_all_checked" and reading_of(states) != "no":
        return "open", "open"
    if verdict.reading != "no":
        return verdict.reading, verdict.reading
    failed = [name for name in READING_GATES if gates[name].state == "not_met"]
    return "no", failed[0] if len(failed) == 1 else "several"
