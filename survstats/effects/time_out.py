"""How long do those who get out need, and how many are out by a second, trained against untrained, by the model?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from scipy.special import expit

from survstats.effects.intervals import jackknife_estimate
from survstats.effects.out_curves import GroupCurve
from survstats.effects.risk_model import EXPOSURE_COLUMN
from survstats.effects.time_model import TimeModel
from survstats.effects.time_rows import ShareModel
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.models.collapsed import gather
from survstats.models.times.interval_time import distribution_quantile, distribution_share
from survstats.models.times.time_distributions import Distribution, standard
from survstats.models.times.turnbull import curve_bounds

Floats = NDArray[np.float64]

#: A model further than this from the curves without a model is told as off (common practice, no source).
FAR_OFF = 0.1
_BLOCK_CELLS = 2_000_000  # fits x patterns worked on together
_PASSES, _STILL = 100, 1e-12  # steps towards a median, and the log seconds below which it stands


def time_ratio(model: TimeModel, *, level: float = 0.95) -> Estimate:
    """How many times as long the trained need as the untrained, of those who get out, all else recorded being equal.

    Mishap jackknife on the log. Only who got out has a time: those who were too slow are among the dead, in either
    group.
    """
    timed = model.rows.known.timed
    ratios = np.exp(model.coefficients[:, EXPOSURE_COLUMN])
    return jackknife_estimate(
        float(ratios[0]),
        ratios[1:],
        scale="log",
        unit="ratio",
        occupants=int(timed.sum()),
        method=model.distribution,
        mishaps=len(np.unique(model.rows.codes[timed])),
        level=level,
    )


def medians(model: TimeModel, *, level: float = 0.95) -> tuple[Estimate, Estimate]:
    """By when half of those who ever get out are out, if all, if none of them had been trained, in seconds.

    Standardised over everybody compared who got out, with a mishap jackknife on the log.

    Raises
    ------
    NotEstimable
        ``unseen_level``; ``not_converged``.
    """
    out = model.rows.known.ever == 1
    mishaps = len(np.unique(model.rows.codes[out]))
    found = []
    for arm in (1.0, 0.0):
        patterns, counts = gather(model.matrix(out, trained=arm), model.rows.codes[out], model.rows.mishaps)
        seconds = np.exp(
            np.concatenate(
                [
                    _half_way(
                        model.coefficients[fits] @ patterns.T, model.scale[fits], weights, model.distribution
                    )
                    for fits, weights in _fits(counts)
                ]
            )
        )
        found.append(
            jackknife_estimate(
                float(seconds[0]),
                seconds[1:],
                scale="log",
                unit="seconds",
                occupants=int(out.sum()),
                method=model.distribution,
                mishaps=mishaps,
                level=level,
            )
        )
    return found[0], found[1]


def difference_by_model(model: TimeModel, at: float, *, level: float = 0.95) -> Estimate:
    """Share out by ``at`` seconds if all, minus the share if none of the people compared had been trained.

    Raises
    ------
    NotEstimable
        ``unseen_level``, or the reason why who ever gets out cannot be modelled.
    """
    share, everybody = _share_of(model), np.ones(len(model.rows.known), dtype=bool)
    shares = []
    for arm, ever in ((1.0, share.if_trained), (0.0, share.if_untrained)):
        both = np.column_stack([ever, model.matrix(everybody, trained=arm)])
        patterns, counts = gather(both, model.rows.codes, model.rows.mishaps)
        ever, when = np.hsplit(patterns, [ever.shape[1]])
        found = [
            np.sum(
                weights * expit(share.coefficients[fits] @ ever.T) * _out_by(model, when, at, fits), axis=1
            )
            for fits, weights in _fits(counts)
        ]
        shares.append(np.concatenate(found))
    difference = shares[0] - shares[1]
    return jackknife_estimate(
        float(difference[0]),
        difference[1:],
        scale="identity",
        unit="difference",
        occupants=len(everybody),
        method=f"mixture_{model.distribution}",
        level=level,
    )


def model_curve(model: TimeModel, arm: int, at: ArrayLike) -> Floats:
    """Share of one group out by each of t times by the model, each person as recorded, shape (t,).

    Raises
    ------
    NotEstimable
        As `difference_by_model`.
    """
    share, group = _share_of(model), model.rows.trained == arm
    ever = expit(share.as_they_were[group] @ share.coefficients[0])
    matrix, whole = model.matrix(group), slice(1)
    return np.array(
        [float(np.mean(ever * _out_by(model, matrix, float(time), whole))) for time in np.asarray(at)]
    )


def fit_distance(model: TimeModel, groups: Mapping[int, GroupCurve], *, at: ArrayLike) -> float:
    """How far at most the model's share out lies from the curves without a model, at some seconds set beforehand.

    Parameters
    ----------
    model : TimeModel
    groups : mapping of int to GroupCurve
        The curve of each group, 1 trained, 0 untrained.
    at : array of shape (t,)
        Seconds. Elsewhere a curve without a model jumps wherever guesses of different width happen to overlap.

    Returns
    -------
    float
        A share; none where the model lies between the least and the most that the bands allow.

    Raises
    ------
    NotEstimable
        As `difference_by_model`.
    """
    furthest = 0.0
    for arm, group in groups.items():
        least, most = curve_bounds(group.curve, at)
        told = model_curve(model, arm, at)
        furthest = max(furthest, float(np.max(np.maximum(least - told, told - most), initial=0.0)))
    return furthest


def _share_of(model: TimeModel) -> ShareModel:
    if model.share is None:
        raise NotEstimable(model.share_reason or "not_converged", "Who ever gets out could not be modelled.")
    return model.share


def _fits(counts: sparse.csr_array) -> Iterator[tuple[slice, Floats]]:
    """Some of the 1 + g fits at a time, b of them, and how much each of p patterns weighs in them (b, p).

    Of ``counts`` (p, g): everybody, then everybody but those of mishap j; weights of a fit sum to 1.
    """
    everybody = np.asarray(counts.sum(axis=1)).ravel()
    left_out = sparse.hstack([sparse.csr_array((len(everybody), 1)), counts], format="csc")
    size = max(1, _BLOCK_CELLS // len(everybody))
    for first in range(0, left_out.shape[1], size):
        fits = slice(first, min(first + size, left_out.shape[1]))
        weights = everybody - left_out[:, fits].toarray().T
        yield fits, weights / weights.sum(axis=1, keepdims=True)


def _out_by(model: TimeModel, matrix: Floats, at: float, fits: slice) -> Floats:
    """Share out by a second of those who get out, of rows (m, k) of the model by b of its fits, shape (b, m)."""
    centre = model.coefficients[fits] @ matrix.T
    if at <= 0:
        return np.zeros_like(centre)
    return np.asarray(distribution_share((np.log(at) - centre) / model.scale[fits, None], model.distribution))


def _half_way(centre: Floats, scale: Floats, weights: Floats, distribution: Distribution) -> Floats:
    """The log of the second by which half of the weighted people are out, by b fits, shape (b,).

    Newton's method between the medians of the first and of the last pattern (b, p); halving where it would leave them.
    """
    kind, middle = standard(distribution), centre + scale[:, None] * distribution_quantile(0.5, distribution)
    low, high = middle.min(axis=1), middle.max(axis=1)
    at = np.sum(weights * middle, axis=1)
    for _ in range(_PASSES):
        z = (at[:, None] - centre) / scale[:, None]
        over = np.sum(weights * kind.share(z), axis=1) - 0.5
        slope = np.sum(weights * np.exp(kind.log_density(z)), axis=1) / scale
        low, high = np.where(over < 0, at, low), np.where(over > 0, at, high)
        then = at - np.divide(over, slope, out=np.full_like(at, np.inf), where=slope > 0)
        then = np.where((then >= low) & (then <= high), then, (low + high) / 2)
        moved, at = np.abs(then - at).max(), then
        if moved < _STILL:
            return np.asarray(at)
    raise NotEstimable("not_converged", "The median of the times did not settle.")
