"""Could mishaps whose scores had any sign have given a coefficient this far from a value?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.design import build_design
from survstats.models.kernel import Collapsed, collapse, solve
from survstats.models.logistic import binary_outcome, check_level

Floats = NDArray[np.float64]

ENUMERATED = 15  # up to so many mishaps every sign vector is tried
DRAWS = 9_999  # else so many random ones, and the one that was seen
OUTWARD = 2.0 ** np.arange(-3, 10, 0.5)  # places of the outward search, in standard errors of a score
TURNS = 40
SAME = 1e-9  # two sums this near to each other, in the largest score, are one
CHUNK = 2**22  # signs times values multiplied at once


@dataclass(frozen=True)
class SignFlip:
    """The sign-flip score test of one log odds ratio, and the values it does not reject.

    Attributes
    ----------
    estimate : float
        Maximum likelihood; where that lies at infinity, the penalised one (Firth).
    p : float
        Two-sided, of a log odds ratio of 0.
    low, high : float
        Ends of the values with p above 1 - level around the estimate; infinite where no end was found.
    penalised : bool
        Whether the estimate is the penalised one: the end towards which the likelihood rises is then infinite.
    level : float
    mishaps, draws : int
        Mishaps g, and sign vectors compared: 2 ** g where ``enumerated``, else 10,000.
    enumerated : bool
    """

    estimate: float
    p: float
    low: float
    high: float
    penalised: bool
    level: float
    mishaps: int
    draws: int
    enumerated: bool


def smallest_p(mishaps: int) -> float:
    """The smallest p the test can reach with so many mishaps: both signs of what was seen, of all there are."""
    return 2.0 ** (1 - mishaps) if mishaps <= ENUMERATED else 1 / (DRAWS + 1)


def sign_flip_test(
    frame: pd.DataFrame,
    outcome: str,
    terms: Sequence[str],
    *,
    tested: str,
    cluster: str,
    level: float = 0.95,
    rng: np.random.Generator | None = None,
) -> SignFlip:
    """Test and interval of one log odds ratio that hold with few mishaps.

    The other coefficients are fitted with the tested one held at a value; its column, less what the others say
    of it under those weights, gives each mishap a score.  If the value is true a score might as well have had
    the other sign, so p is the share of sign vectors whose sum of scores is at least as far from 0 (Hemerik,
    Goeman and Finos 2020, doi:10.1111/rssb.12369, flip rows; whole mishaps here).  The interval holds the
    values that are not rejected, found from the estimate outward.

    p needs no finite estimate. Where the outcomes separate along the tested column the likelihood rises towards one
    infinity: that end is open, and the other is sought from the penalised estimate; where even that is rejected it is
    the end itself, so that the interval holds it and leaves out rejected values only.

    Parameters
    ----------
    frame : DataFrame
        n rows without gaps in the columns named.
    outcome : str
        Column of 0 and 1.
    terms : sequence of str
    tested : str
        One design column among those of the terms.
    cluster : str
        Column with the mishap's label.
    level : float
    rng : Generator, optional
        Needed beyond 15 mishaps, where signs are drawn.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_outcome``, ``one_mishap``, ``missing_value``; ``no_free_column`` where the column says
        nothing beyond the others; ``separated``, where the others separate the outcomes by themselves.
    CallError
        ``missing_column``, ``not_binary``, ``level``, ``unknown_term``, ``no_generator``.

    Notes
    -----
    The test is exact only as mishaps grow in number: scores of few mishaps lean on the same fitted coefficients. In
    1,500 simulated sets each, where training went by mishap and did nothing, tests at 5 % rejected 6.7 % with 9 mishaps
    and 6.9 % with 12 (two covariates of whole mishaps), 6.2 % with 12 and no covariates, 5.1 % with 30.
    """
    check_level(level)
    design = build_design(frame, terms, cluster=cluster)
    if tested in design.dropped:
        raise NotEstimable("no_free_column", f"'{tested}' says nothing beyond the terms before it.")
    if tested not in design.columns:
        raise CallError("unknown_term", f"'{tested}' is no column of the model.")
    collapsed = collapse(design.matrix, binary_outcome(frame, outcome), design.mishap_codes)
    if collapsed.mishaps < 2:
        raise NotEstimable("one_mishap", "Only one mishap: nothing shows how mishaps differ.")
    test = _Test(collapsed, design.columns.index(tested), _signs(collapsed.mishaps, rng))
    p = float(test.p(np.zeros(1))[0])
    estimate, unit, rises = test.centre()
    if np.isnan(p) or unit is None:
        raise NotEstimable(
            "separated", "The outcomes are separated without the tested column.", "Use fewer covariates."
        )
    enough = smallest_p(collapsed.mishaps) <= 1 - level
    low, high = (
        test.end(estimate, side * unit, 1 - level) if enough and side != rises else side * np.inf
        for side in (-1, 1)
    )
    return SignFlip(
        estimate=estimate,
        p=p,
        low=low,
        high=high,
        penalised=rises != 0,
        level=level,
        mishaps=collapsed.mishaps,
        draws=2**collapsed.mishaps if collapsed.mishaps <= ENUMERATED else DRAWS + 1,
        enumerated=collapsed.mishaps <= ENUMERATED,
    )


def _signs(mishaps: int, rng: np.random.Generator | None) -> NDArray[np.int8]:
    """Sign vectors (draws, g), the one that was seen first; of two opposite ones one is enough."""
    if mishaps <= ENUMERATED:
        bits = np.arange(2 ** (mishaps - 1))[:, None] >> np.arange(mishaps) & 1
        return (1 - 2 * bits).astype(np.int8)
    if rng is None:
        raise CallError("no_generator", f"With {mishaps} mishaps signs are drawn: a generator is needed.")
    drawn = 1 - 2 * rng.integers(0, 2, size=(DRAWS, mishaps), dtype=np.int8)
    return np.vstack([np.ones((1, mishaps), dtype=np.int8), drawn])


class _Test:
    """Scores and p at any values of the tested coefficient, many at once."""

    def __init__(self, collapsed: Collapsed, column: int, signs: NDArray[np.int8]) -> None:
        self.data, self.column, self.signs = collapsed, column, signs
        self.others = np.arange(collapsed.patterns.shape[1]) != column
        self.rows = np.asarray(collapsed.counts.sum(axis=1)).ravel()
        self.near = np.zeros(collapsed.patterns.shape[1])

    def scores(self, values: Floats) -> tuple[Floats, Floats]:
        """Score of each mishap (g, v), NaN where the others have no fit, and the information of each value (v,)."""
        data, start = self.data, np.tile(self.near, (len(values), 1))
        start[:, self.column] = values
        fit = solve(data, np.ones((len(values), data.mishaps)), start=start, held=~self.others)
        scores, information = np.full((data.mishaps, len(values)), np.nan), np.full(len(values), np.nan)
        by_mishap = data.counts.T
        for j in np.flatnonzero(fit.converged):
            linear = data.patterns @ fit.coefficients[j]
            risk = 0.5 + 0.5 * np.tanh(linear / 2)
            weight = self.rows * risk * (1 - risk)
            gram = data.patterns.T @ (data.patterns * weight[:, None])
            contrast = np.zeros(len(gram))
            contrast[self.column] = 1.0
            contrast[self.others] = -np.linalg.lstsq(
                gram[np.ix_(self.others, self.others)], gram[self.others, self.column], rcond=None
            )[0]
            scores[:, j] = data.successes @ contrast - by_mishap @ ((data.patterns @ contrast) * risk)
            information[j] = contrast @ gram @ contrast
        return scores, information

    def p(self, values: Floats) -> Floats:
        """Share of sign vectors with a sum as far from 0 as the one seen (v,), NaN where there is no fit."""
        scores, _ = self.scores(values)
        seen = np.abs(scores.sum(axis=0)) - SAME * np.abs(scores).max(axis=0)
        as_far, step = np.zeros(len(values)), max(1, CHUNK // scores.shape[0])
        for first in range(0, len(self.signs), step):
            as_far += (np.abs(self.signs[first : first + step].astype(float) @ scores) >= seen).sum(axis=0)
        return np.where(np.isnan(seen), np.nan, as_far / len(self.signs))

    def centre(self) -> tuple[float, float | None, int]:
        """The estimate, from which the ends are sought; its standard error if rows were independent, None where there
        is no fit; and the sign of the infinity towards which the likelihood rises, 0 where it has a maximum.
        """
        everyone = np.ones((1, self.data.mishaps))
        full = solve(self.data, everyone)
        finite = bool(full.converged[0])
        if not finite:
            full = solve(self.data, everyone, penalty="firth")
        self.near = full.coefficients[0]
        at = self.near[[self.column]]
        scores, information = self.scores(at)
        if np.isnan(information[0]):
            return float(at[0]), None, 0
        return float(at[0]), float(information[0] ** -0.5), 0 if finite else int(np.sign(scores.sum()))

    def end(self, centre: float, step: float, alpha: float) -> float:
        """Where p first falls to ``alpha`` on the way out from the centre; infinite if it never does."""
        if self.p(np.array([centre]))[0] <= alpha:
            return centre
        places = centre + step * OUTWARD
        p = self.p(places)
        usable = len(p) if not np.isnan(p).any() else int(np.argmax(np.isnan(p)))
        below = np.flatnonzero(p[:usable] <= alpha)
        if not below.size:
            return float(np.sign(step) * np.inf)
        outer = float(places[below[0]])
        inner = float(places[below[0] - 1]) if below[0] else centre
        while abs(outer - inner) > 1e-7 * abs(step):
            inside = np.linspace(inner, outer, 18)[1:-1]
            kept = self.p(inside) > alpha
            first = int(np.argmin(kept)) if not kept.all() else len(kept)
            edges = np.concatenate([[inner], inside, [outer]])
            inner, outer = float(edges[first]), float(edges[first + 1])
        return (inner + outer) / 2
