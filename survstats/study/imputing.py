"""What the difference would be with unknown training and gaps imputed, and where it would vanish, by id."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survstats.challenge.moved_unknown import Tipping, moved_unknown, tipping
from survstats.effects.imputation import ImputationPlan, Imputed, impute
from survstats.effects.imputed_effect import DeltaPoint, delta_range, imputed_effect
from survstats.effects.missing_values import ALWAYS, UNKNOWN
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.groundwork.resampling import stream
from survstats.study.counting import COMPARED
from survstats.study.estimating import OUTCOME, MainEstimate, quartet
from survstats.study.plan import Study
from survstats.study.results_builder import ResultsBuilder, people

IDS = (
    *("imputed.people", "imputed.people_died", "imputed.draws", "imputed.iterations"),
    *("imputed.fraction_missing", "effect.rd_imputed", "imputation_chains"),
)
TIPPING_IDS = ("tipping.expected", "tipping.not_beyond_chance", "tipping.no_difference", "tipping")
#: Ids of the number from which on something is gone, and of the least and greatest number where it comes back.
_CROSSING = {"chance": "not_beyond_chance", "difference": "no_difference"}
#: Fields that the papers know by another name among the predictors of training.
_CODES = {"died_on_impact": "impact_death"}
_NOT_COMPARED = ("unknown", "lapsed", "briefing")
RESTS_ON = (
    *COMPARED,
    *(f"seen.{name}_{fate}" for name in _NOT_COMPARED for fate in ("survived", "died")),
)


def plan_of(study: Study, frame: pd.DataFrame) -> ImputationPlan:
    """How unknown training is drawn in a study; what is known of a date is never drawn against.

    Fields of which nothing is known of anybody in ``frame`` predict nothing and are left out.
    """
    return ImputationPlan(
        covariates=tuple(name for name in study.covariates if _known(frame, name)),
        always=tuple(name for name in ALWAYS if _known(frame, name)),
        draws=study.plan.imputation.draws,
        currency_months=study.plan.question.currency_months,
    )


def _known(frame: pd.DataFrame, name: str) -> bool:
    return name in frame and bool((frame[name].notna() & frame[name].astype(object).ne(UNKNOWN)).any())


def draw_unknown(out: ResultsBuilder, frame: pd.DataFrame, study: Study, *, whole: bool) -> Imputed | None:
    """The completed sets of the primary population; None where they cannot be drawn.

    Parameters
    ----------
    out : ResultsBuilder
    frame : DataFrame
        Everyone in the primary population, in an order that their ids do not decide.
    study : Study
    whole : bool
        Whether the difference in these sets, and how the chains went, are stored.
    """
    with out.or_absent(*IDS):
        imputed = impute(frame, plan=plan_of(study, frame), rng=stream(study.plan.run.seed, "imputation"))
        if whole:
            _store_effect(out, frame, imputed, study.covariates)
        return imputed
    return None


def _store_effect(
    out: ResultsBuilder, frame: pd.DataFrame, imputed: Imputed, covariates: Sequence[str]
) -> None:
    with out.or_absent(*IDS):
        found = imputed_effect(imputed, **quartet(covariates))
        out.estimate("effect.rd_imputed", found.difference, rests_on=RESTS_ON)
        out.figure(
            "imputed.fraction_missing",
            found.fraction_missing,
            unit="share",
            method="rubin",
            rests_on=RESTS_ON,
        )
        _store_chains(out, frame, imputed)


def moved(imputed: Imputed | None, covariates: Sequence[str]) -> tuple[DeltaPoint, ...] | None:
    """The differences with the unknown dead trained less and more often than expected; None where not to be had."""
    if imputed is None or not imputed.people:
        return None
    try:
        return moved_unknown(imputed, **quartet(covariates))
    except NotEstimable:
        return None


def store_tipping(
    out: ResultsBuilder, imputed: Imputed | None, covariates: Sequence[str], main: MainEstimate | None
) -> Tipping | None:
    """How many of the unknown dead would have to have been trained for the difference to vanish, if it can be had."""
    out.count_people("tipping.unknown_dead", people(out.people["seen.unknown_died"]))
    if not out.people["seen.unknown_died"]:
        out.leave_out("nobody_unknown", *TIPPING_IDS)
        return None
    if imputed is None or main is None:
        out.leave_out(out.absent.get("imputed.people", "few_mishaps"), *TIPPING_IDS)
        return None
    with out.or_absent(*TIPPING_IDS):
        found = tipping(imputed, **quartet(covariates), sign=main.effect.difference.value)
        _people(out, "expected", found.expected)
        out.codes["tipping.way"] = "fewer" if main.effect.difference.value < 0 else "more"
        for what, gone in (("chance", found.chance), ("difference", found.difference)):
            out.codes[f"tipping.{what}_state"] = gone.state
            if gone.people is not None:
                _people(out, _CROSSING[what], gone.people)
            out.leave_out(gone.state, f"tipping.{_CROSSING[what]}")
            for end, number in zip(("from", "to"), gone.between or (), strict=False):
                _people(out, f"{what}_{end}", number)
        rows = [(each.trained_died, *_limits(each.difference)) for each in found.points]
        out.table("tipping", ("trained_died", "difference", "low", "high"), rows, rests_on=RESTS_ON)
        return found
    return None


def _people(out: ResultsBuilder, name: str, number: float) -> None:
    out.figure(f"tipping.{name}", number, unit="people", method="imputed", rests_on=RESTS_ON)


def store_delta(out: ResultsBuilder, imputed: Imputed | None, covariates: Sequence[str]) -> None:
    """The range over what cannot be known."""
    if imputed is None or "effect.rd_imputed" not in out.numbers:
        out.leave_out(out.absent.get("effect.rd_imputed", "few_mishaps"), "imputation_delta")
        return
    with out.or_absent("imputation_delta"):
        points = delta_range(imputed, **quartet(covariates))
        out.table(
            "imputation_delta",
            ("delta_dead", "delta_survivors", "difference", "low", "high"),
            [(each.delta_dead, each.delta_survivors, *_limits(each.difference)) for each in points],
            rests_on=RESTS_ON,
        )


def _limits(found: Estimate) -> tuple[float, float, float]:
    return found.value, found.low, found.high


def _store_chains(out: ResultsBuilder, frame: pd.DataFrame, imputed: Imputed) -> None:
    unknown = frame.iloc[imputed.unknown]
    out.count_people("imputed.people", people(unknown["file_row"]))
    out.count_people("imputed.people_died", people(unknown.loc[unknown[OUTCOME] == 0, "file_row"]))
    out.lists["imputed.fields"] = list(imputed.fields)
    out.lists["imputed.leans_on"] = [_CODES.get(name, name) for name in imputed.leans_on]
    out.lists["imputed.left_out"] = [_CODES.get(name, name) for name in imputed.left_out]
    out.figure("imputed.draws", imputed.draws, unit="draws", method="study_file")
    out.figure("imputed.iterations", imputed.iterations, unit="rounds", method="rule")
    out.table(
        "imputation_chains",
        ("draw", "iteration", "quantity", "value"),
        [
            (int(draw), int(iteration), str(quantity), float(value))
            for draw, iteration, quantity, value in imputed.chains[
                ["draw", "iteration", "quantity", "value"]
            ].itertuples(index=False)
        ],
        rests_on=RESTS_ON,
    )
    for notice in imputed.notices:
        out.notices.append((notice.code, dict(notice.values)))
