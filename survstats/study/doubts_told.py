"""What else could make this difference: fitness, hidden bias, bracing, measured causes, unreported mishaps; by id."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from survstats.challenge.hidden_bias import HiddenBias, hidden_bias
from survstats.challenge.impact_death import impact_death_check
from survstats.challenge.left_out_groups import GroupShift, largest_shift, left_out_groups
from survstats.challenge.under_reporting import UnderReporting, under_reporting
from survstats.challenge.unmeasured import fitness_bias, fitness_strength
from survstats.challenge.verdict import thresholds
from survstats.effects.exact_table import newcombe_difference
from survstats.effects.question import COVARIATES
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.study.counting import COMPARED, note_compared, out_value
from survstats.study.estimating import (
    CLUSTER,
    EXPOSURE,
    FEWEST_MISHAPS,
    OUTCOME,
    MainEstimate,
    fields_in,
    quartet,
)
from survstats.study.results_builder import ResultsBuilder, people

IMPACT = "died_on_impact"
_STRENGTHS = (0.2, 0.4, 0.6, 0.75, 0.8, 1.0, 1.5, 2.0)
#: Shares in which harmless mishaps may have been reported, by the name of their estimate.
_REPORTED = {0.25: "quarter", 0.5: "half"}


@dataclass(frozen=True)
class Fitness:
    """How strong a hidden fitness would have to be for the estimate and for its limit; None where there is none."""

    strength_estimate: float | None
    strength_limit: float | None


def store_fitness(
    out: ResultsBuilder,
    estimate: float | NotEstimable | None,
    limit: float | None,
    *,
    floor: float,
    whole: bool,
) -> Fitness:
    """How strong an unmeasured fitness would have to be to make this difference out of nothing.

    Parameters
    ----------
    out : ResultsBuilder
    estimate : float, NotEstimable or None
        The difference, in [-1, 1], or why no number may stand for it; None where there is none.
    limit : float or None
        Its limit nearest 0 (0 if covered).
    floor : float
        The strength that the study file thinks possible, in logits per standard deviation.
    whole : bool
        Whether the table of strengths is made too.
    """
    out.figure("fitness.floor", floor, unit="logit_per_sd", method="study_file")
    out.figure("fitness.floor_odds", math.exp(floor), unit="ratio", method="study_file")
    reason = out.absent.get("effect.rd", "few_mishaps")
    compared = out_value(out, "cohort.analysed")
    if not compared:
        out.leave_out(reason, *FITNESS_IDS)
        return Fitness(None, None)
    trained, alive = (out_value(out, name) / compared for name in ("seen.trained", "cohort.survived"))
    for name, share in (("share_trained", trained), ("share_alive", alive)):
        out.figure(f"fitness.{name}", share, unit="share", method="counted", rests_on=COMPARED)
    found: dict[str, float | None] = {}
    for name, size in (("estimate", estimate), ("limit", limit)):
        found[name] = None
        if size is None or isinstance(size, NotEstimable):
            why = reason if size is None else size.reason
            out.leave_out(why, f"fitness.strength_{name}", f"fitness.odds_{name}")
            continue
        with out.or_absent(f"fitness.strength_{name}", f"fitness.odds_{name}"):
            strength = fitness_strength(size, share_trained=trained, share_alive=alive)
            _figure(out, f"fitness.strength_{name}", strength, "logit_per_sd")
            _figure(out, f"fitness.odds_{name}", math.exp(strength), "ratio")
            found[name] = strength
    if whole:
        _store_strengths(out, floor, trained, alive)
    return Fitness(found["estimate"], found["limit"])


def _store_strengths(out: ResultsBuilder, floor: float, trained: float, alive: float) -> None:
    """What a fitness of some strength would make out of nothing."""
    with out.or_absent("fitness.bias_at_floor", "fitness"):
        at_floor, *made = (
            fitness_bias(strength, share_trained=trained, share_alive=alive)
            for strength in (floor, *_STRENGTHS)
        )
        _figure(out, "fitness.bias_at_floor", at_floor, "difference")
        out.table(
            "fitness", ("strength", "difference"), zip(_STRENGTHS, made, strict=True), rests_on=COMPARED
        )


def store_left_out_groups(out: ResultsBuilder, frame: pd.DataFrame, main: MainEstimate) -> GroupShift | None:
    """How far the difference moves without each measured group; the group whose leaving out moves it farthest."""
    covariates = fields_in(main.refits.model, main.covariates)
    with out.or_absent(*GROUP_IDS):
        shifts = left_out_groups(
            frame,
            **quartet(covariates),
            groups=COVARIATES,
            main=main.refits.model if covariates == main.covariates else None,
        )
        out.table(
            "left_out_groups",
            ("group", "difference", "shift"),
            [(one.group, one.difference, one.shift) for one in shifts],
            rests_on=COMPARED,
        )
        largest = largest_shift(shifts)
        if largest is None or largest.shift is None:
            raise NotEstimable("nothing_left_out", "No measured group could be left out.")
        _figure(out, "fitness.largest_shift", largest.shift, "difference")
        out.codes["fitness.shift_group"] = largest.group
        return largest
    return None


def store_hidden_bias(
    out: ResultsBuilder, frame: pd.DataFrame, passengers: pd.DataFrame
) -> tuple[HiddenBias | None, HiddenBias | None]:
    """The greatest hidden bias at which the comparison inside mishaps still is more than chance, if it can be had.

    Of everyone compared, and of the ``passengers`` among them: inside a mishap neither role nor seat is held equal, and
    among passengers alone the crew's role is out of it. The second is None too where all are passengers.
    """
    level = thresholds()["beyond_chance"]["met_level"]
    of_all = of_passengers = None
    with out.or_absent("hidden_bias.gamma", "hidden_bias.limit"):
        of_all = _inside(frame, level)
        _figure(out, "hidden_bias.gamma", of_all.gamma, "ratio", method="exact_within_mishap")
        _figure(out, "hidden_bias.limit", of_all.limit, "odds_ratio", method="exact_within_mishap")
        out.figure("hidden_bias.level", level, unit="share", method="rule")
    with out.or_absent("hidden_bias.gamma_passengers"):
        of_passengers = _inside(passengers, level)
        out.figure(
            "hidden_bias.gamma_passengers",
            of_passengers.gamma,
            unit="ratio",
            method="exact_within_mishap",
            rests_on=(*COMPARED, *note_compared(out, passengers, prefix="effect.passengers")),
        )
    return of_all, None if len(passengers) == len(frame) else of_passengers


def _inside(frame: pd.DataFrame, level: float) -> HiddenBias:
    columns = (frame[OUTCOME].to_numpy(float), frame[EXPOSURE].to_numpy(float), frame[CLUSTER].to_numpy())
    return hidden_bias(*columns, level=level)


def store_impact_death(
    out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str], *, margin: float
) -> bool | None:
    """The same difference for death on impact, among all aboard; whether it alarms, None where it cannot be told.

    Where nobody compared died on impact, though some died, there is nothing to model: the limits are then those of two
    shares of none.
    """
    out.figure("impact_death.margin", margin, unit="difference", method="study_file")
    rests_on = (*COMPARED, *_note_impact(out, frame))
    with out.or_absent("impact_death.rd", "impact_death.noticeable"):
        if frame[CLUSTER].nunique() < FEWEST_MISHAPS:
            raise NotEstimable("few_mishaps", "There are too few mishaps for a model.")
        if not frame[OUTCOME].eq(0).any():
            raise NotEstimable("one_outcome", "Nobody compared died.")
        dead = frame[IMPACT].astype(float)
        difference, noticeable, alarm = (
            _checked(frame.assign(**{IMPACT: dead}), covariates, margin) if dead.any() else _none_died(frame)
        )
        out.estimate("impact_death.rd", difference, rests_on=rests_on)
        out.figure(
            "impact_death.noticeable", noticeable, unit="difference", method="jackknife", rests_on=rests_on
        )
        out.codes["impact_death.alarm"] = "yes" if alarm else "no"
        return alarm
    return None


def _checked(frame: pd.DataFrame, covariates: Sequence[str], margin: float) -> tuple[Estimate, float, bool]:
    found = impact_death_check(frame, **quartet(covariates, outcome=IMPACT), margin=margin)
    return found.difference, found.noticeable, found.alarm


def _none_died(frame: pd.DataFrame) -> tuple[Estimate, float, bool]:
    arms = [int((frame[EXPOSURE] == value).sum()) for value in (1, 0)]
    found = newcombe_difference((0, arms[0]), (0, arms[1]), mishaps=frame[CLUSTER].nunique())
    return found, max(-found.low, found.high), False


def _note_impact(out: ResultsBuilder, frame: pd.DataFrame) -> tuple[str, ...]:
    names = []
    for group, trained in (("trained", 1), ("untrained", 0)):
        for fate, dead in (("on_impact", True), ("later_or_never", False)):
            names.append(f"impact_death.{group}_{fate}")
            chosen = frame[(frame[EXPOSURE] == trained) & (frame[IMPACT].astype(bool) == dead)]
            out.parts[names[-1]] = people(chosen["file_row"]).rows
    return tuple(names)


def store_under_reporting(
    out: ResultsBuilder, frame: pd.DataFrame, main: MainEstimate | None
) -> tuple[UnderReporting, ...] | None:
    """The difference if only a share of the mishaps in which everyone compared lived had been reported."""
    harmless = frame.groupby(CLUSTER)[OUTCOME].min().eq(1)
    out.count("under_reporting.harmless", int(harmless.sum()), rests_on=COMPARED)
    if main is None:
        out.leave_out(out.absent["effect.rd"], *UNDER_REPORTING_IDS)
        return None
    with out.or_absent(*UNDER_REPORTING_IDS):
        found = under_reporting(main.refits, tuple(_REPORTED))
        for one in found:
            name = f"under_reporting.rd_{_REPORTED[one.reported]}"
            out.estimate(name, one.difference, rests_on=COMPARED)
        return found
    return None


def _figure(out: ResultsBuilder, name: str, value: float, unit: str, *, method: str = "fitness") -> None:
    out.figure(name, value, unit=unit, method=method, rests_on=COMPARED)


FITNESS_IDS = (
    *("fitness.share_trained", "fitness.share_alive", "fitness.bias_at_floor", "fitness"),
    *(f"fitness.{what}_{which}" for what in ("strength", "odds") for which in ("estimate", "limit")),
)
GROUP_IDS = ("fitness.largest_shift", "left_out_groups")
UNDER_REPORTING_IDS = tuple(f"under_reporting.rd_{name}" for name in _REPORTED.values())
