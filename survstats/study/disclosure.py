"""Which counts of people must be withheld so that those published give no small group away?

A count is the number of people in a group; groups overlap, and every published count is a sum of *atoms*: sets of
people who stand in exactly the same groups. Whoever reads the published counts can solve for the atoms. So withholding
the small counts alone is not enough: their neighbours and the totals give them back, and further counts must go too
(complementary suppression; Willenborg and de Waal, Elements of Statistical Disclosure Control, 2001; Hundepohl et al.,
Statistical Disclosure Control, 2012; both from memory).

The rule kept here, with *possible* meaning in whole numbers that agree with all published counts:

* no atom smaller than the limit can be shown to be smaller than the limit: it could also be the limit or more. Every
  group that anybody can form from the published counts is made of atoms, so none of these can be shown to be small
  either, differences and remainders included;
* a withheld small count has at least as many possible values as the limit says.

A reader is granted more than he has: the atoms that nobody stands in are known to be empty. That a withheld count may
have been withheld for its own size or for another's is not held against the reader, and what somebody knows who was
there is out of reach of any masking.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_array, hstack

from survstats.groundwork.errors import SurvstatsError


@dataclass(frozen=True)
class Counts:
    """Published counts as sums of atoms.

    Attributes
    ----------
    names : tuple of str, c
        The published counts; those of the same people share one row and are named together.
    aliases : tuple of tuple of str, c
        All names of each row.
    matrix : ndarray of shape (c, a)
        1 where the count holds the atom.
    atoms : ndarray of shape (a,)
        People in each atom, at least 1.
    """

    names: tuple[str, ...]
    aliases: tuple[tuple[str, ...], ...]
    matrix: NDArray[np.float64]
    atoms: NDArray[np.float64]

    @property
    def values(self) -> NDArray[np.float64]:
        """The counts themselves, shape (c,)."""
        found: NDArray[np.float64] = self.matrix @ self.atoms
        return found


def counts_of(groups: Mapping[str, Set[int]]) -> Counts:
    """The counts of some groups of people, as sums of atoms.

    Parameters
    ----------
    groups : mapping of str to set of int
        The people of each published count, by any number of theirs. Empty groups have nothing to protect and are left
        out: that nobody stands there is published.
    """
    names_of: dict[frozenset[int], list[str]] = {}
    for name, people in groups.items():
        if people:
            names_of.setdefault(frozenset(people), []).append(name)
    signature: dict[int, list[int]] = {}
    for at, people in enumerate(names_of):
        for person in people:
            signature.setdefault(person, []).append(at)
    size: dict[tuple[int, ...], int] = {}
    for places in signature.values():
        size[tuple(places)] = size.get(tuple(places), 0) + 1
    matrix = np.zeros((len(names_of), len(size)))
    for column, signed in enumerate(size):
        matrix[list(signed), column] = 1.0
    aliases = tuple(tuple(names) for names in names_of.values())
    return Counts(tuple(names[0] for names in aliases), aliases, matrix, np.array(list(size.values()), float))


def withhold(counts: Counts, *, limit: int, spare: Set[str] = frozenset()) -> NDArray[np.bool_]:
    """Which of the counts must be withheld, shape (c,), so that the rule of this module holds.

    Small counts go first; then, for each small atom and each small count that is not yet safe, the smallest of the
    published counts that hold it fast. A count withheld on the way that the published ones give back exactly is
    published after all: withholding it hides nothing.

    Parameters
    ----------
    counts : Counts
    limit : int
        Counts from 1 to ``limit - 1`` are small.
    spare : set of str, optional
        Counts that are withheld beside small ones only where no other helps.
    """
    spared = np.array([any(name in spare for name in names) for names in counts.aliases], bool)
    rank = np.lexsort((counts.values, spared)).argsort()
    small = (counts.values > 0) & (counts.values < limit)
    hidden = small.copy()
    for atom in list(_provably_small(counts, hidden, limit)):
        _loosen(counts, hidden, np.eye(len(counts.atoms))[atom], rank, at_least=limit)
    for count in np.flatnonzero(small):
        _spread(counts, hidden, counts.matrix[count], rank, values=limit)
    for count in np.flatnonzero(hidden & ~small):
        low, high = possible(counts, hidden, counts.matrix[count])
        hidden[count] = high > low
    return hidden


def is_safe(counts: Counts, hidden: NDArray[np.bool_], *, limit: int) -> bool:
    """Whether the rule of this module holds where the counts marked in ``hidden`` are withheld."""
    small = (counts.values > 0) & (counts.values < limit)
    if (small & ~hidden).any():
        return False
    if any(True for _ in _provably_small(counts, hidden, limit)):
        return False
    for count in np.flatnonzero(small):
        low, high = possible(counts, hidden, counts.matrix[count])
        if high - low + 1 < limit:
            return False
    return True


def possible(counts: Counts, hidden: NDArray[np.bool_], group: NDArray[np.float64]) -> tuple[float, float]:
    """Least and most people that a group of atoms can have, in whole numbers that agree with the published counts.

    Parameters
    ----------
    counts : Counts
    hidden : ndarray of shape (c,)
    group : ndarray of shape (a,)
        1 for the atoms of the group.

    Returns
    -------
    tuple of float
        The most is infinite where nothing published bounds the group.
    """
    return -_most(counts, hidden, -group), _most(counts, hidden, group)


def _most(counts: Counts, hidden: NDArray[np.bool_], weights: NDArray[np.float64]) -> float:
    """The largest weighted sum of atoms, in whole numbers, given the counts that are not hidden."""
    bound = _bound(counts, hidden)
    if (weights[~bound] > 0).any():
        return np.inf
    return float(weights[bound] @ _largest(counts, hidden, bound, weights[bound]))


def _bound(counts: Counts, hidden: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which atoms stand in a count that is shown, shape (a,)."""
    return np.asarray(counts.matrix[~hidden].any(axis=0), dtype=bool)


def _provably_small(counts: Counts, hidden: NDArray[np.bool_], limit: int) -> Iterator[int]:
    """The small atoms that cannot be as many as the limit, given the counts that are not hidden.

    One solution in which as many of them as possible are that many settles most; the rest are tried one by one.
    """
    bound = _bound(counts, hidden)
    left = (counts.atoms < limit) & bound
    together = True
    while left.any():
        wanted = left if together else np.arange(len(left)) == np.argmax(left)
        weights = wanted[bound].astype(float)
        solved = _largest(counts, hidden, bound, weights, enough=limit)
        reached = np.zeros(len(left), bool)
        reached[bound] = solved >= limit
        if not together and not reached[wanted].any():
            yield int(np.argmax(left))
            left &= ~wanted
        together = together and bool((left & reached).any())
        left &= ~reached


def _largest(
    counts: Counts,
    hidden: NDArray[np.bool_],
    bound: NDArray[np.bool_],
    weights: NDArray[np.float64],
    *,
    enough: int | None = None,
) -> NDArray[np.float64]:
    """Whole numbers for the bound atoms, in agreement with the shown counts, with the largest weighted sum.

    What an atom has above ``enough`` counts for nothing: it is a second, weightless part of the atom.
    """
    size = len(weights)
    if not size:
        return np.zeros(0)
    parts = 1 if enough is None else 2
    most = np.full(parts * size, np.inf)
    most[:size] = np.inf if enough is None else enough
    shown, values = csr_array(counts.matrix[~hidden][:, bound]), counts.values[~hidden]
    found = milp(
        np.concatenate([-weights, np.zeros((parts - 1) * size)]),
        constraints=LinearConstraint(hstack([shown] * parts), values, values),
        bounds=Bounds(0, most),
        integrality=np.ones(parts * size, dtype=np.int64),
    )
    if found.x is None:
        raise SurvstatsError("masking", f"The masking could not be worked out ({found.message}).")
    solved: NDArray[np.float64] = np.round(found.x).reshape(parts, size).sum(axis=0)
    return solved


def _loosen(
    counts: Counts,
    hidden: NDArray[np.bool_],
    group: NDArray[np.float64],
    rank: NDArray[np.intp],
    *,
    at_least: int,
) -> None:
    """Hide counts until the group could have ``at_least`` people."""
    while _most(counts, hidden, group) < at_least:
        _hide_one(counts, hidden, group, rank)


def _spread(
    counts: Counts,
    hidden: NDArray[np.bool_],
    group: NDArray[np.float64],
    rank: NDArray[np.intp],
    *,
    values: int,
) -> None:
    """Hide counts until the group could have that many different numbers of people."""
    while True:
        low, high = possible(counts, hidden, group)
        if high - low + 1 >= values:
            return
        _hide_one(counts, hidden, group, rank)


def _hide_one(
    counts: Counts, hidden: NDArray[np.bool_], group: NDArray[np.float64], rank: NDArray[np.intp]
) -> None:
    """Of the shown counts that keep the group from being larger, hide the one of the first rank."""
    shown = np.flatnonzero(~hidden)
    relaxed = linprog(-group, A_eq=counts.matrix[shown], b_eq=counts.values[shown])
    binding = shown[np.abs(relaxed.eqlin.marginals) > 1e-9] if relaxed.status == 0 else shown[:0]
    if not len(binding):  # only whole numbers hold it fast
        binding = shown[(counts.matrix[shown] @ group) > 0]
    hidden[binding[np.argmin(rank[binding])]] = True
