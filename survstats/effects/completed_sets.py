"""Which survival does each completed set give if all, if none had been trained, with every mishap left out in turn?

Completed sets differ in few people: those whose training or fields were drawn. So every different row is taken once,
and which rows belong to a set is written into the weights of one solve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.arms import Seen, seen
from survstats.effects.risk_model import EXPOSURE_COLUMN, RiskModel, prepare, refit, refuse_thin
from survstats.effects.standardise import standardised_risks
from survstats.groundwork.resampling import leave_one_out
from survstats.models.design import build_design, fill_gaps
from survstats.models.kernel import Collapsed, collapse, mean_risk, refit_intercept, solve

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.int64]
Weights = NDArray[np.uint8]

CELLS_AT_ONCE = 400_000  # people x sets x fits of each, in one solve
TOGETHER = 500  # mishaps beyond which a set of its own, whose refits then are near by, is no slower


@dataclass(frozen=True)
class Question:
    """Columns of the comparison: outcome, exposure, covariates, and the mishap's label."""

    outcome: str
    exposure: str
    covariates: tuple[str, ...]
    cluster: str

    @property
    def columns(self) -> list[str]:
        """All of them."""
        return list(dict.fromkeys([self.outcome, self.exposure, self.cluster, *self.covariates]))

    def model(self, people: pd.DataFrame) -> RiskModel:
        """The model of those who are compared: exposed or not, nobody in neither group; raises as `prepare`."""
        return prepare(
            people[people[self.exposure].notna()],
            outcome=self.outcome,
            exposure=self.exposure,
            covariates=self.covariates,
            cluster=self.cluster,
        )


@dataclass(frozen=True)
class CompletedSet:
    """What one completed set says.

    Attributes
    ----------
    risks : (1 + g, 2) array
        Survival if all, if none had been trained: with all mishaps, then with each left out.
    tallies : (Seen, Seen)
        What was seen of the trained and of the untrained.
    """

    risks: Floats
    tallies: tuple[Seen, Seen]

    @property
    def occupants(self) -> int:
        """How many people are compared."""
        return self.tallies[0].people + self.tallies[1].people


@dataclass(frozen=True)
class _Rows:
    """Every different row of some sets.

    Attributes
    ----------
    matrix : (u, k) array
    outcome : (u,) array
    codes : (u,) array of int
        Its mishap; beyond the g mishaps a number of its own where it is not in every set.
    weights : (s, 1 + g, c) array
        What each of them counts in each fit of each set.
    """

    matrix: Floats
    outcome: Floats
    codes: Codes
    weights: Weights


def completed_sets(
    frames: Sequence[pd.DataFrame], exposures: Sequence[Floats], question: Question
) -> list[list[CompletedSet]]:
    """Survival if all, if none had been trained, in every set of every draw.

    Parameters
    ----------
    frames : sequence of m DataFrames
        Completed rows, n each, the same people in the same order.
    exposures : sequence of m arrays (d, n)
        Sets of each draw: 1 trained, 0 never, NaN in neither group.
    question : Question

    Raises
    ------
    NotEstimable
        As `survstats.effects.risk_model.prepare`, if any set cannot be estimated.

    Notes
    -----
    As `standardise`: maximum likelihood, or in a set where that has no finite fit with all mishaps or with any one
    left out, Firth's with the intercept refitted. A set that neither fits goes through `prepare`, which says why; so
    does every set where there are many mishaps.
    """
    there = np.flatnonzero(np.any([np.isfinite(each).any(axis=0) for each in exposures], axis=0))
    taken = [each[:, there] for each in exposures]
    people = [frame[question.columns].iloc[there] for frame in frames]
    risks: list[list[Floats | None]]
    if people[0][question.cluster].nunique() > TOGETHER:
        risks = [[None] * len(each) for each in taken]
    else:
        risks = _of_all_draws(*_design(people, question), taken)
    lived = people[0][question.outcome].to_numpy(dtype=float)
    return [
        [
            _alone(frame.assign(**{question.exposure: exposure}), question)
            if one is None
            else CompletedSet(one, seen(lived, exposure))
            for one, exposure in zip(of_draw, each, strict=True)
        ]
        for frame, of_draw, each in zip(people, risks, taken, strict=True)
    ]


def _of_all_draws(
    matrix: Floats, outcome: Floats, codes: Codes, exposures: Sequence[Floats]
) -> list[list[Floats | None]]:
    """Risks of every set of every draw, as many draws in one solve as `CELLS_AT_ONCE` allows."""
    sets, n = exposures[0].shape
    at_once = max(1, CELLS_AT_ONCE // (n * sets * (2 + int(codes.max()))))
    found = []
    for first in range(0, len(exposures), at_once):
        draws = slice(first, first + at_once)
        found += _fitted(matrix[draws], outcome, codes, np.stack(exposures[draws]))
    return found


def _design(people: Sequence[pd.DataFrame], question: Question) -> tuple[Floats, Floats, Codes]:
    """Design (m, n, k) of all draws, whose exposures are to be put in; outcome and mishap (n,)."""
    stacked = pd.concat(people, ignore_index=True)
    known = stacked[stacked[question.exposure].notna()]
    refuse_thin(known, question.outcome, question.exposure, question.cluster)
    stacked[question.exposure] = stacked[question.exposure].fillna(0.0)
    filled, terms, _ = fill_gaps(stacked, question.covariates)
    design = build_design(filled, [question.exposure, *terms], cluster=question.cluster)
    n = len(people[0])
    outcome = filled[question.outcome].to_numpy(dtype=float)[:n]
    return design.matrix.reshape(len(people), n, -1), outcome, design.mishap_codes[:n]


def _fitted(matrix: Floats, outcome: Floats, codes: Codes, exposures: Floats) -> list[list[Floats | None]]:
    """Risks (1 + g, 2) of every set of some draws; nothing where a set has too few people or no finite fit."""
    draws, sets, n = exposures.shape
    g, flat = int(codes.max()) + 1, exposures.reshape(-1, n)
    compared = np.isfinite(flat)
    rows = _different_rows(matrix, outcome, codes, exposures)
    lived, people = compared @ outcome, compared.sum(axis=1)
    enough = np.minimum(lived, people - lived) >= matrix.shape[2]
    risks = _risks(rows, enough)
    aboard = np.zeros((len(flat), g), dtype=bool)
    which, person = np.nonzero(compared)
    aboard[which, codes[person]] = True
    found = [
        one[np.append(True, there)] if np.isfinite(one).all() else None
        for one, there in zip(risks, aboard, strict=True)
    ]
    return [found[draw * sets : (draw + 1) * sets] for draw in range(draws)]


def _different_rows(matrix: Floats, outcome: Floats, codes: Codes, exposures: Floats) -> _Rows:
    """The rows of some sets, those of one person in one group once if no draw changed them."""
    _, sets, n = exposures.shape
    g, flat = int(codes.max()) + 1, exposures.reshape(-1, n)
    fields = np.delete(matrix, EXPOSURE_COLUMN, axis=2)
    drawn = np.any(fields != fields[:1], axis=(0, 2))
    which, person = np.nonzero(np.isfinite(flat))
    key = (drawn[person] * (which // sets) * n + person) * 2 + flat[which, person].astype(np.int64)
    different, at = np.unique(key, return_inverse=True)
    present = np.zeros((len(flat), len(different)), dtype=np.uint8)
    present[which, at] = 1
    own = different // 2 % n
    rows = matrix[different // 2 // n, own]
    rows[:, EXPOSURE_COLUMN] = different % 2
    mishap = codes[own]
    apart = ~present.all(axis=0)
    cluster = np.where(apart, g - 1 + np.cumsum(apart), mishap)
    of_cluster = np.append(np.arange(g), mishap[apart])
    in_set = np.hstack([np.ones((len(flat), g), dtype=np.uint8), present[:, apart]])
    fits = np.vstack([np.ones(g, dtype=np.uint8), np.asarray(leave_one_out(g), dtype=np.uint8)])
    return _Rows(rows, outcome[own], cluster, in_set[:, None, :] * fits[:, of_cluster])


def _risks(rows: _Rows, enough: Bools) -> Floats:
    """Survival if all, if none had been trained (s, 1 + g, 2); NaN where a set has no finite fit."""
    data = collapse(rows.matrix, rows.outcome, rows.codes, mishaps=rows.weights.shape[2])
    risks = np.full((*rows.weights.shape[:2], 2), np.nan)
    left = np.flatnonzero(enough)
    for penalised in (False, True):
        if not left.size:
            break
        weights = rows.weights[left]
        coefficients, good = _coefficients(data, weights, penalised=penalised)
        if not good.any():
            continue
        pair = []
        for value in (1.0, 0.0):
            as_if = rows.matrix.copy()
            as_if[:, EXPOSURE_COLUMN] = value
            of_good = mean_risk(as_if, rows.codes, _flat(weights[good]), coefficients)
            pair.append(of_good.reshape(-1, weights.shape[1]))
        risks[left[good]] = np.stack(pair, axis=-1)
        left = left[~good]
    return risks


def _coefficients(data: Collapsed, weights: Weights, *, penalised: bool) -> tuple[Floats, Bools]:
    """Coefficients of all fits (b, k) of the sets (s,) that have them."""
    sets, fits, _ = weights.shape
    if penalised:
        fit = solve(data, _flat(weights), penalty="firth")
    else:
        middle = solve(data, weights[sets // 2, :1])
        start = middle.coefficients[0] if middle.converged[0] else np.zeros(data.patterns.shape[1])
        fit = solve(data, _flat(weights), start=start)
    good = np.all((fit.converged & fit.identified[:, EXPOSURE_COLUMN]).reshape(sets, fits), axis=1)
    coefficients = fit.coefficients.reshape(sets, fits, -1)[good].reshape(-1, fit.coefficients.shape[1])
    if penalised and good.any():
        coefficients = refit_intercept(data, _flat(weights[good]), coefficients)
    return coefficients, good


def _flat(weights: Weights) -> Weights:
    return weights.reshape(-1, weights.shape[2])


def _alone(people: pd.DataFrame, question: Question) -> CompletedSet:
    """One set by the road of the main estimate."""
    model = question.model(people)
    risks = standardised_risks(refit(model), np.ones(model.occupants, dtype=bool))
    return CompletedSet(risks, seen(model.outcome, model.exposure))
