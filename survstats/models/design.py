"""Which numbers does a frame's row bring to a model?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import CallError, NotEstimable

INTERCEPT = "intercept"
NOT_COLLECTED = "not_collected"
ALIASED = 1e-5  # a column nearer than this share of its length to the span of those before it is dropped


@dataclass(frozen=True)
class Term:
    """How one term becomes columns.

    Attributes
    ----------
    name : str
        Column of the frame.
    levels : tuple
        Levels of a categorical term, the reference first; empty for a number taken as it is.
    """

    name: str
    levels: tuple[object, ...] = ()

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the design columns this term makes."""
        return tuple(f"{self.name}[{level}]" for level in self.levels[1:]) if self.levels else (self.name,)

    def values(self, frame: pd.DataFrame) -> NDArray[np.float64]:
        """Columns (n, levels - 1) of this term, or (n, 1) for a number."""
        if self.name not in frame.columns:
            raise CallError("missing_column", f"The rows have no column '{self.name}'.")
        data = frame[self.name]
        if data.isna().any():
            raise NotEstimable(
                "missing_value",
                f"'{self.name}' is missing in {int(data.isna().sum())} rows.",
                "Fill the gaps first, or leave the term out.",
            )
        if not self.levels:
            return data.to_numpy(dtype=float)[:, None]
        for level in data.unique():
            if level not in self.levels:
                seen = ", ".join(str(known) for known in self.levels)
                raise NotEstimable(
                    "unseen_level", f"'{self.name}' has the level '{level}'; the model has seen {seen}."
                )
        return np.column_stack(
            [np.empty((len(data), 0)), *((data == level).to_numpy(dtype=float) for level in self.levels[1:])]
        )


@dataclass(frozen=True)
class Design:
    """A design matrix and the recipe to make it again from other rows.

    Attributes
    ----------
    matrix : (n, k) array
        Intercept first; aliased columns left out.
    columns : tuple of str
        Names of the k columns.
    terms : tuple of Term
    dropped : tuple of str
        Columns left out because the ones before them say the same.
    mishap_codes : (n,) array of int
        0 to g - 1, in order of the sorted labels; each row its own where no cluster was named.
    mishap_labels : tuple
        The g labels.
    """

    matrix: NDArray[np.float64]
    columns: tuple[str, ...]
    terms: tuple[Term, ...]
    dropped: tuple[str, ...]
    mishap_codes: NDArray[np.int64]
    mishap_labels: tuple[object, ...]

    def apply(
        self, frame: pd.DataFrame, *, setting: Mapping[str, float] | None = None
    ) -> NDArray[np.float64]:
        """Design matrix (m, k) of other rows, or of the same with numbers set.

        Parameters
        ----------
        frame : DataFrame
        setting : mapping of str to float, optional
            Value of a numeric term in every row (the exposure: 1, then 0).

        Raises
        ------
        NotEstimable
            ``unseen_level``, ``missing_value``; ``no_free_column`` where a term to be set had been dropped.
        CallError
            ``unknown_term`` where a term to be set is no numeric term of the model.
        """
        changes = dict(setting or {})
        for name in changes:
            if Term(name) not in self.terms:
                raise CallError("unknown_term", f"'{name}' is not a numeric term of the model.")
            if name in self.dropped:
                raise NotEstimable("no_free_column", f"'{name}' says nothing beyond the terms before it.")
        full, names = _full_matrix(frame.assign(**changes), self.terms)
        return full[:, [names.index(name) for name in self.columns]]


class Filled(NamedTuple):
    """A frame without gaps.

    Attributes
    ----------
    frame : DataFrame
        A copy, filled.
    terms : tuple of str
        The terms with an indicator added after each number that had gaps.
    gaps : tuple of str
        The terms that had gaps.
    """

    frame: pd.DataFrame
    terms: tuple[str, ...]
    gaps: tuple[str, ...]


def build_design(frame: pd.DataFrame, terms: Sequence[str], *, cluster: str | None = None) -> Design:
    """Design matrix of a frame: intercept, numbers as they are, one column per level beyond the first.

    Numbers and booleans are numeric; everything else is categorical with the levels that are present, in the
    order of a categorical dtype, else sorted.  Columns are taken from left to right and one that lies in the
    span of those before it is dropped, so that terms named first are kept.

    Parameters
    ----------
    frame : DataFrame
        n rows.
    terms : sequence of str
    cluster : str, optional
        Column with the mishap's label.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``missing_value``.
    CallError
        ``missing_column``.
    """
    if frame.empty:
        raise NotEstimable("no_rows", "No row is left to fit.")
    recipe = tuple(_term(frame, name) for name in terms)
    full, names = _full_matrix(frame, recipe)
    kept = _independent_columns(full)
    codes, labels = _mishaps(frame, cluster)
    return Design(
        matrix=full[:, kept],
        columns=tuple(names[j] for j in kept),
        terms=recipe,
        dropped=tuple(name for j, name in enumerate(names) if j not in kept),
        mishap_codes=codes,
        mishap_labels=labels,
    )


def fill_gaps(frame: pd.DataFrame, terms: Sequence[str]) -> Filled:
    """The frame with every gap in a term filled, by missing-indicator coding.

    A number becomes the mean of those known and an indicator ``<term>_missing`` is added to the terms; a
    category becomes the level ``not_collected``.  This keeps every row; it adjusts fully only where not
    being recorded is itself the confounder.

    Raises
    ------
    NotEstimable
        ``missing_value`` where a numeric term has no known value at all.
    """
    filled, names, gaps = frame.copy(), list[str](), list[str]()
    for name in terms:
        names.append(name)
        missing = frame[name].isna()
        if not missing.any():
            continue
        gaps.append(name)
        if not _is_numeric(frame[name]):
            filled[name] = _with_own_level(frame[name])
            continue
        if missing.all():
            raise NotEstimable("missing_value", f"'{name}' is missing in every row.", "Leave the term out.")
        known = frame[name].astype("Float64")
        filled[name] = known.fillna(float(known.mean())).astype(float)
        filled[f"{name}_missing"] = missing.astype(float)
        names.append(f"{name}_missing")
    return Filled(filled, tuple(names), tuple(gaps))


def _is_numeric(data: pd.Series) -> bool:
    return pd.api.types.is_numeric_dtype(data) and not isinstance(data.dtype, pd.CategoricalDtype)


def _with_own_level(data: pd.Series) -> pd.Series:
    if isinstance(data.dtype, pd.CategoricalDtype):
        return data.cat.add_categories([NOT_COLLECTED]).fillna(NOT_COLLECTED)
    return data.astype(object).where(data.notna(), NOT_COLLECTED)


def _term(frame: pd.DataFrame, name: str) -> Term:
    if name not in frame.columns:
        raise CallError("missing_column", f"The rows have no column '{name}'.")
    data = frame[name]
    if _is_numeric(data):
        return Term(name)
    present = data.dropna().unique()
    if isinstance(data.dtype, pd.CategoricalDtype):
        return Term(name, tuple(level for level in data.cat.categories if level in present))
    return Term(name, tuple(sorted(present, key=lambda level: (str(type(level)), level))))


def _full_matrix(frame: pd.DataFrame, terms: Sequence[Term]) -> tuple[NDArray[np.float64], list[str]]:
    parts = [np.ones((len(frame), 1)), *(term.values(frame) for term in terms)]
    return np.column_stack(parts), [INTERCEPT, *(name for term in terms for name in term.columns)]


def _independent_columns(matrix: NDArray[np.float64]) -> list[int]:
    """Columns that are not in the span of those kept before them (Gram-Schmidt, done twice), whatever their units."""
    largest = np.abs(matrix).max(axis=0)
    scaled = matrix / np.where(largest > 0, largest, 1.0)  # so that no square overflows
    of_unit_length = scaled / np.maximum(np.linalg.norm(scaled, axis=0), 1.0)
    basis, kept = np.empty((len(matrix), 0)), []
    for j, column in enumerate(of_unit_length.T):
        rest = column - basis @ (basis.T @ column)
        rest -= basis @ (basis.T @ rest)
        length = np.linalg.norm(rest)
        if length > ALIASED:
            kept.append(j)
            basis = np.column_stack([basis, rest / length])
    return kept


def _mishaps(frame: pd.DataFrame, cluster: str | None) -> tuple[NDArray[np.int64], tuple[object, ...]]:
    if cluster is None:
        return np.arange(len(frame)), tuple(range(len(frame)))
    if cluster not in frame.columns:
        raise CallError("missing_column", f"The rows have no column '{cluster}'.")
    codes, labels = pd.factorize(frame[cluster], sort=True)
    if (codes < 0).any():
        raise NotEstimable("missing_value", f"'{cluster}' is missing in {int((codes < 0).sum())} rows.")
    return codes.astype(np.int64), tuple(labels)
