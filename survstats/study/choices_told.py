"""What the other ways of asking the question, listed beforehand, say, by id."""

from __future__ import annotations

import pandas as pd

from survstats.challenge.choices import (
    Tried,
    different,
    inside,
    inside_range,
    listed_choices,
    same_sign,
    same_sign_range,
    try_choices,
)
from survstats.challenge.doubt_figures import ChoicesFigures
from survstats.challenge.verdict import Interval
from survstats.effects.imputation import Imputed
from survstats.study import beside
from survstats.study.counting import COMPARED
from survstats.study.estimating import CLUSTER
from survstats.study.everybody import Everybody
from survstats.study.graph_told import held_equal
from survstats.study.imputing import RESTS_ON
from survstats.study.plan import Study
from survstats.study.results_builder import ResultsBuilder

IDS = (
    *("choices.estimated", "choices.not_made", "choices.different", "choices.same_sign", "choices.inside"),
    *("choices.smallest", "choices.largest", "choices"),
)


def store_choices(
    out: ResultsBuilder,
    study: Study,
    people: Everybody,
    imputed: Imputed | None,
    about: Interval,
    *,
    whole: bool,
) -> ChoicesFigures:
    """Every listed choice tried, and how many agree with what was found.

    Parameters
    ----------
    out : ResultsBuilder
    study : Study
    people : Everybody
    imputed : Imputed or None
        The completed sets of the primary population.
    about : Interval
        The main difference and what is worth having; with no sign there is nothing to agree with.
    whole : bool
        Whether each choice gets its interval.
    """
    listed = len(listed_choices())
    out.figure("choices.listed", listed, unit="count", method="rule")
    if about.sign == 0:
        out.leave_out(out.absent.get("effect.rd", "few_mishaps"), *IDS)
        return ChoicesFigures(listed, None)
    populations = _populations(people)
    without_role = tuple(name for name in study.covariates if name != "role")
    tried = try_choices(
        populations,
        covariates={
            "P1": study.covariates,
            "unknown_survivability": study.covariates,
            "passengers": without_role,
            "P2": held_equal(study.covariates, population="P2"),
        },
        imputed=imputed,
        cluster=CLUSTER,
        intervals=whole,
    )
    if whole:
        _store_table(out, tried)
    known = [one.value for one in tried if one.value is not None]
    if not known:
        out.leave_out(tried[0].reason or "not_converged", *IDS)
        return ChoicesFigures(listed, None)
    agreeing, within = same_sign(tried, about.sign), inside(tried, about.worthwhile)
    for name, count in (
        ("estimated", len(known)),
        ("not_made", listed - len(known)),
        ("different", different(tried)),
        ("same_sign", agreeing),
        ("inside", within),
    ):
        out.count(f"choices.{name}", count, rests_on=COMPARED)
    for name, value in (("smallest", min(known)), ("largest", max(known))):
        out.figure(f"choices.{name}", value, unit="difference", method="choices", rests_on=RESTS_ON)
    if about.rule == "inside":
        return ChoicesFigures(listed, within, *inside_range(tried, about.worthwhile))
    return ChoicesFigures(listed, agreeing, *same_sign_range(tried, about.sign))


def _populations(people: Everybody) -> dict[str, pd.DataFrame]:
    added = beside.perhaps_survivable(people.derived)
    primary = people.primary.frame
    return {
        "P1": primary,
        "passengers": people.passengers.frame,
        "unknown_survivability": pd.concat([primary, added], ignore_index=True) if len(added) else primary,
        "P2": people.everyone.frame,
    }


def _store_table(out: ResultsBuilder, tried: tuple[Tried, ...]) -> None:
    columns = ("number", "family", "population", "exposure", "covariates", "missing", "estimator")
    out.table(
        "choices",
        (*columns, "difference", "low", "high", "reason"),
        [
            (*(getattr(one.choice, name) for name in columns), one.value, one.low, one.high, one.reason)
            for one in tried
        ],
        rests_on=RESTS_ON,
    )
