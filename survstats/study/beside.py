"""The same question asked of other people, or with other things held equal, by id."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from survstats.effects.crude import crude_difference
from survstats.effects.standardise import Effect, standardise
from survstats.groundwork.errors import NotEstimable
from survstats.study.counting import COMPARED, note_compared
from survstats.study.estimating import CLUSTER, EXPOSURE, FEWEST_MISHAPS, OUTCOME, model_of
from survstats.study.results_builder import ResultsBuilder


def store_population(
    out: ResultsBuilder, frame: pd.DataFrame, covariates: Sequence[str], *, name: str
) -> Effect | None:
    """The same estimate in another population, stored as ``effect.rd_<name>`` with its ratios."""
    rests_on = (*COMPARED, *note_compared(out, frame, prefix=f"effect.{name}"))
    try:
        effect = standardise(model_of(frame, covariates))
    except NotEstimable as fault:
        out.leave_out(
            fault.reason, *(f"effect.{number}_{name}" for number in ("rd", "rr_survival", "rr_death"))
        )
        return None
    out.estimate(f"effect.rd_{name}", effect.difference, rests_on=rests_on)
    out.estimate(f"effect.rr_survival_{name}", effect.survival_ratio, rests_on=rests_on)
    out.estimate(f"effect.rr_death_{name}", effect.death_ratio, rests_on=rests_on)
    return effect


def store_crude(out: ResultsBuilder, frame: pd.DataFrame) -> None:
    """The difference without any adjustment; with too few mishaps its interval would say nothing."""
    if frame[CLUSTER].nunique() < FEWEST_MISHAPS:
        out.leave_out("few_mishaps", "crude.rd")
        return
    with out.or_absent("crude.rd"):
        difference = crude_difference(frame, outcome=OUTCOME, exposure=EXPOSURE, cluster=CLUSTER)
        out.estimate("crude.rd", difference, rests_on=COMPARED, counted="cohort.analysed")


def store_unknown_survivability(
    out: ResultsBuilder, derived: pd.DataFrame, analysed: pd.DataFrame, covariates: Sequence[str]
) -> None:
    """The primary estimate with the mishaps added of which nobody said whether the impact could be survived."""
    name = "effect.rd_unknown_survivability"
    added = perhaps_survivable(derived)
    added = added[added["trained"].notna()]
    if added.empty:
        out.leave_out("none_added", name)
        return
    frame = pd.concat([analysed, added], ignore_index=True)
    rests_on = (*COMPARED, *note_compared(out, frame, prefix="effect.unknown_survivability"))
    with out.or_absent(name):
        out.estimate(name, standardise(model_of(frame, covariates)).difference, rests_on=rests_on)


def perhaps_survivable(derived: pd.DataFrame) -> pd.DataFrame:
    """People alive at immersion, or who lived, in mishaps of unknown survivability that the study is about."""
    alive = derived["alive_at_immersion"]
    unknown = ~derived["impact_survivability"].isin(["survivable", "partially_survivable", "none"])
    return derived[
        derived["in_p2"] & unknown & (alive.eq("yes") | (derived["survived"].eq(1) & ~alive.eq("no")))
    ]
