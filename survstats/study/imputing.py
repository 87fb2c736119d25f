"""What the difference would be with unknown training and gaps imputed, by id."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survstats.effects.imputation import ImputationPlan, Imputed, impute
from survstats.effects.imputed_effect import delta_range, imputed_effect
from survstats.groundwork.resampling import stream
from survstats.study.counting import COMPARED
from survstats.study.estimating import CLUSTER, EXPOSURE, OUTCOME
from survstats.study.results_builder import ResultsBuilder, people

IDS = (
    *("imputed.people", "imputed.people_died", "imputed.draws", "imputed.iterations"),
    *("imputed.fraction_missing", "effect.rd_imputed", "imputation_chains", "imputation_delta"),
)
#: Fields that the papers know by another name among the predictors of training.
_CODES = {"died_on_impact": "impact_death"}
_NOT_COMPARED = ("unknown", "lapsed", "briefing")
_RESTS_ON = (
    *COMPARED,
    *(f"seen.{name}_{fate}" for name in _NOT_COMPARED for fate in ("survived", "died")),
)


def store_imputed(
    out: ResultsBuilder,
    frame: pd.DataFrame,
    covariates: Sequence[str],
    *,
    currency_months: float,
    draws: int,
    seed: int,
    delta: bool = True,
) -> None:
    """The difference with unknown training imputed, how the chains went, and the range over what cannot be known.

    Parameters
    ----------
    out : ResultsBuilder
    frame : DataFrame
        Everyone in the primary population, in an order that their ids do not decide.
    covariates : sequence of str
    currency_months : float
        How long training counts as current; what is known of a date is never drawn against.
    draws, seed : int
    delta : bool
        Whether the range is made.
    """
    plan = ImputationPlan(covariates=tuple(covariates), draws=draws, currency_months=currency_months)
    with out.or_absent(*IDS):
        imputed = impute(frame, plan=plan, rng=stream(seed, "imputation"))
        found = imputed_effect(
            imputed, outcome=OUTCOME, exposure=EXPOSURE, covariates=covariates, cluster=CLUSTER
        )
        out.estimate("effect.rd_imputed", found.difference, rests_on=_RESTS_ON)
        out.figure(
            "imputed.fraction_missing",
            found.fraction_missing,
            unit="share",
            method="rubin",
            rests_on=_RESTS_ON,
        )
        _store_chains(out, frame, imputed)
    if "effect.rd_imputed" not in out.numbers or not delta:
        return
    with out.or_absent("imputation_delta"):
        points = delta_range(
            imputed, outcome=OUTCOME, exposure=EXPOSURE, covariates=covariates, cluster=CLUSTER
        )
        out.table(
            "imputation_delta",
            ("delta_dead", "delta_survivors", "difference", "low", "high"),
            [
                (
                    point.delta_dead,
                    point.delta_survivors,
                    point.difference.value,
                    point.difference.low,
                    point.difference.high,
                )
                for point in points
            ],
            rests_on=_RESTS_ON,
        )


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
        rests_on=_RESTS_ON,
    )
    for notice in imputed.notices:
        out.notices.append((notice.code, dict(notice.values)))
