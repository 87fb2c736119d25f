"""Which training does one turn of the chains give to whom it is unknown of?

All chains go side by side: their rows are stacked as mishaps of their own, so that one call of the kernel fits
the same model in every chain.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import expit

from survstats.effects.imputation_chains import (
    CERTAIN,
    Chains,
    Places,
    changing_columns,
    drawn_status,
    of_others,
    within_allowed,
)
from survstats.effects.missing_values import BRIEFED, CURRENT, LAPSED, NEVER, STATUSES, Floats, columns_of
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import bootstrap
from survstats.models.design import build_design
from survstats.models.kernel import collapse, refit_intercept, solve

RARER_PER_COLUMN = 3  # people of the rarer answer that a column needs
MISHAPS_PER_COLUMN = 2
ATTEMPTS = 20


@dataclass(frozen=True)
class Step:
    """One either-or of the training status.

    Attributes
    ----------
    yes, among : tuple of int
        Statuses that answer yes, and those of whom it is asked.
    rows : (r,) array of int
        People whose answer is known.
    answer : (r,) array
    columns : tuple of str
        Design columns, without the intercept; none where all answers are alike.
    leans_on, left_out : tuple of str
        Predictors these columns belong to, and those that too few answers, or mishaps, can carry.
    """

    yes: tuple[int, ...]
    among: tuple[int, ...]
    rows: Places
    answer: Floats
    columns: tuple[str, ...] = ()
    leans_on: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


def status_steps(chains: Chains) -> tuple[Step, ...]:
    """The three questions behind a status, with the predictors each can carry.

    Had a hands-on course at all; if so, was it current; if not, was there a briefing or dry course. Columns that say
    the same as those before them are dropped. A step carries one column for `RARER_PER_COLUMN` people of the rarer
    answer and for `MISHAPS_PER_COLUMN` mishaps: predictors are taken in the order of `_candidates`, each whole or
    not at all, and those that no longer fit are told.
    """
    everybody = (CURRENT, LAPSED, NEVER, BRIEFED)
    questions = (
        ((CURRENT, LAPSED), everybody),
        ((CURRENT,), (CURRENT, LAPSED)),
        ((BRIEFED,), (NEVER, BRIEFED)),
    )
    return tuple(_step(chains, yes, among) for yes, among in questions)


def draw_training(chains: Chains, steps: Sequence[Step], rng: np.random.Generator) -> None:
    """Draw a status for everyone of unknown training in every chain."""
    gaps, unknown = chains.gaps, chains.gaps.unknown
    answers = []
    for step in steps:
        if not step.columns:
            answers.append(np.full((chains.draws, len(unknown)), step.answer[0]))
            continue
        others = _others_answer(chains, step)
        predicted = _design(chains, step.columns, unknown, others)
        answers.append(expit(np.einsum("muk,mk->mu", predicted, _fit(chains, step, others, rng))))
    hands_on, current, briefed = (np.clip(answer, CERTAIN, 1 - CERTAIN) for answer in answers)
    chances = np.stack(
        [
            hands_on * current,
            hands_on * (1 - current),
            (1 - hands_on) * (1 - briefed),
            (1 - hands_on) * briefed,
        ],
        axis=-1,
    )
    chains.chances = within_allowed(chances, gaps.allowed[unknown])
    chains.uniforms = rng.random((chains.draws, len(unknown), 2))
    chains.status[:, unknown] = drawn_status(chains.chances, chains.uniforms)


def _step(chains: Chains, yes: tuple[int, ...], among: tuple[int, ...]) -> Step:
    gaps, choices = chains.gaps, np.arange(len(STATUSES))
    is_yes, asked = np.isin(choices, yes), np.isin(choices, among)
    can_yes = np.any(gaps.allowed & is_yes, axis=1)
    can_no = np.any(gaps.allowed & asked & ~is_yes, axis=1)
    not_asked = np.any(gaps.allowed & ~asked, axis=1)
    rows = np.flatnonzero(~not_asked & (can_yes != can_no))
    answer = np.asarray(can_yes, dtype=float)[rows]
    rarer = int(min(answer.sum(), len(answer) - answer.sum()))
    step = Step(yes, among, rows, answer)
    if not rarer:
        return step
    of = {column: name for name, columns in _candidates(chains).items() for column in columns}
    first = _design(chains, list(of), rows, _others_answer(chains, step))[0]
    free = build_design(pd.DataFrame(first[:, 1:], columns=list(of)), list(of)).columns[1:]
    left = max(1, min(rarer // RARER_PER_COLUMN, len(np.unique(gaps.codes[rows])) // MISHAPS_PER_COLUMN))
    leans_on, left_out = [], []
    for name, size in Counter(of[column] for column in free).items():
        if size > left:
            left_out.append(name)
            continue
        leans_on.append(name)
        left -= size
    columns = tuple(column for column in free if of[column] in leans_on)
    return replace(step, columns=columns, leans_on=tuple(leans_on), left_out=tuple(left_out))


def _candidates(chains: Chains) -> dict[str, list[str]]:
    """All predictors of a status with their columns: the outcome, what the others aboard show, then the fields."""
    own = ["outcome", "answer_of_others", "outcome_of_others", "log_aboard"]
    fields = {one.name: [name for name, _ in columns_of(one, one.values)] for one in chains.gaps.fields}
    return {
        name: [name] for name in own if chains.gaps.with_outcome or not name.startswith("outcome")
    } | fields


def _others_answer(chains: Chains, step: Step) -> Floats:
    """Share of the others in the mishap who answer yes, of those asked, shape (m, n)."""
    asked = np.isin(chains.status, step.among).astype(float)
    yes = np.isin(chains.status, step.yes).astype(float)
    return of_others(yes, asked, chains.members, chains.gaps.codes)


def _design(chains: Chains, names: Sequence[str], rows: Places, others: Floats) -> Floats:
    """Design (m, r, k) of rows: intercept, then the predictors named."""
    changing = {**changing_columns(chains), "answer_of_others": others}
    design = np.empty((chains.draws, len(rows), len(names) + 1))
    design[:, :, 0] = 1.0
    for place, name in enumerate(names, start=1):
        column = changing[name][:, rows] if name in changing else chains.fixed[name][rows]
        design[:, :, place] = column
    return design


def _fit(chains: Chains, step: Step, others: Floats, rng: np.random.Generator) -> Floats:
    """Coefficients (m, k) of a step in resampled mishaps, with the intercept refitted.

    A resample in which the penalised fit does not converge is drawn again.
    """
    m, g = chains.draws, chains.gaps.mishaps
    design = _design(chains, step.columns, step.rows, others)
    codes = chains.gaps.codes[step.rows] + g * np.arange(m)[:, None]
    stacked = collapse(
        design.reshape(-1, design.shape[2]), np.tile(step.answer, m), codes.ravel(), mishaps=g * m
    )
    fitted, weights = np.zeros((m, design.shape[2])), np.zeros((m, g))
    open_ = np.arange(m)
    for _ in range(ATTEMPTS):
        weights[open_] = bootstrap(g, len(open_), rng)
        spread = np.zeros((len(open_), m, g))
        spread[np.arange(len(open_)), open_] = weights[open_]
        found = solve(
            stacked, spread.reshape(len(open_), -1), penalty="firth", start=np.zeros(design.shape[2])
        )
        fitted[open_[found.converged]] = found.coefficients[found.converged]
        open_ = open_[~found.converged]
        if not open_.size:
            break
    else:
        raise NotEstimable("not_converged", "A model of the unknown training has no finite solution.")
    everywhere = np.zeros((m, m, g))
    everywhere[np.arange(m), np.arange(m)] = weights
    return refit_intercept(stacked, everywhere.reshape(m, -1), fitted)
