"""What other models of the same people say, and the checks for few mishaps, by id."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pandas as pd

from survstats.effects.augmented import augmented
from survstats.groundwork.resampling import stream
from survstats.models.design import fill_gaps
from survstats.models.fitted import Coefficient
from survstats.models.logistic import fit_logistic
from survstats.models.penalised import fit_firth
from survstats.models.population_average import fit_population_average
from survstats.models.random_intercept import fit_random_intercept, mundlak
from survstats.models.sign_flip import sign_flip_test, smallest_p
from survstats.study.counting import COMPARED
from survstats.study.estimating import CLUSTER, EXPOSURE, OUTCOME, MainEstimate
from survstats.study.results import Number
from survstats.study.results_builder import ResultsBuilder

_LEVEL = 0.95
IDS = (
    "coefficients",
    *("flip.log_odds", "flip.p", "flip.smallest_p", "firth.log_odds"),
    *("effect.rd_augmented", "effect.rd_augmented_untrained", "effect.augmented_gap"),
    *("random.log_odds", "random.spread", "effect.rd_random_intercept"),
    *("random.within", "random.between", "random.difference"),
    "effect.rd_population_average",
)


def store_other_models(out: ResultsBuilder, frame: pd.DataFrame, main: MainEstimate, *, seed: int) -> None:
    """Coefficients, sign-flip, penalised limits, augmented weighting, random intercept, population average.

    ``frame`` are the people compared, in an order that their ids do not decide (signs are drawn mishap by mishap).
    """
    filled, terms, _ = fill_gaps(frame, main.covariates)
    columns = [EXPOSURE, *terms]
    _store_penalised(out, filled, columns, penalised=main.refits.model.penalised)
    _store_sign_flip(out, filled, columns, seed=seed)
    _store_augmented(out, frame, main)
    _store_random_intercept(out, filled, columns, main)
    with out.or_absent("effect.rd_population_average"):
        found = fit_population_average(filled, OUTCOME, columns, cluster=CLUSTER)
        risks = [found.mean_risk(filled, setting={EXPOSURE: value}) for value in (1.0, 0.0)]
        _store_gap(out, "effect.rd_population_average", risks, main, method="population_average")


def _store_penalised(
    out: ResultsBuilder, filled: pd.DataFrame, columns: list[str], *, penalised: bool
) -> None:
    """The penalised log odds ratio with its profile limits, and the coefficients of the likelihood in use."""
    with out.or_absent("firth.log_odds", *(("coefficients",) if penalised else ())):
        firth = fit_firth(filled, OUTCOME, columns, cluster=CLUSTER)
        out.number("firth.log_odds", _log_odds(firth.table[EXPOSURE], "profile"), rests_on=COMPARED)
        if penalised:
            _store_coefficients(out, firth.table)
    if not penalised:
        with out.or_absent("coefficients"):
            _store_coefficients(out, fit_logistic(filled, OUTCOME, columns, cluster=CLUSTER).table)


def _store_coefficients(out: ResultsBuilder, rows: Iterable[Coefficient]) -> None:
    out.table(
        "coefficients",
        ("term", "estimate", "se", "df", "low", "high"),
        [
            (row.term, row.estimate, row.se, None if math.isnan(row.df) else row.df, row.low, row.high)
            for row in rows
        ],
        rests_on=COMPARED,
    )


def _store_sign_flip(out: ResultsBuilder, filled: pd.DataFrame, columns: list[str], *, seed: int) -> None:
    with out.or_absent("flip.log_odds", "flip.p", "flip.smallest_p"):
        found = sign_flip_test(
            filled, OUTCOME, columns, tested=EXPOSURE, cluster=CLUSTER, rng=stream(seed, "sign_flip")
        )
        least = smallest_p(found.mishaps)
        for name, value in (("p", found.p), ("smallest_p", least)):
            out.figure(f"flip.{name}", value, unit="p", method="sign_flip", rests_on=COMPARED)
        out.codes["flip.kind"] = "enumerated" if found.enumerated else "drawn"
        estimate = Number(
            found.estimate,
            "log_odds",
            "sign_flip_penalised" if found.penalised else "sign_flip",
            found.low,
            found.high,
            found.level,
            mishaps=found.mishaps,
            occupants=len(filled),
        )
        out.number("flip.log_odds", estimate, rests_on=COMPARED)


def _store_augmented(out: ResultsBuilder, frame: pd.DataFrame, main: MainEstimate) -> None:
    names = [f"effect.{name}" for name in ("rd_augmented", "rd_augmented_untrained", "augmented_gap")]
    with out.or_absent(*names):
        found = augmented(
            frame, outcome=OUTCOME, exposure=EXPOSURE, covariates=main.covariates, cluster=CLUSTER
        )
        for name, part in zip(
            names, (found.difference, found.untrained, found.minus_standardised), strict=True
        ):
            out.estimate(name, part, rests_on=COMPARED)
        gap = found.minus_standardised
        out.codes["effect.roads"] = "apart" if abs(gap.value) > gap.se else "alike"


def _store_random_intercept(
    out: ResultsBuilder, filled: pd.DataFrame, columns: list[str], main: MainEstimate
) -> None:
    with out.or_absent("random.log_odds", "random.spread", "effect.rd_random_intercept"):
        found = fit_random_intercept(filled, OUTCOME, columns, cluster=CLUSTER)
        out.number("random.log_odds", _log_odds(found.table[EXPOSURE], "random_intercept"), rests_on=COMPARED)
        spread = Number(
            found.spread, "log_odds", "random_intercept", found.spread_low, found.spread_high, _LEVEL
        )
        out.number("random.spread", spread, rests_on=COMPARED)
        out.codes["random.spread_state"] = (
            "none" if "no_spread" in {notice.code for notice in found.notices} else "some"
        )
        risks = [found.marginal_risk(filled, setting={EXPOSURE: value}) for value in (1.0, 0.0)]
        _store_gap(out, "effect.rd_random_intercept", risks, main, method="random_intercept")
    with out.or_absent("random.within", "random.between", "random.difference"):
        split = mundlak(filled, OUTCOME, columns, split=EXPOSURE, cluster=CLUSTER)
        for name in ("within", "between", "difference"):
            out.number(
                f"random.{name}", _log_odds(getattr(split, name), "within_and_between"), rests_on=COMPARED
            )
        apart = split.difference.low > 0 or split.difference.high < 0
        out.codes["random.reading"] = "differ" if apart else "not_told_apart"


def _log_odds(row: Coefficient, method: str) -> Number:
    df = row.df if math.isfinite(row.df) else None
    return Number(row.estimate, "log_odds", method, row.low, row.high, _LEVEL, df)


def _store_gap(
    out: ResultsBuilder, name: str, risks: list[float], main: MainEstimate, *, method: str
) -> None:
    model = main.refits.model
    number = Number(
        risks[0] - risks[1], "difference", method, mishaps=model.mishaps, occupants=model.occupants
    )
    out.number(name, number, rests_on=COMPARED)
