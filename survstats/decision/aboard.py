"""How many people of each group are in a mishap, and how many of them are alive when the cabin takes in water?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import betaincinv

from survstats.groundwork.errors import NotEstimable

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Mishaps with anybody of a group below which leaving weights to chance shows too little of the spread.
FEWEST_MISHAPS = 3
_CLUSTER = "mishap_id"


@dataclass(frozen=True)
class AtRisk:
    """People of q groups aboard G mishaps, and how many could still be helped by training.

    Attributes
    ----------
    groups : tuple of str of length q
    aboard, known, alive : ndarray of shape (G, q)
        People in each mishap; of these, whose being at risk is known; of these, who were alive at immersion in an
        impact that could be survived. Mishaps without anybody are rows of 0.
    """

    groups: tuple[str, ...]
    aboard: Counts
    known: Counts
    alive: Counts

    @property
    def people_aboard(self) -> Floats:
        """People of each group aboard a mishap, on average (q,)."""
        return np.asarray(self.aboard.mean(axis=0))

    @property
    def share(self) -> Floats:
        """Share of each group alive at immersion in an impact that could be survived, where that is known (q,)."""
        return np.asarray(self.alive.sum(axis=0) / self.known.sum(axis=0))

    @property
    def point(self) -> Floats:
        """People of each group at risk in a mishap, on average (q,): aboard times share."""
        return self.people_aboard * self.share

    @property
    def unknown(self) -> Counts:
        """People left out of the share because it is not known whether they were at risk (q,)."""
        return np.asarray((self.aboard - self.known).sum(axis=0))

    @property
    def blind(self) -> Bools:
        """Groups that are all alike, or known in too few mishaps, for other weights to show any spread (q,)."""
        few = np.count_nonzero(self.known, axis=0) < FEWEST_MISHAPS
        return np.asarray(few | (self.share == 0) | (self.share == 1))


def people_at_risk(frame: pd.DataFrame, groups: Mapping[str, Bools], *, mishaps: int) -> AtRisk:
    """Count the people of each group in each mishap.

    Parameters
    ----------
    frame : DataFrame of n rows
        Everybody aboard in all water mishaps (P2), as derived. Who has no row is not counted, so that the numbers
        aboard are the least there were.
    groups : mapping of str to ndarray of shape (n,)
        The rows of each group; nobody is in two.
    mishaps : int
        All water mishaps of the study, those without a row of people included.

    Raises
    ------
    NotEstimable
        ``few_mishaps`` below three, ``group_not_in_records`` where nobody of a group was aboard any of them, or of
        nobody aboard is it known whether they were at risk.
    """
    if mishaps < FEWEST_MISHAPS:
        raise NotEstimable("few_mishaps", f"{mishaps} mishaps do not show how many people are in one.")
    codes, labels = pd.factorize(frame[_CLUSTER])
    total = max(mishaps, len(labels))
    alive = frame["in_p1"].to_numpy(bool)
    gone = frame["impact_survivability"].eq("none").to_numpy(bool) | frame["died_on_impact"].to_numpy(bool)

    def count(rows: Bools) -> Counts:
        return np.bincount(codes[rows], minlength=total).astype(np.int64)

    masks = [np.asarray(rows, dtype=bool) for rows in groups.values()]
    found = AtRisk(
        tuple(groups),
        np.column_stack([count(rows) for rows in masks]),
        np.column_stack([count(rows & (alive | gone)) for rows in masks]),
        np.column_stack([count(rows & alive) for rows in masks]),
    )
    for name, known in zip(found.groups, found.known.sum(axis=0), strict=True):
        if known == 0:
            raise NotEstimable(
                "group_not_in_records",
                f"Of nobody in '{name}' do the records tell whether they were at risk.",
                "Join the group with another.",
            )
    return found


def draw_at_risk(at_risk: AtRisk, generator: np.random.Generator, draws: int) -> Floats:
    """Plausible numbers of people at risk in a mishap, shape (draws, q), all groups from the same mishaps.

    Notes
    -----
    Each world gives the mishaps other weights (a Bayesian bootstrap, Rubin 1981, doi:10.1214/aos/1176345338). Its
    Dirichlet weights have the parameter (G - 2) / G, not 1, so that a mean over mishaps varies by its ordinary error
    s^2 / G. People aboard and their share at risk move together, as they do in the records.

    Where a group is blind, its share is a beta with half a person added on each side (Jeffreys), worth so many
    people as they are independent: the design effect of mishaps is that of all groups together, and where nobody
    differs from anybody a mishap counts as one. All blind groups share their luck.
    """
    total = len(at_risk.aboard)
    weights = generator.standard_gamma((total - 2) / total, size=(draws, total))
    luck = generator.random(draws)
    weights /= weights.sum(axis=1, keepdims=True)
    known = weights @ at_risk.known
    share = np.divide(weights @ at_risk.alive, known, out=np.tile(at_risk.share, (draws, 1)), where=known > 0)
    sizes = independent_people(at_risk)
    for group in np.flatnonzero(at_risk.blind):
        alive = at_risk.share[group] * sizes[group]
        share[:, group] = betaincinv(alive + 0.5, sizes[group] - alive + 0.5, luck)
    aboard = np.asarray(weights @ at_risk.aboard, dtype=float)
    return np.asarray(aboard * share)


def independent_people(at_risk: AtRisk) -> Floats:
    """How many independent people each group's share is worth (q,): people known over the mishaps' design effect.

    Between the number of mishaps that hold any of them and their own number.

    Notes
    -----
    Variance of a share as a ratio of sums over mishaps (linearised), against that of independent people; standard
    survey practice (Kish 1965, Survey Sampling; from memory).
    """
    known, mishaps = at_risk.known.sum(axis=0), np.count_nonzero(at_risk.known, axis=0)
    people, alive = at_risk.known.sum(axis=1), at_risk.alive.sum(axis=1)
    share, total = alive.sum() / people.sum(), len(people)
    if share in (0.0, 1.0):
        return np.asarray(mishaps, dtype=float)
    variance = total / (total - 1) * np.sum((alive - share * people) ** 2) / people.sum() ** 2
    effect = max(variance / (share * (1 - share) / people.sum()), 1.0)
    return np.asarray(np.clip(known / effect, mishaps, known))
