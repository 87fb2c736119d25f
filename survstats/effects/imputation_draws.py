"""Which values does one turn of the chains put where something is missing?

All chains go side by side: their rows are stacked as mishaps of their own, so that one call of the kernel fits
the same model in every chain.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.spatial import cKDTree
from scipy.special import expit

from survstats.effects.missing_values import (
    BRIEFED,
    CURRENT,
    LAPSED,
    NEVER,
    STATUSES,
    Bools,
    Field,
    Floats,
    Gaps,
    columns_of,
)
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import bootstrap
from survstats.models.design import build_design
from survstats.models.kernel import collapse, refit_intercept, solve

Places = NDArray[np.intp]

DONORS = 5  # nearest known rows of which one lends its value
RARER_PER_COLUMN = 3  # people of the rarer answer that a column needs; known rows, in a matching
MISHAPS_PER_COLUMN = 2
RIDGE = 1e-5  # share of a column's own size added to it, so that a resample without it can be solved
CERTAIN = 1e-12
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
        Predictors, without the intercept; none where all answers are alike.
    left_out : tuple of str
        Predictors that too few answers, or mishaps, can carry.
    """

    yes: tuple[int, ...]
    among: tuple[int, ...]
    rows: Places
    answer: Floats
    columns: tuple[str, ...]
    left_out: tuple[str, ...]


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
    chances = _within_allowed(np.tile(shares, (draws, len(gaps.unknown), 1)), gaps.allowed[gaps.unknown])
    status = np.tile(gaps.status, (draws, 1))
    status[:, gaps.unknown] = drawn_status(chances, rng.random((draws, len(gaps.unknown), 2)))
    values = {}
    for one in gaps.fields:
        if one.gaps.any():
            values[one.name] = np.tile(one.values, (draws, 1))
            units = _units(gaps, one)
            seen = one.values[units][~one.gaps[units]]
            _lend(gaps, one, values[one.name], rng.choice(seen, (draws, int(one.gaps[units].sum()))))
    ones = np.ones(n)
    members = sparse.csr_array((ones, (gaps.codes, np.arange(n))), shape=(gaps.mishaps, n))
    aboard = np.bincount(gaps.codes, minlength=gaps.mishaps)
    fixed = {"log_aboard": np.log(aboard)[gaps.codes]}
    if gaps.with_outcome:
        fixed["outcome"] = gaps.outcome
        fixed["outcome_of_others"] = _of_others(gaps.outcome[None], ones[None], members, gaps.codes)[0]
        fixed["outcome_of_mishap"] = (np.bincount(gaps.codes, gaps.outcome) / aboard)[gaps.codes]
    for one in gaps.fields:
        if not one.gaps.any():
            fixed.update(columns_of(one, one.values))
    return Chains(gaps, status, values, fixed, members, chances, np.zeros((*chances.shape[:2], 2)))


def status_steps(chains: Chains) -> tuple[Step, ...]:
    """The three questions behind a status, with the predictors each can carry.

    Had a hands-on course at all; if so, was it current; if not, was there a briefing or dry course. Predictors
    that say the same as those before them are dropped, then those beyond one in `RARER_PER_COLUMN` people of
    the rarer answer; what is dropped for that is told.
    """
    everybody = (CURRENT, LAPSED, NEVER, BRIEFED)
    questions = (
        ((CURRENT, LAPSED), everybody),
        ((CURRENT,), (CURRENT, LAPSED)),
        ((BRIEFED,), (NEVER, BRIEFED)),
    )
    return tuple(_step(chains, yes, among) for yes, among in questions)


def draw_field(chains: Chains, one: Field, rng: np.random.Generator) -> None:
    """Fill a field's gaps in every chain with the value of a known row that is expected to be much like it.

    Predictive mean matching on a linear regression of the (levels of the) field in resampled mishaps, one of the
    five nearest donors taken at random: only values that were seen can come out, so no wave is below 0 m. Fields of
    the mishap are matched over mishaps, one row each. Little 1988, doi:10.1080/07350015.1988.10509663.
    """
    gaps, units = chains.gaps, _units(chains.gaps, one)
    missing = one.gaps[units]
    design = _matching_design(chains, one, units)
    known = one.values[units][~missing]
    target = (known[:, None] == np.arange(1, len(one.levels))).astype(float) if one.levels else known[:, None]
    spread = np.maximum(target.std(axis=0), CERTAIN)
    weights = bootstrap(gaps.mishaps, chains.draws, rng)[:, gaps.codes[units[~missing]]]
    expected = _regression(design[:, ~missing], target / spread, weights, design)
    lent = np.empty((chains.draws, int(missing.sum())))
    nearest = min(DONORS, len(known))
    for chain in range(chains.draws):
        donors = expected[chain, ~missing] + rng.normal(0, 1e-6, (len(known), target.shape[1]))
        places = cKDTree(donors).query(expected[chain, missing], k=nearest)[1].reshape(-1, nearest)
        lent[chain] = known[places[np.arange(len(places)), rng.integers(0, nearest, len(places))]]
    _lend(gaps, one, chains.values[one.name], lent)


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
    chains.chances = _within_allowed(chances, gaps.allowed[unknown])
    chains.uniforms = rng.random((chains.draws, len(unknown), 2))
    chains.status[:, unknown] = drawn_status(chains.chances, chains.uniforms)


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


def _within_allowed(chances: Floats, allowed: Bools) -> Floats:
    kept = np.maximum(chances, CERTAIN) * allowed
    return np.asarray(kept / kept.sum(axis=-1, keepdims=True))


def _step(chains: Chains, yes: tuple[int, ...], among: tuple[int, ...]) -> Step:
    gaps, choices = chains.gaps, np.arange(len(STATUSES))
    is_yes, asked = np.isin(choices, yes), np.isin(choices, among)
    can_yes = np.any(gaps.allowed & is_yes, axis=1)
    can_no = np.any(gaps.allowed & asked & ~is_yes, axis=1)
    not_asked = np.any(gaps.allowed & ~asked, axis=1)
    rows = np.flatnonzero(~not_asked & (can_yes != can_no))
    answer = np.asarray(can_yes, dtype=float)[rows]
    rarer = int(min(answer.sum(), len(answer) - answer.sum()))
    if not rarer:
        return Step(yes, among, rows, answer, (), ())
    step = Step(yes, among, rows, answer, _candidates(chains), ())
    first = _design(chains, step.columns, rows, _others_answer(chains, step))[0]
    kept = build_design(pd.DataFrame(first[:, 1:], columns=list(step.columns)), step.columns).columns[1:]
    most = max(1, min(rarer // RARER_PER_COLUMN, len(np.unique(gaps.codes[rows])) // MISHAPS_PER_COLUMN))
    return Step(yes, among, rows, answer, kept[:most], kept[most:])


def _candidates(chains: Chains) -> tuple[str, ...]:
    """Names of all predictors of a status, the outcome first."""
    names = [name for name in ("outcome",) if name in chains.fixed]
    for one in chains.gaps.fields:
        names += [name for name, _ in columns_of(one, one.values)]
    return (
        *names,
        *(n for n in ("outcome_of_others",) if n in chains.fixed),
        "answer_of_others",
        "log_aboard",
    )


def _others_answer(chains: Chains, step: Step) -> Floats:
    """Share of the others in the mishap who answer yes, of those asked, shape (m, n)."""
    asked = np.isin(chains.status, step.among).astype(float)
    yes = np.isin(chains.status, step.yes).astype(float)
    return _of_others(yes, asked, chains.members, chains.gaps.codes)


def _of_others(
    values: Floats, counted: Floats, members: sparse.csr_array, codes: NDArray[np.int64]
) -> Floats:
    """Mean of ``values`` over the others counted in the mishap, shape (m, n); overall where there are none."""
    total, count = (members @ values.T).T[:, codes] - values, (members @ counted.T).T[:, codes] - counted
    overall = values.sum(axis=1, keepdims=True) / np.maximum(counted.sum(axis=1, keepdims=True), 1.0)
    return np.where(count > 0.5, total / np.maximum(count, 1.0), overall)


def _changing(chains: Chains) -> dict[str, Floats]:
    """Design columns (m, n) of the fields that had gaps."""
    found: dict[str, Floats] = {}
    for one in chains.gaps.fields:
        if one.name in chains.values:
            found.update(columns_of(one, chains.values[one.name]))
    return found


def _design(chains: Chains, names: Sequence[str], rows: Places, others: Floats) -> Floats:
    """Design (m, r, k) of rows: intercept, then the predictors named."""
    changing = {**_changing(chains), "answer_of_others": others}
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


def _units(gaps: Gaps, one: Field) -> Places:
    """Rows that stand for the field: everyone, or the first of each mishap."""
    if one.by_mishap:
        return np.unique(gaps.codes, return_index=True)[1]
    return np.arange(len(gaps.codes))


def _lend(gaps: Gaps, one: Field, values: Floats, lent: Floats) -> None:
    """Put values (m, missing units) where the field has gaps."""
    units = _units(gaps, one)
    if not one.by_mishap:
        values[:, units[one.gaps[units]]] = lent
        return
    whole = values[:, units].copy()
    whole[:, one.gaps[units]] = lent
    values[:, :] = whole[:, gaps.codes]


def _matching_design(chains: Chains, one: Field, units: Places) -> Floats:
    """Design (m, units, k) for a field: outcome, training, the other fields; only what a mishap has for a mishap's."""
    current = (chains.status == CURRENT).astype(float)
    hands_on = np.isin(chains.status, (CURRENT, LAPSED)).astype(float)
    everyone = np.ones_like(current)
    wanted: list[Floats] = []
    if one.by_mishap:
        size = chains.members @ np.ones(len(chains.gaps.codes))
        own = [name for name in ("outcome_of_mishap", "log_aboard") if name in chains.fixed]
        wanted += [
            ((chains.members @ share.T).T / size)[:, chains.gaps.codes] for share in (current, hands_on)
        ]
    else:
        own = [name for name in ("outcome", "outcome_of_others", "log_aboard") if name in chains.fixed]
        others = _of_others(hands_on, everyone, chains.members, chains.gaps.codes)
        wanted += [current, hands_on, others]
    for other in chains.gaps.fields:
        if other.name != one.name and (other.by_mishap or not one.by_mishap):
            values = chains.values.get(other.name, other.values)
            wanted += [column for _, column in columns_of(other, values)]
    wanted = [*(chains.fixed[name] for name in own), *wanted]
    limit = max(1, int((~one.gaps[units]).sum()) // RARER_PER_COLUMN)
    design = np.ones((chains.draws, len(units), 1 + min(limit, len(wanted))))
    for place, column in enumerate(wanted[:limit], start=1):
        design[:, :, place] = column[..., units]
    return design


def _regression(design: Floats, target: Floats, weights: Floats, at: Floats) -> Floats:
    """Expected targets (m, units, q) from weighted least squares on the known rows of each chain."""
    weighted = design * weights[:, :, None]
    square = np.einsum("mrk,mrl->mkl", weighted, design, optimize=True)
    places = np.arange(square.shape[1])
    square[:, places, places] = square[:, places, places] * (1 + RIDGE) + CERTAIN
    right = np.einsum("mrk,rq->mkq", weighted, target, optimize=True)
    return np.asarray(at @ np.linalg.solve(square, right))
