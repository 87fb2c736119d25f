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


def store_pair(
    out: ResultsBuilder,
    frame: pd.DataFrame,
    covariates: Sequence[str],
    *,
    name: str,
    fields: Sequence[str],
    added: str,
    whole: Effect | None,
) -> None:
    """The primary estimate without and with a group of fields that training can move.

    Parameters
    ----------
    out : ResultsBuilder
    frame : DataFrame
    covariates : sequence of str
    name : str
        As in ``effect.rd_with_<name>``.
    fields : sequence of str
        The group; empty where training cannot have moved it in these records, and then there is no pair.
    added : str
        What is added where the study adjusts for none of them.
    whole : Effect or None
        The main estimate, which is one of the two where the study adjusts for any of them.
    """
    names = {kind: f"effect.rd_{kind}_{name}" for kind in ("without", "with")}
    if not fields:
        out.leave_out("not_moved", *names.values())
        return
    without = tuple(field for field in covariates if field not in fields)
    chosen = {
        "without": without,
        "with": (*covariates, added) if without == tuple(covariates) else covariates,
    }
    for kind, held in chosen.items():
        if held is covariates and whole is not None:
            out.estimate(names[kind], whole.difference, rests_on=COMPARED)
        elif kind == "with" and added in held and frame[added].nunique() < 2:
            out.leave_out("no_free_column", names[kind])
        else:
            with out.or_absent(names[kind]):
                found = standardise(model_of(frame, held)).difference
                out.estimate(names[kind], found, rests_on=COMPARED)
