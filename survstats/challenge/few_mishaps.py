"""Is the difference more than chance where there are too few mishaps for any model?

A jackknife over a handful of mishaps says nothing, but people of one mishap can still be compared with each other. The
exact test of that comparison takes every person of a mishap as an own draw; where mishaps differ in what training did,
or where a few mishaps carry everything, it is too sure. So two more things are asked: that it stands whichever mishap
is left out, and that the mishaps themselves, each counted once, point one way more often than a coin would.

Below eight mishaps that takes at least six that all point one way. By the coin alone that happens in 3.1 % of studies
without an effect; in simulated studies of six and seven mishaps, of 8 or 20 people, in which training had no effect on
average but one of its own in each mishap (log odds, spread up to 2), between none and 2.3 % were called more than
chance (400 studies a cell; the test of this module draws them again and asks for 3 % or fewer).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from survstats.groundwork.errors import NotEstimable
from survstats.models.hypergeometric import Margins
from survstats.models.within_mishap import FEWEST, informative_tables, within_tally


@dataclass(frozen=True)
class WithinRoute:
    """The comparison of people in the same mishap, as far as it can show more than chance.

    Attributes
    ----------
    informative, better, worse : int
        Mishaps with both outcomes and both groups aboard, and those in which the trained did better, and worse.
    p : float
        Exact two-sided p of the odds ratio among people of the same mishap: twice the smaller tail, at most 1.
    p_without_one : float
        The largest such p with any one mishap left out.
    sign_p : float
        Exact two-sided p of the sign test over the mishaps that are not tied.
    """

    informative: int
    better: int
    worse: int
    p: float
    p_without_one: float
    sign_p: float

    @property
    def sign(self) -> int:
        """1 where the trained did better in more mishaps than worse, -1 where in fewer, 0 where in as many."""
        return (self.better > self.worse) - (self.better < self.worse)


def within_route(outcome: ArrayLike, exposure: ArrayLike, cluster: ArrayLike) -> WithinRoute:
    """How sure the comparison of people in the same mishap is, with all mishaps and with any one left out.

    Parameters
    ----------
    outcome, exposure : (n,) arrays of 0 and 1
    cluster : (n,) array
        Mishap labels.

    Raises
    ------
    NotEstimable
        ``few_mishaps`` with fewer than four informative mishaps: one left out must leave three.
    CallError
        ``not_binary``.
    """
    tally = within_tally(outcome, exposure, cluster)
    if tally.informative <= FEWEST:
        raise NotEstimable(
            "few_mishaps",
            f"Only {tally.informative} mishaps have both outcomes and both exposures aboard, not {FEWEST + 1}.",
        )
    tables = informative_tables(outcome, exposure, cluster)
    return WithinRoute(
        informative=tally.informative,
        better=tally.better,
        worse=tally.worse,
        p=_two_sided(tables),
        p_without_one=max(_two_sided(tables.drop(index=label)) for label in tables.index),
        sign_p=sign_test(tally.better, tally.worse),
    )


def sign_test(better: int, worse: int) -> float:
    """Exact two-sided p of the sign test: twice the chance of as few of the rarer sign, at most 1.

    Six of six give .03125, five of five .0625.
    """
    many = better + worse
    tail = float(sum(math.comb(many, rarer) for rarer in range(min(better, worse) + 1)) / 2**many)
    return min(1.0, 2 * tail)


def _two_sided(tables: pd.DataFrame) -> float:
    """Twice the smaller exact tail of the trained survivors, given the margins of each mishap."""
    margins = Margins.of(tables)
    chances = np.exp(margins.log_mass(0.0))
    at = int(tables["both"].sum()) - margins.lowest
    return float(min(1.0, 2 * min(chances[at:].sum(), chances[: at + 1].sum())))
