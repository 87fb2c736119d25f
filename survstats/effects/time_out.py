"""How long do those who get out need, and how many are out by a second, trained against untrained, by the model?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit

from survstats.effects.intervals import jackknife_estimate
from survstats.effects.out_curves import GroupCurve
from survstats.effects.risk_model import EXPOSURE_COLUMN
from survstats.effects.time_model import TimeModel
from survstats.effects.time_rows import Share
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.models.interval_time import distribution_share
from survstats.models.turnbull import curve_bounds

Floats = NDArray[np.float64]

#: A model further than this from the curves without a model is told as off (common practice, no source).
FAR_OFF = 0.1
_HALVINGS = 48


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
        ``unseen_level``.
    """
    out = model.rows.known.ever == 1
    weights = _kept(model)[:, out]
    found = []
    for arm in (1.0, 0.0):
        seconds = np.exp(_half_way(model, model.centre(out, trained=arm), weights))
        found.append(
            jackknife_estimate(
                float(seconds[0]),
                seconds[1:],
                scale="log",
                unit="seconds",
                occupants=int(out.sum()),
                method=model.distribution,
                mishaps=len(np.unique(model.rows.codes[out])),
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
    weights = _kept(model)
    shares = []
    for arm, ever in ((1.0, share.if_trained), (0.0, share.if_untrained)):
        by_then = _out_by(model, model.centre(everybody, trained=arm), at)
        shares.append(np.average(expit(share.coefficients @ ever.T) * by_then, axis=1, weights=weights))
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
    centre = model.centre(group, fits=1)
    return np.array([float(np.mean(ever * _out_by(model, centre, float(time)))) for time in np.asarray(at)])


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


def _share_of(model: TimeModel) -> Share:
    if model.share is None:
        raise NotEstimable(model.share_reason or "not_converged", "Who ever gets out could not be modelled.")
    return model.share


def _kept(model: TimeModel) -> Floats:
    """Who counts in each fit, (1 + g, n): everybody, then everybody but those of mishap j."""
    codes = model.rows.codes
    weights = np.ones((1 + model.rows.mishaps, len(codes)))
    weights[1 + codes, np.arange(len(codes))] = 0.0
    return weights


def _out_by(model: TimeModel, centre: Floats, at: float) -> Floats:
    """Share out by a second of those who get out, of m people whose times the first b fits put at ``centre`` (b, m)."""
    if at <= 0:
        return np.zeros_like(centre)
    scale = model.scale[: len(centre), None]
    return np.asarray(distribution_share((np.log(at) - centre) / scale, model.distribution))


def _half_way(model: TimeModel, centre: Floats, weights: Floats) -> Floats:
    """The log of the second by which half of the weighted people are out, by each fit (1 + g,), by halving."""
    scale, reach = model.scale[:, None], 10 * model.scale
    low, high = centre.min(axis=1) - reach, centre.max(axis=1) + reach
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        shares = distribution_share((middle[:, None] - centre) / scale, model.distribution)
        before = np.average(shares, axis=1, weights=weights) < 0.5
        low, high = np.where(before, middle, low), np.where(before, high, middle)
    return np.asarray((low + high) / 2)
