"""What would training change, if either the model of who survives or the model of who is trained is right?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy import sparse
from scipy.special import expit

from survstats.effects.intervals import jackknife_estimate
from survstats.effects.risk_model import RiskModel, prepare, refit
from survstats.effects.standardise import standardised_risks
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.models.design import build_design, fill_gaps
from survstats.models.one_pass import fit_one_pass
from survstats.models.patterns import pattern_codes

Floats = NDArray[np.float64]

#: A propensity nearer than this to 0 or 1 would let one person stand for a million.
NO_COUNTERPART = 1e-6
BLOCK_CELLS = 2_000_000  # patterns x fits held at a time


@dataclass(frozen=True)
class Augmented:
    """The augmented inverse-probability-weighted difference, beside the standardised one.

    Attributes
    ----------
    difference : Estimate
        psi1 - psi0 over everybody; both models are refitted with each mishap left out.
    influence_se : float
        Its standard error from the influence function summed by mishap, times sqrt(g / (g - 1)); it takes the fits
        as known.
    untrained : Estimate
        The difference over those who never were trained.
    minus_standardised : Estimate
        The standardised difference minus the augmented one. Where it exceeds its own standard error the two models
        do not tell the same story.
    penalised : bool
        Whether the model of who is trained needed Firth's likelihood (the other: ``difference.method``).
    """

    difference: Estimate
    influence_se: float
    untrained: Estimate
    minus_standardised: Estimate
    penalised: bool


def augmented(
    frame: pd.DataFrame,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    level: float = 0.95,
) -> Augmented:
    """The difference in survival that stays right if one of two models is wrong, with its mishap jackknife.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``outcome`` and ``exposure`` hold 0 and 1. Gaps in covariates are coded as such, never dropped.
    outcome, exposure, cluster : str
        Column names; ``cluster`` is the mishap.
    covariates : sequence of str
        Columns measured before immersion; both models use them.
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        As `prepare`; ``no_overlap`` where somebody has no counterpart in the other group, ``arm_one_outcome`` where
        everybody of one group lived or everybody died, so that the jackknife would see no spread in it.

    Notes
    -----
    Robins, Rotnitzky and Zhao 1994 (doi:10.1080/01621459.1994.10476818); for the untrained the weights of the trained
    are the odds of not being trained. No cross-fitting: with a few dozen mishaps a fold would be too small. Neither
    model knows what was not measured.
    """
    model = prepare(frame, outcome=outcome, exposure=exposure, covariates=covariates, cluster=cluster)
    for arm in (0.0, 1.0):
        if len(np.unique(model.outcome[model.exposure == arm])) < 2:
            raise NotEstimable("arm_one_outcome", "Everybody of one training group had the same outcome.")
    refits = refit(model)
    filled, terms, _ = fill_gaps(frame, covariates)
    chance = build_design(filled, terms, cluster=cluster)
    trained = fit_one_pass(chance.matrix, model.exposure, chance.mishap_codes)
    scores = _Scores(model, refits.coefficients, chance.matrix, trained.coefficients)
    pair = _replicates(scores)
    if np.abs(pair[0]).max() > 1:
        raise NotEstimable("no_overlap", "The weights of a few people outgrow those of all others.")
    plain = np.diff(standardised_risks(refits, np.ones(model.occupants, dtype=bool))[:, ::-1], axis=1)[:, 0]

    def estimate(values: Floats, occupants: int) -> Estimate:
        return jackknife_estimate(
            float(values[0]),
            values[1:],
            scale="identity",
            unit="difference",
            occupants=occupants,
            method=model.method.replace("standardised", "augmented"),
            level=level,
        )

    return Augmented(
        difference=estimate(pair[:, 0], model.occupants),
        influence_se=_influence_error(scores, float(pair[0, 0])),
        untrained=estimate(pair[:, 1], int((model.exposure == 0).sum())),
        minus_standardised=estimate(plain - pair[:, 0], model.occupants),
        penalised=trained.penalised,
    )


@dataclass(frozen=True)
class _Scores:
    """Both models and the 1 + g fits of each."""

    model: RiskModel
    risk_fits: Floats
    propensity_rows: Floats
    propensity_fits: Floats


def _parts(scores: _Scores, rows: NDArray[np.int64], fits: slice) -> tuple[Floats, Floats]:
    """What each row adds to the difference over all, and to the sum over the untrained: (rows, fits) each."""
    model, beta = scores.model, scores.risk_fits[fits].T
    trained, untrained = expit(model.trained_rows[rows] @ beta), expit(model.untrained_rows[rows] @ beta)
    chance = expit(scores.propensity_rows[rows] @ scores.propensity_fits[fits].T)
    if chance.min() < NO_COUNTERPART or chance.max() > 1 - NO_COUNTERPART:
        raise NotEstimable(
            "no_overlap",
            "Some people have no counterpart in the other training group.",
            "Use fewer covariates in the study file.",
        )
    a, y = model.exposure[rows][:, None], model.outcome[rows][:, None]
    beyond = a * (y - trained) / chance
    everybody = trained - untrained + beyond - (1 - a) * (y - untrained) / (1 - chance)
    return everybody, (1 - chance) * beyond + (1 - a) * (trained - y)


def _replicates(scores: _Scores) -> Floats:
    """The difference over all and over the untrained, shape (1 + g, 2): all mishaps, then without mishap j."""
    model = scores.model
    same = np.column_stack([model.design.matrix, scores.propensity_rows, model.outcome])
    labels, rows = pattern_codes(same)
    cells = (np.ones(model.occupants), (labels, model.design.mishap_codes))
    counts = sparse.csr_array(cells, shape=(len(rows), model.mishaps))
    total, untrained = np.bincount(labels).astype(float)[:, None], 1 - model.exposure[rows]
    found = np.empty((1 + model.mishaps, 2))
    step = max(BLOCK_CELLS // len(rows), 1)
    for first in range(0, 1 + model.mishaps, step):  # fit 0 leaves nobody out, fit 1 + j mishap j
        fits = slice(first, min(first + step, 1 + model.mishaps))
        there = np.repeat(total, fits.stop - fits.start, axis=1)
        left_out = slice(max(first - 1, 0), fits.stop - 1)
        there[:, max(1 - first, 0) :] -= counts[:, left_out].toarray()
        everybody, others = _parts(scores, rows, fits)
        found[fits, 0] = (there * everybody).sum(axis=0) / there.sum(axis=0)
        found[fits, 1] = (there * others).sum(axis=0) / (untrained @ there)
    return found


def _influence_error(scores: _Scores, difference: float) -> float:
    model = scores.model
    each = _parts(scores, np.arange(model.occupants), slice(0, 1))[0][:, 0] - difference
    by_mishap = np.bincount(model.design.mishap_codes, each, minlength=model.mishaps)
    few = model.mishaps / (model.mishaps - 1)
    return math.sqrt(few * float(np.sum(by_mishap**2))) / model.occupants
