"""Whether the difference hangs on circumstances that the study file lists, by id."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd

from survstats.effects.mediators import moved_by_training
from survstats.effects.modification import Modification, modification, shrink, spread_beyond_chance
from survstats.effects.question import for_passengers_only
from survstats.effects.standardise import Effect
from survstats.study.counting import COMPARED
from survstats.study.estimating import CLUSTER, EXPOSURE, OUTCOME
from survstats.study.results_builder import ResultsBuilder, people

IDS = ("modifiers", "modifier_contrasts")


def with_circumstances(frame: pd.DataFrame, *, cold_water_c: float | None) -> pd.DataFrame:
    """The rows with ``cold_water``: below the study's limit, yes, no or unknown."""
    water = frame["water_temp_c"].to_numpy(float)
    limit = np.nan if cold_water_c is None else cold_water_c
    cold = np.select([water < limit, water >= limit], ["yes", "no"], default="unknown")
    return frame.assign(cold_water=pd.Categorical(cold, categories=["no", "yes", "unknown"]))


def store_circumstances(
    out: ResultsBuilder,
    modifiers: Sequence[str],
    *,
    everyone: tuple[pd.DataFrame, Sequence[str], Effect | None],
    passengers: tuple[pd.DataFrame, Sequence[str], Effect | None],
) -> None:
    """The difference at each level of each listed modifier, shrunken towards the whole, and between levels.

    The code ``modifiers.spread`` is ``none_seen`` where levels spread no more than chance alone would make them: then
    every shrunken value is that of the whole.

    Parameters
    ----------
    out : ResultsBuilder
    modifiers : sequence of str
    everyone, passengers : (DataFrame, sequence of str, Effect or None)
        The people compared, what is held equal, and their difference; passengers serve where flight crew's own
        training moves the circumstance.
    """
    if not modifiers:
        out.leave_out("none_listed", *IDS)
        return
    found: list[tuple[Modification, pd.DataFrame, Effect]] = []
    left_out: list[str] = []
    for name in modifiers:
        frame, covariates, overall = passengers if for_passengers_only(name) else everyone
        if overall is None:
            whole = "effect.rd_passengers" if for_passengers_only(name) else "effect.rd"
            out.absent[f"modifiers.{name}"] = out.absent.get(whole, "not_estimated")
            left_out.append(f"{name} {out.absent[f'modifiers.{name}']}")
            continue
        with out.or_absent(f"modifiers.{name}"):
            one = modification(
                frame,
                outcome=OUTCOME,
                exposure=EXPOSURE,
                covariates=covariates,
                modifier=name,
                cluster=CLUSTER,
                overall=overall,
            )
            found.append((one, frame, overall))
            left_out += [f"{name} {level.level} {level.reason}" for level in one.left_out]
        if (reason := out.absent.get(f"modifiers.{name}")) is not None:
            left_out.append(f"{name} {reason}")
    out.lists["modifiers.left_out"] = left_out
    out.lists["modifiers.passengers_only"] = [name for name in modifiers if for_passengers_only(name)]
    out.lists["modifiers.moved_by_training"] = [
        name for name in modifiers if moved_by_training(everyone[0], name) is not None
    ]
    if not found:
        reasons = {out.absent[f"modifiers.{name}"] for name in modifiers}
        out.leave_out(reasons.pop() if len(reasons) == 1 else "one_level", *IDS)
        return
    _store_levels(out, found)


def _store_levels(out: ResultsBuilder, found: Sequence[tuple[Modification, pd.DataFrame, Effect]]) -> None:
    levels, contrasts = [], []
    every = [one for one, _, _ in found]
    for at, (one, frame, overall) in enumerate(found):
        for level in shrink(every, overall=overall)[at].levels:
            inside = frame[frame[one.modifier].astype(object).astype(str) == level.level]
            difference = level.difference
            levels.append(
                (
                    one.modifier,
                    level.level,
                    people(inside["file_row"]),
                    people(inside.loc[inside[EXPOSURE] == 1, "file_row"]),
                    people(inside.loc[inside[OUTCOME] == 0, "file_row"]),
                    *(difference.value, difference.low, difference.high, level.shrunken),
                )
            )
        for between in one.contrasts:
            difference = between.difference
            contrasts.append(
                (
                    *(one.modifier, between.level, between.against),
                    *(difference.value, difference.low, difference.high),
                )
            )
    out.codes["modifiers.spread"] = "some" if spread_beyond_chance(every) > 0 else "none_seen"
    out.table(
        "modifiers",
        ("modifier", "level", "occupants", "trained", "died", "difference", "low", "high", "shrunken"),
        levels,
        rests_on=COMPARED,
    )
    out.table(
        "modifier_contrasts",
        ("modifier", "level", "against", "difference", "low", "high"),
        contrasts,
        rests_on=COMPARED,
    )
