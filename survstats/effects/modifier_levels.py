"""Which levels of a modifier hold enough people to stand on their own?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import CallError

#: A level stands on its own with at least so many people who died, who lived, who were trained and who were not, from
#: so many mishaps, and with either training group in two mishaps (common practice, no source).
FEWEST_PEOPLE = 5
FEWEST_MISHAPS = 5
NOT_KNOWN = "unknown"


@dataclass(frozen=True)
class LeftOut:
    """A level that is too thin to stand on its own; its people are in none of the levels.

    Attributes
    ----------
    level : str
    occupants : int
    reason : str
        ``not_known``, ``one_arm``, ``few_people``, ``few_mishaps``, ``arm_in_one_mishap``.
    """

    level: str
    occupants: int
    reason: str


def levels_of(frame: pd.DataFrame, modifier: str) -> tuple[NDArray[np.object_], list[str]]:
    """The level of each row as text (n,), gaps as ``unknown``, and the levels in order.

    Parameters
    ----------
    frame : DataFrame of n rows
    modifier : str
        A categorical, yes-or-no or 0-or-1 column. Levels stand in the order of a categorical dtype, else sorted.

    Raises
    ------
    CallError
        ``missing_column``, ``numeric_modifier``.
    """
    if modifier not in frame.columns:
        raise CallError("missing_column", f"The rows have no column '{modifier}'.")
    data = frame[modifier]
    present = set(data.dropna().unique())
    if isinstance(data.dtype, pd.CategoricalDtype):
        texts = {one: str(one) for one in data.cat.categories if one in present}
    elif pd.api.types.is_bool_dtype(data):
        texts = {one: "yes" if one else "no" for one in sorted(present)}
    elif not pd.api.types.is_numeric_dtype(data):
        texts = {one: str(one) for one in sorted(present, key=str)}
    elif present <= {0, 1}:
        texts = {one: str(int(one)) for one in sorted(present)}
    else:
        raise CallError("numeric_modifier", f"'{modifier}' is a number; a modifier must have levels.")
    names = data.astype(object).map(texts).fillna(NOT_KNOWN).to_numpy(dtype=object)
    order = [text for text in texts.values() if text != NOT_KNOWN]
    return names, [*order, NOT_KNOWN] if (names == NOT_KNOWN).any() else order


def too_thin(people: pd.DataFrame, name: str, *, outcome: str, exposure: str, cluster: str) -> str | None:
    """Why a level cannot stand on its own, as in `LeftOut`; None where it can.

    Parameters
    ----------
    people : DataFrame
        The rows of the level; ``outcome`` and ``exposure`` hold 0 and 1.
    name : str
        The level.
    outcome, exposure, cluster : str
        Column names.
    """
    if name == NOT_KNOWN:
        return "not_known"
    if people[exposure].nunique() < 2:
        return "one_arm"
    smallest = min(int((people[column] == value).sum()) for column in (outcome, exposure) for value in (0, 1))
    if smallest < FEWEST_PEOPLE:
        return "few_people"
    if people[cluster].nunique() < FEWEST_MISHAPS:
        return "few_mishaps"
    return "arm_in_one_mishap" if people.groupby(exposure)[cluster].nunique().min() < 2 else None
