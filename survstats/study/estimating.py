"""What the models say, by id: the main estimate, its neighbours, and the comparison within mishaps."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from survstats.challenge.unmeasured import e_value, e_value_of_limit
from survstats.challenge.verdict import thresholds
from survstats.effects.crude import crude_difference
from survstats.effects.one_mishap_out import one_mishap_out
from survstats.effects.overlap import Overlap, overlap
from survstats.effects.question import groups_adjusted
from survstats.effects.risk_model import RiskModel, prepare, refuse_thin
from survstats.effects.standardise import Effect, standardise
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, from_scale
from survstats.models.within_mishap import exact_within, within_tally
from survstats.study.counting import COMPARED, note_compared
from survstats.study.results import ResultsBuilder

#: With fewer mishaps than this no model stands on the page.
FEWEST_MISHAPS = int(thresholds()["model"]["fewest_mishaps"])
_LEVEL = thresholds()["beyond_chance"]
OUTCOME, EXPOSURE, CLUSTER, ERA = "survived", "trained", "mishap_id", "era"


@dataclass(frozen=True)
class MainEstimate:
    """The primary estimate and what the gates need of it."""

    effect: Effect
    narrower: Estimate
    without_one: pd.DataFrame
    df: float
    overlap: Overlap | None


def store_main(out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str]) -> MainEstimate | None:
    """The primary estimate in P1, all roles, with everything the gates need; None where it cannot be had."""
    try:
        model = _model(frame, covariates)
        effect = standardise(model, level=_LEVEL["met_level"])
        untrained = standardise(model, target="untrained")
        without_one = one_mishap_out(model, level=_LEVEL["met_level"])
        narrower = standardise(model, level=_LEVEL["partly_level"]).difference
        df = model.exposure_df()
    except NotEstimable as fault:
        for name in _MAIN_IDS:
            out.absent[name] = fault.reason
        return None
    used, left_out = groups_adjusted(_fields_in(model, covariates))
    out.lists["plan.adjusted"] = list(_fields_in(model, covariates))
    out.lists["plan.adjusted_groups"], out.lists["plan.groups_left_out"] = list(used), list(left_out)
    out.codes["effect.likelihood"] = "penalised" if model.penalised else "plain"
    out.count("effect.columns", len(model.design.columns), rests_on=COMPARED)
    for name, found in (
        ("rd", effect.difference),
        ("survival_if_all_trained", effect.if_all),
        ("survival_if_none_trained", effect.if_none),
        ("rr_survival", effect.survival_ratio),
        ("rr_death", effect.death_ratio),
        ("odds_ratio", effect.odds_ratio),
        ("rd_untrained", untrained.difference),
        ("rr_death_untrained", untrained.death_ratio),
    ):
        out.estimate(f"effect.{name}", found, rests_on=COMPARED, counted="cohort.analysed")
    for name, ratio in (("survival", effect.survival_ratio), ("death", effect.death_ratio)):
        for which, value in (
            ("", e_value(ratio.value)),
            ("_limit", e_value_of_limit(ratio.low, ratio.high)),
        ):
            out.figure(
                f"effect.e_value_{name}{which}", value, unit="ratio", method="e_value", rests_on=COMPARED
            )
    for notice in model.notices:
        out.notices.append((notice.code, dict(notice.values)))
    _store_without_one(out, without_one)
    return MainEstimate(
        effect=effect,
        narrower=narrower,
        without_one=without_one,
        df=df,
        overlap=_overlap(frame, covariates),
    )


def _overlap(frame: pd.DataFrame, covariates: Sequence[str]) -> Overlap | None:
    try:
        return overlap(frame, exposure=EXPOSURE, covariates=covariates, cluster=CLUSTER, era=ERA)
    except NotEstimable:
        return None


def store_beside(
    out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str], *, name: str
) -> Effect | None:
    """The same estimate in another population, stored as ``effect.rd_<name>`` with its ratios."""
    rests_on = (*COMPARED, *note_compared(out, frame, prefix=f"effect.{name}"))
    try:
        effect = standardise(_model(frame, covariates))
    except NotEstimable as fault:
        for number in ("rd", "rr_survival", "rr_death"):
            out.absent[f"effect.{number}_{name}"] = fault.reason
        return None
    out.estimate(f"effect.rd_{name}", effect.difference, rests_on=rests_on)
    out.estimate(f"effect.rr_survival_{name}", effect.survival_ratio, rests_on=rests_on)
    out.estimate(f"effect.rr_death_{name}", effect.death_ratio, rests_on=rests_on)
    return effect


def store_crude(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    """The difference without any adjustment; with too few mishaps its interval would say nothing."""
    if frame[CLUSTER].nunique() < FEWEST_MISHAPS:
        out.absent["crude.rd"] = "few_mishaps"
        return
    try:
        difference = crude_difference(frame, outcome=OUTCOME, exposure=EXPOSURE, cluster=CLUSTER)
        out.estimate("crude.rd", difference, rests_on=COMPARED, counted="cohort.analysed")
    except NotEstimable as fault:
        out.absent["crude.rd"] = fault.reason


@dataclass(frozen=True)
class WithinComparison:
    """The exact odds ratio among people of the same mishap, and its one-sided p for benefit and for harm."""

    odds_ratio: Estimate
    p_better: float
    p_worse: float


def store_within(out: ResultsBuilder, frame: pd.DataFrame) -> WithinComparison | None:
    """The comparison of people in the same mishap: the raw count of mishaps and the exact odds ratio."""
    outcome, exposure = frame[OUTCOME].to_numpy(float), frame[EXPOSURE].to_numpy(float)
    cluster = frame[CLUSTER].to_numpy()
    counted = within_tally(outcome, exposure, cluster)
    for name in ("informative", "better", "worse", "tied"):
        out.count(f"within.{name}", getattr(counted, name), rests_on=COMPARED)
    try:
        found = exact_within(outcome, exposure, cluster)
    except NotEstimable as fault:
        out.absent["within.odds_ratio"] = fault.reason
        return None
    odds_ratio = Estimate(
        value=from_scale(found.log_odds_ratio, "log"),
        low=from_scale(found.exact_low, "log"),
        high=from_scale(found.exact_high, "log"),
        se=math.nan,
        level=found.level,
        df=math.nan,
        scale="log",
        unit="odds_ratio",
        method="exact_within_mishap",
        mishaps=counted.informative,
        occupants=counted.rows,
    )
    out.estimate("within.odds_ratio", odds_ratio, rests_on=COMPARED)
    return WithinComparison(odds_ratio, found.p_better, found.p_worse)


def _model(frame: pd.DataFrame, covariates: Sequence[str]) -> RiskModel:
    refuse_thin(frame, OUTCOME, EXPOSURE, CLUSTER)
    mishaps = frame[CLUSTER].nunique()
    if mishaps < FEWEST_MISHAPS:
        raise NotEstimable("few_mishaps", f"{mishaps} mishaps are too few for a model.")
    return prepare(frame, outcome=OUTCOME, exposure=EXPOSURE, covariates=covariates, cluster=CLUSTER)


def _fields_in(model: RiskModel, covariates: Sequence[str]) -> tuple[str, ...]:
    """The covariates that the design kept at least one column of."""
    kept = set(model.design.columns)
    terms = {term.name: term.columns for term in model.design.terms}
    return tuple(name for name in covariates if kept & set(terms[name]))


def _store_without_one(out: ResultsBuilder, without_one: pd.DataFrame) -> None:
    out.table("one_mishap_out", ("mishap", "difference", "low", "high"), without_one.itertuples(index=False))
    sign = 1.0 if out.numbers["effect.rd"].value > 0 else -1.0
    nearest = without_one.loc[(sign * without_one["difference"]).idxmin()]
    everyone = out.numbers["effect.rd"]
    out.rests_on["effect.rd_without_one"] = COMPARED
    out.numbers["effect.rd_without_one"] = replace(
        everyone, value=float(nearest["difference"]), low=float(nearest["low"]), high=float(nearest["high"])
    )


_MAIN_IDS = (
    "effect.rd",
    "effect.survival_if_all_trained",
    "effect.survival_if_none_trained",
    "effect.rr_survival",
    "effect.rr_death",
    "effect.odds_ratio",
    "effect.rd_untrained",
    "effect.rr_death_untrained",
)
