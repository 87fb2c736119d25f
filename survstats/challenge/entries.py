"""How often are people of this kind recorded as trained?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.completed_sets import Question
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import bootstrap
from survstats.models.design import build_design, fill_gaps
from survstats.models.kernel import collapse, refit_intercept, solve

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

RARER_PER_COLUMN = 10  # people of the rarer entry that a column needs
ATTEMPTS = 50


@dataclass(frozen=True)
class Entries:
    """Drawn models of who is recorded trained.

    Attributes
    ----------
    log_odds : (m, d) array
        Of an entry 'trained' rather than 'untrained', for each of d people, in each of m draws of mishaps.
    leans_on, left_out : tuple of str
        Covariates that the people could carry, and those they could not.
    """

    log_odds: Floats
    leans_on: tuple[str, ...]
    left_out: tuple[str, ...]


def recorded_trained(
    frame: pd.DataFrame, among: Bools, question: Question, *, draws: int, rng: np.random.Generator
) -> Entries:
    """Log odds of being recorded trained rather than untrained, given the covariates, in resampled mishaps.

    Parameters
    ----------
    frame : DataFrame of n rows
        Its mishaps are drawn with replacement.
    among : (n,) array of bool
        The d people the models are fitted to, all recorded 1 or 0.
    question : Question
    draws : int
        m.
    rng : Generator

    Raises
    ------
    NotEstimable
        ``not_converged`` where a model has no finite solution in `ATTEMPTS` resamples.

    Notes
    -----
    Firth's likelihood with the intercept refitted (Puhr et al. 2017, doi:10.1002/sim.7273), so that the mean chance of
    a draw is the share seen in it. Covariates enter whole and in order, one column for `RARER_PER_COLUMN` people of
    the rarer entry; gaps are coded as in the main estimate. A draw without any of these people is made again.

    Where all entries of a draw are alike the refitted intercept would be infinite: a chance of 0 or 1 for want of
    data. There Firth's own intercept stays. Of n people of whom none is recorded trained the chance is then
    .5 / (n + 1), the posterior mean under Jeffreys' prior: above what was seen, never 0. Where nobody in all the
    records is, every draw gives about that, and the draws differ little; this understates how little is known then.
    """
    people = frame[among]
    answer = people[question.exposure].to_numpy(float)
    design, leans_on, left_out = _carried(people, answer, question.covariates)
    codes, _ = pd.factorize(frame[question.cluster], sort=True)
    holders, own = np.unique(codes[among], return_inverse=True)
    data = collapse(design, answer, own.astype(np.int64), mishaps=len(holders))
    size_of, trained_of = np.bincount(own), np.bincount(own, answer)
    mishaps, k = int(codes.max()) + 1, design.shape[1]
    found, open_ = np.empty((draws, k)), np.arange(draws)
    for _ in range(ATTEMPTS):
        weights = bootstrap(mishaps, len(open_), rng)[:, holders]
        size, trained = weights @ size_of, weights @ trained_of
        fit = solve(data, weights, penalty="firth", start=np.zeros(k))
        good, coefficients = fit.converged & (size > 0), fit.coefficients.copy()
        mixed = good & (trained > 0) & (trained < size)
        if mixed.any():
            coefficients[mixed] = refit_intercept(data, weights[mixed], coefficients[mixed])
        found[open_[good]] = coefficients[good]
        open_ = open_[~good]
        if not open_.size:
            return Entries(found @ design.T, leans_on, left_out)
    raise NotEstimable("not_converged", "A model of the training entries has no finite solution.")


def _carried(
    people: pd.DataFrame, answer: Floats, covariates: Sequence[str]
) -> tuple[Floats, tuple[str, ...], tuple[str, ...]]:
    """Design (d, k), intercept first, of the covariates that so few people can carry; which they are, which not."""
    left = int(min(answer.sum(), len(answer) - answer.sum())) // RARER_PER_COLUMN
    known = [name for name in covariates if people[name].notna().any()]
    if not left or not known:
        return np.ones((len(people), 1)), (), tuple(covariates)
    filled, terms, _ = fill_gaps(people, known)
    design = build_design(filled, terms)
    added = {term: term.removesuffix("_missing") for term in terms if term not in known}
    of = {
        column: added.get(term.name, term.name)
        for term in design.terms
        for column in term.columns
        if column in design.columns
    }
    sizes, leans_on = Counter(of.values()), list[str]()
    for name in known:
        if 0 < sizes[name] <= left:
            leans_on.append(name)
            left -= sizes[name]
    kept = [at for at, column in enumerate(design.columns) if not at or of[column] in leans_on]
    return design.matrix[:, kept], tuple(leans_on), tuple(one for one in covariates if one not in leans_on)
