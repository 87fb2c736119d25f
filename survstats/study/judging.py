"""What the figures amount to: the gates, the word, and which form the paper takes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.challenge import doubts
from survstats.challenge import gates as gate
from survstats.challenge.doubt_figures import ChoicesFigures, MiscodingFigures, OtherFigures, UnknownFigures
from survstats.challenge.few_mishaps import WithinRoute
from survstats.challenge.verdict import Gate, Interval
from survstats.effects.overlap import Overlap
from survstats.records.deriving import looked_up_for_survivors
from survstats.study import counting
from survstats.study.estimating import MainEstimate
from survstats.study.everybody import Everybody
from survstats.study.results_builder import ResultsBuilder
from survstats.study.within_told import WithinComparison

SurvivorOnly = Literal["no", "yes", "said"]


@dataclass(frozen=True)
class Figures:
    """What the gates look at.

    Attributes
    ----------
    about : Interval
        The main difference and what is worth having; its sign is that of the comparison inside mishaps where there are
        too few for a model.
    main : MainEstimate or None
    within : WithinComparison or None
    route : WithinRoute or None
        Only where there are too few mishaps for a model.
    overlap : Overlap or None
    unknown, entries, other, choices
        Of gates 4, 5, 6 and 8.
    """

    about: Interval
    main: MainEstimate | None
    within: WithinComparison | None
    route: WithinRoute | None
    overlap: Overlap | None
    unknown: UnknownFigures
    entries: MiscodingFigures
    other: OtherFigures
    choices: ChoicesFigures


def weigh(out: ResultsBuilder, people: Everybody, figures: Figures) -> tuple[Gate, ...]:
    """The eight gates in order, and the figures stored that they look at."""
    main = figures.main
    if figures.overlap is None:
        reason = out.absent.get("effect.rd", "not_converged")
        out.leave_out(reason, "gate.comparable.inside", "gate.comparable.effective")
    else:
        _store_overlap(out, figures.overlap)
    if figures.route is not None:
        _store_route(out, figures.route)
    seen = gate.seen_gate(
        _seen_figures(out, people.primary.frame, perhaps=people.perhaps, labels=people.labels)
    )
    return gate.all_eight(
        (
            seen,
            gate.enough_gate(_enough_figures(out, figures)),
            gate.beyond_chance_gate(
                None if main is None else main.effect.difference,
                None if main is None else main.narrower,
                None if main is None else main.without_one,
                route=figures.route,
            ),
            doubts.unknown_status_gate(figures.unknown, figures.about),
            doubts.miscoding_gate(figures.entries, figures.about),
            doubts.other_explanations_gate(figures.other, figures.about),
            gate.comparable_gate(figures.overlap),
            doubts.choices_gate(figures.choices),
        )
    )


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


def _enough_figures(out: ResultsBuilder, figures: Figures) -> gate.EnoughFigures:
    main, within = figures.main, figures.within
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


def _store_route(out: ResultsBuilder, route: WithinRoute) -> None:
    """How sure the comparison inside mishaps is, where it stands for a model."""
    for name in ("p", "p_without_one", "sign_p"):
        out.figure(
            f"gate.beyond_chance.{name}",
            getattr(route, name),
            unit="p",
            method="exact_within_mishap",
            rests_on=counting.COMPARED,
        )


def _store_overlap(out: ResultsBuilder, found: Overlap) -> None:
    for name, value in (("inside", found.smallest_inside), ("effective", found.smallest_effective)):
        out.figure(
            f"gate.comparable.{name}", value, unit="share", method="propensity", rests_on=counting.COMPARED
        )
    out.lists["gate.comparable.empty_eras"] = list(found.empty_eras)
