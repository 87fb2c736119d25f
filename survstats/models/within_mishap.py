"""Comparing people in the same mishap only: by what odds ratio, and in how many mishaps?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.hypergeometric import Law, Margins

FEWEST = 3  # informative mishaps


@dataclass(frozen=True)
class WithinTally:
    """Raw counts of informative mishaps: those with both outcomes and both exposures aboard.

    Attributes
    ----------
    informative, better, worse, tied : int
        ``better``: the exposed had the larger share of outcome 1; better + worse + tied = informative.
    rows : int
        Rows in informative mishaps.
    mishaps : int
        All mishaps given.
    """

    informative: int
    better: int
    worse: int
    tied: int
    rows: int
    mishaps: int


@dataclass(frozen=True)
class WithinMishap:
    """The exact within-mishap comparison; odds ratios are on the log scale.

    Attributes
    ----------
    log_odds_ratio : float
        Conditional maximum likelihood; infinite where the exposed did as well, or as badly, as could be.
    exact_low, exact_high : float
        Exact limits (each tail (1 - level) / 2); infinite ones mean "no limit".
    mid_p_low, mid_p_high : float
        Limits that count half the probability of what was seen.
    p_better, p_worse : float
        Exact one-sided p: chance of as many or more (as many or fewer) exposed successes without association.
    exposed_successes : int
        The statistic t, over informative mishaps.
    level : float
    tally : WithinTally
    """

    log_odds_ratio: float
    exact_low: float
    exact_high: float
    mid_p_low: float
    mid_p_high: float
    p_better: float
    p_worse: float
    exposed_successes: int
    level: float
    tally: WithinTally


def within_tally(outcome: ArrayLike, exposure: ArrayLike, cluster: ArrayLike) -> WithinTally:
    """In how many informative mishaps the exposed did better, worse, or the same.

    Parameters
    ----------
    outcome, exposure : (n,) arrays of 0 and 1
    cluster : (n,) array
        Mishap labels.

    Raises
    ------
    CallError
        ``not_binary``.
    """
    tables = _tables(outcome, exposure, cluster)
    known = tables[_informative(tables)]
    rest = known["rows"] - known["exposed"]
    # shares compared in whole numbers: a / exposed against (successes - a) / rest
    gap = (known["both"] * rest - (known["successes"] - known["both"]) * known["exposed"]).to_numpy()
    return WithinTally(
        informative=len(known),
        better=int((gap > 0).sum()),
        worse=int((gap < 0).sum()),
        tied=int((gap == 0).sum()),
        rows=int(known["rows"].sum()),
        mishaps=len(tables),
    )


def exact_within(
    outcome: ArrayLike, exposure: ArrayLike, cluster: ArrayLike, *, level: float = 0.95
) -> WithinMishap:
    """Log odds ratio of a binary exposure among people of the same mishap, with exact limits.

    Given a mishap's margins the exposed successes follow a non-central hypergeometric distribution; their
    sum over mishaps follows the convolution (Breslow & Day 1980, IARC Scientific Publications 32, chapter 7,
    cited from memory).  Mishaps without both outcomes and both exposures carry nothing and are left out.

    Parameters
    ----------
    outcome, exposure : (n,) arrays of 0 and 1
    cluster : (n,) array
        Mishap labels.
    level : float

    Raises
    ------
    NotEstimable
        ``few_mishaps`` with fewer than 3 informative mishaps; the tally can still be had.
    CallError
        ``not_binary``, ``level``.
    """
    if not 0 < level < 1:
        raise CallError("level", f"A level must lie between 0 and 1, not {level}.")
    tally = within_tally(outcome, exposure, cluster)
    if tally.informative < FEWEST:
        raise NotEstimable(
            "few_mishaps",
            f"Only {tally.informative} mishaps have both outcomes and both exposures aboard, not {FEWEST}.",
        )
    tables = informative_tables(outcome, exposure, cluster)
    margins = Margins.of(tables)
    t = int(tables["both"].sum())
    centre = margins.theta_of_mean(min(max(t, margins.lowest + 0.5), margins.highest - 0.5))
    law = Law(margins, np.arange(margins.lowest, margins.highest + 1), margins.log_mass(centre), centre)
    tail = (1 - level) / 2
    estimate = -np.inf if t == margins.lowest else np.inf if t == margins.highest else centre
    return WithinMishap(
        log_odds_ratio=float(estimate),
        exact_low=law.limit(t, tail, upper_tail=True, share=1.0),
        exact_high=law.limit(t, tail, upper_tail=False, share=1.0),
        mid_p_low=law.limit(t, tail, upper_tail=True, share=0.5),
        mid_p_high=law.limit(t, tail, upper_tail=False, share=0.5),
        p_better=law.tail(t, 0.0, upper_tail=True, share=1.0),
        p_worse=law.tail(t, 0.0, upper_tail=False, share=1.0),
        exposed_successes=t,
        level=level,
        tally=tally,
    )


def informative_tables(outcome: ArrayLike, exposure: ArrayLike, cluster: ArrayLike) -> pd.DataFrame:
    """``rows``, ``successes``, ``exposed`` and ``both`` of each mishap with both outcomes and both exposures aboard.

    Parameters
    ----------
    outcome, exposure : (n,) arrays of 0 and 1
    cluster : (n,) array
        Mishap labels; they become the index.

    Raises
    ------
    CallError
        ``not_binary``.
    """
    tables = _tables(outcome, exposure, cluster)
    return tables[_informative(tables)]


def _tables(outcome: ArrayLike, exposure: ArrayLike, cluster: ArrayLike) -> pd.DataFrame:
    """Rows, successes, exposed and exposed successes of each mishap."""
    columns = {"successes": np.asarray(outcome, dtype=float), "exposed": np.asarray(exposure, dtype=float)}
    for name, values in columns.items():
        if not np.isin(values, (0.0, 1.0)).all():
            raise CallError("not_binary", f"The {name} column has values other than 0 and 1.")
    frame = pd.DataFrame(columns).astype(np.int64)
    frame["both"] = frame["successes"] * frame["exposed"]
    frame["rows"] = 1
    return frame.groupby(np.asarray(cluster)).sum()


def _informative(tables: pd.DataFrame) -> pd.Series:
    inside = [tables[name].between(1, tables["rows"] - 1) for name in ("successes", "exposed")]
    return inside[0] & inside[1]
