"""Everything that could overturn what a study found, made in order: for the gates first, then what no gate asks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from survstats.challenge.doubt_figures import OtherFigures, UnknownFigures
from survstats.challenge.few_mishaps import WithinRoute, within_route
from survstats.challenge.unknown_status import UnknownBounds
from survstats.challenge.verdict import Interval
from survstats.effects.imputation import Imputed
from survstats.effects.overlap import Overlap
from survstats.effects.standardise import Effect
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.study import (
    adequacy_told,
    challenges_told,
    choices_told,
    doubts_told,
    entries_told,
    estimating,
    imputing,
    judging,
)
from survstats.study.estimating import CLUSTER, EXPOSURE, FEWEST_MISHAPS, OUTCOME, MainEstimate
from survstats.study.everybody import Everybody
from survstats.study.graph_told import held_equal
from survstats.study.plan import Study
from survstats.study.results_builder import ResultsBuilder
from survstats.study.within_told import WithinComparison


@dataclass(frozen=True)
class Beside:
    """The same question asked of others; None for what could not be estimated."""

    passengers: Effect | None
    all_aboard: Effect | None
    within: WithinComparison | None


def doubt(
    out: ResultsBuilder,
    study: Study,
    people: Everybody,
    main: MainEstimate | None,
    others: Beside,
    imputed: Imputed | None,
    bounds: UnknownBounds | None,
    *,
    banners: Sequence[str],
    whole: bool,
) -> judging.Figures:
    """Everything that could overturn the finding, as the gates need it; ``banners`` as `entries_told.store_entries`."""
    analysed = people.primary.analysed
    route = _route(out, analysed) if main is None else None
    difference = None if main is None else main.effect.difference
    about = _about(difference, route, study.plan.question.smallest_worthwhile_points / 100)
    other = _other_explanations(out, study, people, main, others, route, whole=whole)
    points = imputing.moved(imputed, study.covariates)
    entries = entries_told.store_entries(
        out,
        people.primary_in_order,
        study,
        banners=banners,
        estimated=main is not None,
        whole=whole,
    )
    choices = choices_told.store_choices(out, study, people, imputed, about, whole=whole)
    return judging.Figures(
        about=about,
        main=main,
        within=others.within,
        route=route,
        overlap=_overlap(analysed, study.covariates, main, route),
        unknown=UnknownFigures(
            unknown=len(out.people["seen.unknown"]),
            points=points,
            worst_case=None if bounds is None else (bounds.interval_low, bounds.interval_high),
        ),
        entries=entries,
        other=other,
        choices=choices,
    )


def _other_explanations(
    out: ResultsBuilder,
    study: Study,
    people: Everybody,
    main: MainEstimate | None,
    others: Beside,
    route: WithinRoute | None,
    *,
    whole: bool,
) -> OtherFigures:
    """What else could have made the difference: fitness, measured causes, bracing, other populations."""
    analysed, challenge = people.primary.analysed, study.plan.challenge
    difference = None if main is None else main.effect.difference
    fitness = doubts_told.store_fitness(
        out,
        _crude_by_route(out, route) if difference is None else difference.value,
        None if difference is None else difference.nearest_to_null,
        floor=challenge.fitness_floor,
        whole=whole,
    )
    shift = None if main is None else doubts_told.store_left_out_groups(out, analysed, main)
    alarm = doubts_told.store_impact_death(
        out,
        people.everyone.analysed,
        held_equal(study.covariates, population="P2"),
        margin=challenge.impact_death_margin_points / 100,
    )
    return OtherFigures(
        pooled=difference,
        passengers=_difference(others.passengers),
        all_aboard=_difference(others.all_aboard),
        within_odds_ratio=None if others.within is None else others.within.odds_ratio,
        strength_limit=fitness.strength_limit,
        strength_estimate=fitness.strength_estimate,
        floor=challenge.fitness_floor,
        largest_shift=None if shift is None else shift.shift,
        limit_size=0.0 if difference is None else abs(difference.nearest_to_null),
        alarm=alarm,
        passengers_are_all=bool(analysed["is_passenger"].all()),
    )


def doubt_further(
    out: ResultsBuilder,
    people: Everybody,
    covariates: Sequence[str],
    main: MainEstimate | None,
    imputed: Imputed | None,
) -> challenges_told.Further:
    """The doubts that no gate asks for."""
    analysed = people.primary.analysed
    tipping = imputing.store_tipping(out, imputed, covariates, main)
    bias = doubts_told.store_hidden_bias(out, analysed, people.passengers.analysed)
    reported = doubts_told.store_under_reporting(out, analysed, main)
    if main is None:
        out.leave_out(out.absent["effect.rd"], *doubts_told.GROUP_IDS, *adequacy_told.IDS)
        return challenges_told.Further(tipping, *bias, None)
    adequacy_told.store_adequacy(out, analysed, main)
    return challenges_told.Further(tipping, *bias, reported)


def _about(difference: Estimate | None, route: WithinRoute | None, worthwhile: float) -> Interval:
    """What the word is about; its sign is the main difference's, or that of the comparison inside mishaps."""
    if difference is None:
        return Interval(None, None, worthwhile, 0 if route is None else route.sign)
    sign = int(difference.value > 0) - int(difference.value < 0)
    return Interval(difference.low, difference.high, worthwhile, sign)


def _route(out: ResultsBuilder, frame: pd.DataFrame) -> WithinRoute | None:
    """The comparison inside mishaps, for a study of too few of them for any model."""
    if out.absent.get("effect.rd") != "few_mishaps" or frame[CLUSTER].nunique() >= FEWEST_MISHAPS:
        return None
    try:
        return within_route(
            frame[OUTCOME].to_numpy(float), frame[EXPOSURE].to_numpy(float), frame[CLUSTER].to_numpy()
        )
    except NotEstimable:
        return None


def _crude_by_route(out: ResultsBuilder, route: WithinRoute | None) -> float | NotEstimable | None:
    """With too few mishaps for a model the plain difference stands for it, as far as the mishaps themselves agree."""
    if route is None:
        return None
    plain = out.numbers["crude.rd_exact"].value
    if plain * route.sign > 0:
        return plain
    return NotEstimable(
        "opposite_signs", "The mishaps themselves do not point the way the plain difference does."
    )


def _overlap(
    frame: pd.DataFrame, covariates: Sequence[str], main: MainEstimate | None, route: WithinRoute | None
) -> Overlap | None:
    """Of the groups compared, where they are compared at all: by the model, or inside mishaps."""
    if main is not None:
        return main.overlap
    return None if route is None else estimating.overlap_of(frame, covariates)


def _difference(effect: Effect | None) -> Estimate | None:
    return None if effect is None else effect.difference
