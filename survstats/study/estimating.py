"""What the main model says, by id: everything that is read from its one pass of fits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypedDict

import pandas as pd

from survstats.challenge.unmeasured import e_value, e_value_of_limit
from survstats.challenge.verdict import thresholds
from survstats.effects import question
from survstats.effects.arms import hangs_on_one_mishap
from survstats.effects.intervals import number_needed
from survstats.effects.one_mishap_out import one_mishap_out
from survstats.effects.overlap import Overlap, overlap
from survstats.effects.question import groups_adjusted
from survstats.effects.risk_model import Refits, RiskModel, prepare, refit, refuse_thin
from survstats.effects.standardise import Effect, standardise
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.study.counting import COMPARED
from survstats.study.results import Number
from survstats.study.results_builder import ResultsBuilder

#: With fewer mishaps than this no model stands on the page.
FEWEST_MISHAPS = int(thresholds()["model"]["fewest_mishaps"])
_LEVEL = thresholds()["beyond_chance"]
OUTCOME, EXPOSURE = question.OUTCOME, question.EXPOSURE
CLUSTER, ERA = "mishap_id", "era"


class Quartet(TypedDict):
    """Which columns are outcome, exposure, covariates and cluster."""

    outcome: str
    exposure: str
    covariates: Sequence[str]
    cluster: str


def quartet(covariates: Sequence[str], *, outcome: str = OUTCOME) -> Quartet:
    """The columns of this study's comparison, with these covariates."""
    return {"outcome": outcome, "exposure": EXPOSURE, "covariates": covariates, "cluster": CLUSTER}


@dataclass(frozen=True)
class MainEstimate:
    """The primary estimate, what the gates need of it, and the fits behind it.

    ``covariates`` are those the study asks for that are known of anybody compared.
    """

    effect: Effect
    narrower: Estimate
    without_one: pd.DataFrame
    df: float
    overlap: Overlap | None
    refits: Refits
    covariates: tuple[str, ...]


def store_main(
    out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str], *, whole: bool = True
) -> MainEstimate | None:
    """The primary estimate in P1, all roles, with everything the gates need; None where it cannot be had.

    Without ``whole`` only what the gates need is made: of the mishaps left out in turn the few that matter most, and
    none where the interval covers 0 with all of them.
    """
    try:
        refits = refit(model_of(frame, covariates))
        effect = standardise(refits, level=_LEVEL["met_level"])
        narrower = standardise(refits, level=_LEVEL["partly_level"]).difference
        df = refits.model.exposure_df()
        untrained = standardise(refits, target="untrained") if whole else effect
        without_one = _without_one(refits.model, narrower, whole=whole)
    except NotEstimable as fault:
        out.leave_out(fault.reason, *_MAIN_IDS)
        return None
    found = MainEstimate(
        effect=effect,
        narrower=narrower,
        without_one=without_one,
        df=df,
        overlap=overlap_of(frame, covariates),
        refits=refits,
        covariates=tuple(covariates),
    )
    out.estimate("effect.rd", effect.difference, rests_on=COMPARED, counted="cohort.analysed")
    if whole:
        _store_whole(out, frame, found, untrained)
    return found


#: How many of the mishaps that matter most are left out in turn where not all of them are asked for.
_MOST_OUT = 12


def _without_one(model: RiskModel, narrower: Estimate, *, whole: bool) -> pd.DataFrame:
    if whole:
        return one_mishap_out(model, level=_LEVEL["met_level"])
    if not narrower.excludes(0.0):
        return pd.DataFrame(columns=["mishap", "difference", "low", "high"], dtype=float)
    return one_mishap_out(model, level=_LEVEL["met_level"], refits=_MOST_OUT * model.mishaps)


def _store_whole(out: ResultsBuilder, frame: pd.DataFrame, main: MainEstimate, untrained: Effect) -> None:
    """Everything else that is read from the same fits."""
    effect, refits, covariates = main.effect, main.refits, main.covariates
    model = refits.model
    used, left_out = groups_adjusted(fields_in(model, covariates))
    out.lists["plan.adjusted"] = list(fields_in(model, covariates))
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
    _store_other_targets(out, refits, effect)
    _store_e_values(out, effect)
    for notice in model.notices:
        out.notices.append((notice.code, dict(notice.values)))
    _store_without_one(out, main.without_one)
    hanging = hangs_on_one_mishap(frame, outcome=OUTCOME, exposure=EXPOSURE, cluster=CLUSTER)
    out.codes["effect.one_arm_hangs"] = "yes" if hanging else "no"


def model_of(frame: pd.DataFrame, covariates: Sequence[str]) -> RiskModel:
    """The model of survival in these rows.

    Raises
    ------
    NotEstimable
        ``few_mishaps`` below `FEWEST_MISHAPS`, and as `survstats.effects.risk_model.prepare`.
    """
    refuse_thin(frame, OUTCOME, EXPOSURE, CLUSTER)
    mishaps = frame[CLUSTER].nunique()
    if mishaps < FEWEST_MISHAPS:
        raise NotEstimable("few_mishaps", f"{mishaps} mishaps are too few for a model.")
    return prepare(frame, outcome=OUTCOME, exposure=EXPOSURE, covariates=covariates, cluster=CLUSTER)


def _store_other_targets(out: ResultsBuilder, refits: Refits, effect: Effect) -> None:
    """The same fits averaged over the trained, over mishaps, and the difference turned over."""
    with out.or_absent("effect.rd_trained"):
        trained = standardise(refits, target="trained")
        out.estimate("effect.rd_trained", trained.difference, rests_on=COMPARED)
    with out.or_absent("effect.rd_mishap_average"):
        by_mishap = standardise(refits, weighting="mishaps")
        out.estimate("effect.rd_mishap_average", by_mishap.difference, rests_on=COMPARED)
    with out.or_absent("effect.number_needed"):
        needed = number_needed(effect.difference)
        out.number(
            "effect.number_needed",
            Number(
                needed.value, "number_needed", needed.method, needed.low, needed.high, needed.level, needed.df
            ),
            rests_on=COMPARED,
        )


def _store_e_values(out: ResultsBuilder, effect: Effect) -> None:
    for name, ratio in (("survival", effect.survival_ratio), ("death", effect.death_ratio)):
        for which, value in (
            ("", e_value(ratio.value)),
            ("_limit", e_value_of_limit(ratio.low, ratio.high)),
        ):
            out.figure(
                f"effect.e_value_{name}{which}", value, unit="ratio", method="e_value", rests_on=COMPARED
            )


def overlap_of(frame: pd.DataFrame, covariates: Sequence[str]) -> Overlap | None:
    """How far the backgrounds of both groups overlap; None where it cannot be told."""
    if frame[EXPOSURE].nunique() < 2:
        return None
    try:
        return overlap(frame, exposure=EXPOSURE, covariates=covariates, cluster=CLUSTER, era=ERA)
    except NotEstimable:
        return None


def fields_in(model: RiskModel, covariates: Sequence[str]) -> tuple[str, ...]:
    """The covariates that the design kept at least one column of."""
    kept = set(model.design.columns)
    terms = {term.name: term.columns for term in model.design.terms}
    return tuple(name for name in covariates if kept & set(terms[name]))


def _store_without_one(out: ResultsBuilder, without_one: pd.DataFrame) -> None:
    out.table(
        "one_mishap_out",
        ("mishap", "difference", "low", "high"),
        without_one.itertuples(index=False),
        rests_on=COMPARED,
    )
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
    "effect.number_needed",
    "effect.rd_untrained",
    "effect.rd_trained",
    "effect.rd_mishap_average",
    "effect.rr_death_untrained",
    "effect.rd_without_one",
)
