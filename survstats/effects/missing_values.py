"""What is missing in a population's rows, and what may stand there?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.records.deriving import DAYS_PER_MONTH, HANDS_ON, training_span

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.int64]

#: Order of the training statuses in the last axis of every array of chances.
STATUSES = ("current", "lapsed", "none", "briefing_or_dry_only")
CURRENT, LAPSED, NEVER, BRIEFED = range(4)
UNKNOWN = "unknown"

#: Predictors of every imputation model, where the rows have them; the study's own covariates come after them.
ALWAYS = ("survived", "died_on_impact", "role", "far_seat", "operator_code", "era")


@dataclass(frozen=True)
class ImputationPlan:
    """How unknown training and gaps are filled in.

    Attributes
    ----------
    covariates : tuple of str
        Fields the study adjusts for.
    draws : int
        How many completed sets (m), at least 2.
    iterations : int
        Turns of each chain, at least 1.
    outcome, cluster : str
        Columns: 1 survived; the mishap's label.
    always : tuple of str
        Predictors beside the covariates. Without the outcome among them the effect is drawn towards nothing.
    currency_months : float, optional
        How old a hands-on course may be to count as current. With it, a date that is known rules out statuses.
    """

    covariates: tuple[str, ...]
    draws: int = 20
    iterations: int = 10
    outcome: str = "survived"
    cluster: str = "mishap_id"
    always: tuple[str, ...] = ALWAYS
    currency_months: float | None = None


@dataclass(frozen=True)
class Field:
    """One predictor.

    Attributes
    ----------
    name : str
    levels : tuple
        Levels of a category that were seen, in order; empty for a number.
    values : (n,) array
        The number, or the position of the level; NaN where missing.
    by_mishap : bool
        Whether everyone of a mishap shares the value.
    """

    name: str
    levels: tuple[Any, ...]
    values: Floats
    by_mishap: bool

    @property
    def gaps(self) -> Bools:
        """Who has no value, shape (n,)."""
        return np.isnan(self.values)


@dataclass(frozen=True)
class Gaps:
    """The rows as arrays, with what is known of those whose training is not.

    Attributes
    ----------
    fields : tuple of Field
        The predictors, those that matter most to the question first; the outcome is not among them.
    outcome : (n,) array
    with_outcome : bool
        Whether the outcome is a predictor.
    codes : (n,) array of int
        Mishap of each row, 0 to g - 1.
    mishaps : int
    status : (n,) array of int
        Position in `STATUSES`; -1 where unknown.
    allowed : (n, 4) bool array
        Statuses that what is known leaves open.
    """

    fields: tuple[Field, ...]
    outcome: Floats
    with_outcome: bool
    codes: Codes
    mishaps: int
    status: Codes
    allowed: Bools

    @property
    def unknown(self) -> NDArray[np.intp]:
        """Rows of unknown status, shape (u,)."""
        return np.flatnonzero(self.status < 0)


def find_gaps(frame: pd.DataFrame, plan: ImputationPlan) -> Gaps:
    """Read a population's rows for imputation.

    Empty and ``unknown`` are gaps; ``na`` is a value. A status can only be what the rest of the person's
    training entry leaves open: a hands-on course of unknown date was current or lapsed, training of unknown
    kind was not none, and whose last course of any kind lies too far back was not current. The outcome and who
    belongs to the population are never imputed.

    Raises
    ------
    NotEstimable
        ``no_rows``; ``nothing_missing``; ``one_mishap``; ``one_outcome`` or ``one_arm`` where training is known
        of nobody who died, lived, is trained or never was; ``missing_value`` where a field has no value at all.
    CallError
        ``missing_column``, ``too_few_draws``.
    """
    if plan.draws < 2 or plan.iterations < 1:
        raise CallError("too_few_draws", "Imputation needs two draws and one iteration at least.")
    names = [name for name in plan.always if name in frame.columns and name != plan.outcome]
    names = list(dict.fromkeys([*names, *plan.covariates]))
    for name in (plan.outcome, plan.cluster, "trained_status", *plan.covariates):
        if name not in frame.columns:
            raise CallError("missing_column", f"The rows have no column '{name}'.")
    if frame.empty:
        raise NotEstimable("no_rows", "No one is left to compare.")
    codes, labels = pd.factorize(frame[plan.cluster], sort=True)
    order = {status: place for place, status in enumerate(STATUSES)}
    places = frame["trained_status"].astype(object).map(order).fillna(-1)
    status: Codes = np.asarray(places.to_numpy(), dtype=np.int64)
    found = Gaps(
        fields=tuple(_field(frame[name], codes) for name in names),
        outcome=frame[plan.outcome].to_numpy(float),
        with_outcome=plan.outcome in plan.always,
        codes=codes.astype(np.int64),
        mishaps=len(labels),
        status=status,
        allowed=_allowed(frame, status, plan.currency_months),
    )
    _refuse(found)
    return found


def written_back(field: Field, values: Floats, like: pd.Series) -> Any:
    """Completed values (n,) in the type of the column they belong to."""
    if not field.levels:
        return values
    places = values.astype(np.int64)
    if isinstance(like.dtype, pd.CategoricalDtype):
        categories = list(like.cat.categories)
        position = [categories.index(level) for level in field.levels]
        return pd.Categorical.from_codes([position[at] for at in places], dtype=like.dtype)
    return np.array(field.levels, dtype=like.to_numpy().dtype)[places]


def _field(data: pd.Series, codes: NDArray[Any]) -> Field:
    numeric = pd.api.types.is_numeric_dtype(data) and not isinstance(data.dtype, pd.CategoricalDtype)
    levels: tuple[Any, ...] = ()
    if numeric:
        values = data.to_numpy(dtype=float, na_value=np.nan)
    else:
        known = data.where(data.notna() & data.astype(object).ne(UNKNOWN)).astype(object)
        present = list(known.dropna().unique())
        listed = data.cat.categories if isinstance(data.dtype, pd.CategoricalDtype) else sorted(present)
        levels = tuple(level for level in listed if level in present)
        values = known.map({level: float(place) for place, level in enumerate(levels)}).to_numpy(float)
    if np.isnan(values).all():
        raise NotEstimable("missing_value", f"'{data.name}' is missing in every row.", "Leave the term out.")
    return Field(str(data.name), levels, values, _shared(values, codes))


def _shared(values: Floats, codes: NDArray[Any]) -> bool:
    """Whether all rows of a mishap have the same value, or all have none."""
    _, first = np.unique(codes, return_index=True)
    theirs = values[first][codes]
    return bool(np.all((values == theirs) | (np.isnan(values) & np.isnan(theirs))))


def _allowed(frame: pd.DataFrame, status: Codes, currency_months: float | None) -> Bools:
    """Statuses (n, 4) that the person's training entry leaves open; of a known status, itself alone."""
    allowed = np.ones((len(frame), len(STATUSES)), dtype=bool)
    if {"training_ever", "training_type"} <= set(frame.columns):
        kind = frame["training_type"].astype(object)
        hands_on = kind.isin(HANDS_ON).to_numpy(bool)
        trained = frame["training_ever"].astype(object).eq("yes").to_numpy(bool)
        allowed[hands_on] = _only(CURRENT, LAPSED)
        allowed[trained & ~hands_on] = _only(CURRENT, LAPSED, BRIEFED)
        allowed[kind.isin(["dry_only", "briefing_only"]).to_numpy(bool)] = _only(BRIEFED)
        allowed[kind.eq("none").to_numpy(bool)] = _only(NEVER)
        if {"training_last_date", "training_date_precision", "event_date"} <= set(frame.columns):
            _rule_out_by_date(allowed, frame, hands_on, currency_months)
    known = status >= 0
    allowed[known] = status[known, None] == np.arange(len(STATUSES))
    return allowed


def _rule_out_by_date(
    allowed: Bools, frame: pd.DataFrame, hands_on: Bools, currency_months: float | None
) -> None:
    """Strike out, in place, what the date of the last course forbids, wherever in its month or year it lay.

    Nobody is current whose last course of any kind is too old, nor lapsed whose last course was hands-on and is not.
    A course after the mishap says nothing of training before it.
    """
    earliest, _, latest = training_span(frame)
    event = frame["event_date"].to_numpy("datetime64[D]")
    if currency_months is not None:
        longest, day = currency_months * DAYS_PER_MONTH, np.timedelta64(1, "D")
        allowed[:, CURRENT] &= ~((event - latest) / day > longest)
        allowed[:, LAPSED] &= ~(hands_on & ((event - earliest) / day <= longest))
    allowed[earliest > event] = True


def _only(*places: int) -> Bools:
    return np.isin(np.arange(len(STATUSES)), places)


def _refuse(found: Gaps) -> None:
    if not len(found.unknown) and not any(field.gaps.any() for field in found.fields):
        raise NotEstimable("nothing_missing", "Nothing is missing that could be imputed.")
    if found.mishaps < 2:
        raise NotEstimable("one_mishap", "All occupants come from one mishap.")
    if set(np.unique(found.outcome[found.status >= 0])) != {0.0, 1.0}:
        raise NotEstimable("one_outcome", "Training is not known of anyone who died, or of anyone who lived.")
    if not {CURRENT, NEVER} <= set(found.status):
        raise NotEstimable("one_arm", "Nobody is known to be trained, or nobody known never to have been.")


def columns_of(field: Field, values: Floats) -> Sequence[tuple[str, Floats]]:
    """Design columns of a field's completed values, each named and shaped as the values."""
    if not field.levels:
        return [(field.name, values)]
    return [
        (f"{field.name}[{level}]", (values == place + 1).astype(float))
        for place, level in enumerate(field.levels[1:])
    ]
