"""Everything for the analyst's annex, in order; what cannot be estimated is absent with its reason, nothing stops."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from survstats.effects.standardise import Effect
from survstats.records.cohort import Population
from survstats.records.loading import Records
from survstats.study import (
    beside,
    cabin_told,
    circumstances,
    egress_told,
    evidence_told,
    imputing,
    other_models,
    pairs,
    planning_told,
    rates_told,
    recency_told,
    runs_told,
    split_told,
    times_told,
)
from survstats.study.budget_told import store_budget
from survstats.study.estimating import FEWEST_MISHAPS, MainEstimate
from survstats.study.everybody import Everybody, in_fixed_order
from survstats.study.graph_told import store_graph, store_question
from survstats.study.judge import Found
from survstats.study.plan import Study
from survstats.study.positivity import store_positivity
from survstats.study.results import MASKED, Audience
from survstats.study.results_builder import ResultsBuilder

#: What is made for the house alone: it cuts the same people finer than anything that is shared.
_IN_HOUSE = (
    *(*recency_told.IDS, *recency_told.FADING_IDS, *circumstances.IDS, "imputation_delta"),
    *(*egress_told.IDS, *times_told.IDS, *split_told.IDS, *rates_told.IDS),
    *(*cabin_told.IDS, *cabin_told.POSITION_IDS),
    *(*runs_told.IDS, *runs_told.RACE_IDS),
)


def store_annex(
    out: ResultsBuilder,
    study: Study,
    records: Records,
    people: Everybody,
    found: Found,
    *,
    audience: Audience,
    tell: Callable[[str], None],
) -> None:
    """All that stands beside the main estimate; what is never shared is not made for sharing.

    Parameters
    ----------
    out : ResultsBuilder
    study : Study
    records : Records
        Whose trainer runs are read here; nothing else is.
    people : Everybody
    found : Found
        Without a main estimate the models are left out, with its reason.
    audience : {"board", "sharing"}
    tell : callable
        Called with ``recency`` and ``deciding`` as those steps start.
    """
    main, passengers = found.main, found.beside.passengers
    store_question(out)
    frames: dict[Population, pd.DataFrame] = {"P1": people.primary.frame, "P2": people.everyone.frame}
    store_graph(out, out.lists.get("plan.adjusted", study.covariates), frames)
    store_positivity(out, people.primary.analysed)
    _store_models(out, study, people, main)
    tell("recency")
    if audience == "sharing":
        out.leave_out(MASKED, *_IN_HOUSE)
    else:
        _store_recency(out, study, people, main, passengers)
        imputing.store_delta(out, found.imputed, study.covariates)
        _store_egress(out, study, people)
        cabin_told.store_cabin(out, study, people)
        runs_told.store_runs_model(out, study, records, people)
        runs_told.store_race(out, study)
    tell("deciding")
    store_budget(out, study, people, found, audience=audience)
    if audience == "sharing":
        out.leave_out(MASKED, *evidence_told.IDS, *planning_told.IDS)
    else:
        evidence_told.store_evidence(out, study, found)
        planning_told.store_planning(out, study, records, people, found)
    store_estimators(out)


def _store_models(out: ResultsBuilder, study: Study, people: Everybody, main: MainEstimate | None) -> None:
    analysed = people.primary.analysed
    pairs.store_pairs(out, analysed, study.covariates, whole=None if main is None else main.effect)
    beside.store_unknown_survivability(out, people.derived, analysed, study.covariates)
    if main is None:
        out.leave_out(out.absent["effect.rd"], *other_models.IDS)
        return
    other_models.store_other_models(out, in_fixed_order(analysed), main, seed=study.plan.run.seed)


def _store_recency(
    out: ResultsBuilder,
    study: Study,
    people: Everybody,
    main: MainEstimate | None,
    passengers: Effect | None,
) -> None:
    if people.primary.analysed["mishap_id"].nunique() < FEWEST_MISHAPS:
        out.leave_out(_few(out), *recency_told.IDS, *recency_told.FADING_IDS, *circumstances.IDS)
        return
    recency_told.store_recency(out, people.primary.frame, study.covariates)
    recency_told.store_fading(out, people.primary_in_order, study.covariates, seed=study.plan.run.seed)
    cold = None if study.plan.model is None else study.plan.model.cold_water_c
    without_role = tuple(name for name in study.covariates if name != "role")
    frames = [
        circumstances.with_circumstances(cohort.analysed, cold_water_c=cold)
        for cohort in (people.primary, people.passengers)
    ]
    circumstances.store_circumstances(
        out,
        study.modifiers,
        everyone=(frames[0], study.covariates, None if main is None else main.effect),
        passengers=(frames[1], without_role, passengers),
    )


def _store_egress(out: ResultsBuilder, study: Study, people: Everybody) -> None:
    """Who got out and how soon, and how much of the difference in survival lies in it."""
    frame, covariates = people.primary_in_order, study.covariates
    curves = egress_told.store_egress(out, frame, covariates)
    model = times_told.store_times(out, frame, covariates, curves)
    split_told.store_split(out, frame, covariates)
    rates_told.store_rates(out, model, seed=study.plan.run.seed)


def _few(out: ResultsBuilder) -> str:
    return out.absent.get("effect.rd", "few_mishaps")


#: The estimators in the order of the annex: population, whom it averages over, and what each person weighs.
ESTIMATORS = {
    "effect.rd": ("P1", "all", "people"),
    "effect.rd_untrained": ("P1", "untrained", "people"),
    "effect.rd_trained": ("P1", "trained", "people"),
    "effect.rd_mishap_average": ("P1", "all", "mishaps"),
    "effect.rd_passengers": ("P1_passengers", "all", "people"),
    "effect.rd_all_aboard": ("P2", "all", "people"),
    "effect.rd_unknown_survivability": ("P1_unknown_survivability", "all", "people"),
    "effect.rd_augmented": ("P1", "all", "people"),
    "effect.rd_augmented_untrained": ("P1", "untrained", "people"),
    "effect.rd_random_intercept": ("P1", "all", "people"),
    "effect.rd_population_average": ("P1", "all", "people"),
    "effect.rd_imputed": ("P1", "all", "people"),
    "effect.rd_without_seat": ("P1", "all", "people"),
    "effect.rd_with_seat": ("P1", "all", "people"),
    "effect.rd_without_breathing_set": ("P1", "all", "people"),
    "effect.rd_with_breathing_set": ("P1", "all", "people"),
    "crude.rd": ("P1", "all", "people"),
}


def store_estimators(out: ResultsBuilder) -> None:
    """All differences side by side, each with whom it is about."""
    there = {name: out.numbers[name] for name in ESTIMATORS if name in out.numbers}
    for at, name in enumerate(there):
        out.rests_on[f"estimators/{at}"] = (name,)
    out.table(
        "estimators",
        *(
            ("id", "population", "target", "weighting", "value", "low", "high", "df", "mishaps", "occupants"),
            [
                (name, *ESTIMATORS[name], n.value, n.low, n.high, n.df, n.mishaps, n.occupants)
                for name, n in there.items()
            ],
        ),
    )
