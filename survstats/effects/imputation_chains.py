"""Where do the chains of an imputation stand, and from what do they start?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from survstats.effects.missing_values import (
    CURRENT,
    STATUSES,
    Bools,
    Field,
    Floats,
    Gaps,
    columns_of,
)

Places = NDArray[np.intp]

CERTAIN = 1e-12  # least chance of a status that is open


@dataclass
class Chains:
    """Where m chains stand.

    Attributes
    ----------
    gaps : Gaps
    status : (m, n) array of int
    values : mapping of str to (m, n) array
        Completed values of the fields that had gaps.
    fixed : mapping of str to (n,) array
        Design columns that no draw changes.
    chances : (m, u, 4) array
        Of each status, for the u people of unknown training, in the last turn.
    members : (g, n) sparse array
        1 where the person is of the mishap.
    uniforms : (m, u, 2) array
        The draws that turned these chances into statuses.
    """

    gaps: Gaps
    status: NDArray[np.int64]
    values: dict[str, Floats]
    fixed: Mapping[str, Floats]
    members: sparse.csr_array
    chances: Floats
    uniforms: Floats

    @property
    def draws(self) -> int:
        """How many chains (m)."""
        return len(self.status)


def begin(gaps: Gaps, draws: int, rng: np.random.Generator) -> Chains:
    """Chains that start from the values known, drawn at random."""
    n, known = len(gaps.status), gaps.status >= 0
    shares = np.bincount(gaps.status[known], minlength=len(STATUSES)) / known.sum()
    chances = within_allowed(np.tile(shares, (draws, len(gaps.unknown), 1)), gaps.allowed[gaps.unknown])
    status = np.tile(gaps.status, (draws, 1))
    status[:, gaps.unknown] = drawn_status(chances, rng.random((draws, len(gaps.unknown), 2)))
    values = {}
    for one in gaps.fields:
        if one.gaps.any():
            values[one.name] = np.tile(one.values, (draws, 1))
            units = units_of(gaps, one)
            seen = one.values[units][~one.gaps[units]]
            lend(gaps, one, values[one.name], rng.choice(seen, (draws, int(one.gaps[units].sum()))))
    ones = np.ones(n)
    members = sparse.csr_array((ones, (gaps.codes, np.arange(n))), shape=(gaps.mishaps, n))
    aboard = np.bincount(gaps.codes, minlength=gaps.mishaps)
    fixed = {"log_aboard": np.log(aboard)[gaps.codes]}
    if gaps.with_outcome:
        fixed["outcome"] = gaps.outcome
        fixed["outcome_of_others"] = of_others(gaps.outcome[None], ones[None], members, gaps.codes)[0]
        fixed["outcome_of_mishap"] = (np.bincount(gaps.codes, gaps.outcome) / aboard)[gaps.codes]
    for one in gaps.fields:
        if not one.gaps.any():
            fixed.update(columns_of(one, one.values))
    return Chains(gaps, status, values, fixed, members, chances, np.zeros((*chances.shape[:2], 2)))


def drawn_status(chances: Floats, uniforms: Floats) -> NDArray[np.int64]:
    """Statuses (...) from their chances (..., 4) and two uniform draws each (..., 2).

    The first decides whether current, the second which of the others: whatever raises the chance of current only
    moves people into it.
    """
    others = chances[..., 1:]
    total = np.maximum(others.sum(axis=-1), 1e-300)
    edges = np.cumsum(others[..., :-1], axis=-1) / total[..., None]
    which = 1 + (uniforms[..., 1, None] >= edges).sum(axis=-1)
    return np.where(uniforms[..., 0] < chances[..., CURRENT], CURRENT, which).astype(np.int64)


def within_allowed(chances: Floats, allowed: Bools) -> Floats:
    """Chances (..., 4) with those that what is known rules out at 0, made to sum to one."""
    kept = np.maximum(chances, CERTAIN) * allowed
    return np.asarray(kept / kept.sum(axis=-1, keepdims=True))


def of_others(values: Floats, counted: Floats, members: sparse.csr_array, codes: NDArray[np.int64]) -> Floats:
    """Mean of ``values`` over the others counted in the mishap, shape (m, n); overall where there are none."""
    total, count = (members @ values.T).T[:, codes] - values, (members @ counted.T).T[:, codes] - counted
    overall = values.sum(axis=1, keepdims=True) / np.maximum(counted.sum(axis=1, keepdims=True), 1.0)
    return np.where(count > 0.5, total / np.maximum(count, 1.0), overall)


def changing_columns(chains: Chains) -> dict[str, Floats]:
    """Design columns (m, n) of the fields that had gaps."""
    found: dict[str, Floats] = {}
    for one in chains.gaps.fields:
        if one.name in chains.values:
            found.update(columns_of(one, chains.values[one.name]))
    return found


def units_of(gaps: Gaps, one: Field) -> Places:
    """Rows that stand for the field: everyone, or the first of each mishap."""
    if one.by_mishap:
        return np.unique(gaps.codes, return_index=True)[1]
    return np.arange(len(gaps.codes))


def lend(gaps: Gaps, one: Field, values: Floats, lent: Floats) -> None:
    """Put values (m, missing units) where the field has gaps."""
    units = units_of(gaps, one)
    if not one.by_mishap:
        values[:, units[one.gaps[units]]] = lent
        return
    whole = values[:, units].copy()
    whole[:, one.gaps[units]] = lent
    values[:, :] = whole[:, gaps.codes]
