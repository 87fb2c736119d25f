"""Whom is the study about, and who is left out for it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import StudyFileError
from survstats.records.alike import second_source
from survstats.records.loading import Records

_NOT_KNOWN = ("unknown", "na")
_MOST_SHOWN = 12


@dataclass(frozen=True)
class PopulationFilter:
    """Years, aircraft classes, operators and roles that a study is about; what is empty is not restricted.

    Attributes
    ----------
    first_year, last_year : int or None
        Years of the mishap, both included.
    classes, operators, roles : tuple of str
        ``aircraft_class`` and ``operator_code`` of the mishap, ``role`` of the person.
    alike_kept : bool
        Whether mishaps of the same day, class and number aboard are mishaps of their own (an accepted R42) and not
        one told by several sources.
    """

    first_year: int | None = None
    last_year: int | None = None
    classes: tuple[str, ...] = ()
    operators: tuple[str, ...] = ()
    roles: tuple[str, ...] = ()
    alike_kept: bool = False


EVERYBODY = PopulationFilter()


def left_out(frame: pd.DataFrame, chosen: PopulationFilter) -> pd.Categorical:
    """Why each row of a joined frame is not in the study, missing where it is (n occupants).

    ``other_year``, ``other_class``, ``other_operator``, ``other_role``: the first that holds, in this order. Whose
    year, class, operator or role is unknown is left out by a filter on it. The categories are the reasons in force.
    """
    year = frame["event_date"].dt.year
    low, high = chosen.first_year, chosen.last_year
    outside: dict[str, pd.Series[bool]] = {}
    if low is not None or high is not None:
        outside["other_year"] = ~year.between(
            -np.inf if low is None else low, np.inf if high is None else high
        )
    for reason, field, wanted in _lists(chosen):
        if wanted:
            outside[reason] = ~frame[field].isin(wanted)
    codes = np.full(len(frame), -1)
    for code, reason in reversed(list(enumerate(outside))):
        codes[outside[reason].to_numpy(bool)] = code
    return pd.Categorical.from_codes(codes.tolist(), categories=pd.Index(list(outside), dtype=object))


def told_again(mishap: pd.DataFrame, population: PopulationFilter) -> pd.Series[bool]:
    """Whether each row tells again what another tells better, unless the study file says that they are two (g)."""
    return second_source(mishap) & (not population.alike_kept)


def studied_mishaps(mishap: pd.DataFrame, population: PopulationFilter) -> NDArray[np.bool_]:
    """Whether a study is about each mishap, and no other row tells of it better (g)."""
    return np.asarray(mishap_left_out(mishap, population).isna())


def mishap_left_out(mishap: pd.DataFrame, population: PopulationFilter) -> pd.Series[str]:
    """Why a study is not about each mishap: ``second_source`` or a reason of the filter; missing where it is (g)."""
    reasons = np.asarray(left_out(mishap, replace(population, roles=())), dtype=object)
    reasons = np.where(told_again(mishap, population), "second_source", reasons)
    return pd.Series(reasons, index=mishap.index, dtype=object)


def studied_people(
    occupant: pd.DataFrame, mishap: pd.DataFrame, population: PopulationFilter
) -> pd.Series[bool]:
    """Whether a study is about each person: the mishap and the role are in it (n occupants)."""
    inside = mishap.loc[studied_mishaps(mishap, population), "mishap_id"]
    chosen = occupant["mishap_id"].isin(inside)
    return chosen & occupant["role"].isin(population.roles) if population.roles else chosen


def refuse_absent_values(records: Records, chosen: PopulationFilter) -> None:
    """Stop where a filter names what does not occur in the records: a misspelt word must not empty the study.

    Raises
    ------
    StudyFileError
        ``absent_value`` with what does occur.
    """
    years = records.mishap["event_date"].dt.year.dropna()
    if len(years):
        span = f"They are from {years.min():.0f} to {years.max():.0f}."
        if chosen.first_year is not None and years.max() < chosen.first_year:
            raise _absent("first_year", str(chosen.first_year), "every mishap in the records is older", span)
        if chosen.last_year is not None and years.min() > chosen.last_year:
            raise _absent("last_year", str(chosen.last_year), "every mishap in the records is later", span)
    for key, field, wanted in (
        ("classes", "aircraft_class", chosen.classes),
        ("operators", "operator_code", chosen.operators),
        ("roles", "role", chosen.roles),
    ):
        table = records.occupant if field == "role" else records.mishap
        there = sorted(set(table[field].dropna().astype(str)) - set(_NOT_KNOWN))
        for value in wanted:
            if value not in there:
                raise _absent(key, value, f"no {field} in the records is so", f"There are: {_few(there)}.")


def _lists(chosen: PopulationFilter) -> tuple[tuple[str, str, Sequence[str]], ...]:
    return (
        ("other_class", "aircraft_class", chosen.classes),
        ("other_operator", "operator_code", chosen.operators),
        ("other_role", "role", chosen.roles),
    )


def _absent(key: str, value: str, why: str, remedy: str) -> StudyFileError:
    return StudyFileError(
        "absent_value", f"The study file's population.{key} names '{value}': {why}.", remedy
    )


def _few(values: Sequence[str]) -> str:
    shown = ", ".join(value[:40] for value in values[:_MOST_SHOWN]) or "none known"
    more = len(values) - _MOST_SHOWN
    return f"{shown} and {more} more" if more > 0 else shown
