"""Do the hazards stay in proportion, or does a log hazard ratio move with time?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from survstats.groundwork.errors import NotEstimable
from survstats.models.times.cox import CoxFit, derivatives
from survstats.models.times.cox_risk_sets import RiskSets

Floats = NDArray[np.float64]
Transform = Literal["km", "rank", "identity"]


@dataclass(frozen=True)
class ProportionalCheck:
    """Whether log hazard ratios move with a function of time.

    Attributes
    ----------
    transform : {"km", "rank", "identity"}
        That function.
    correlation : (k,) array
        Of each column's scaled residuals with it: which way the log hazard ratio moves.
    chi_square, p : (k,) arrays
        Score test that the column's log hazard ratio does not move, 1 degree of freedom.
    global_chi_square, global_p : float
        The same of all columns together, k degrees of freedom.
    """

    transform: Transform
    correlation: Floats
    chi_square: Floats
    p: Floats
    global_chi_square: float
    global_p: float


def proportional_check(fit: CoxFit, *, transform: Transform = "km") -> ProportionalCheck:
    """Score test of log hazard ratios that move with time (Grambsch and Therneau 1994, doi:10.1093/biomet/81.3.515).

    The test is that of the model with each covariate times the function of time added, with its exact information
    and not the average one of the paper.  It takes rows as independent: people of one cluster share their luck, so
    a small p may be their doing.

    Parameters
    ----------
    fit : CoxFit
    transform : {"km", "rank", "identity"}
        1 less the Kaplan-Meier share without the event just before; the rank of the
        time among all rows; the time itself.

    Raises
    ------
    NotEstimable
        ``one_outcome`` where all events happen at one time.
    """
    sets, beta, k = fit.sets, fit.coefficients, len(fit.coefficients)
    clock = _clock(sets, transform)
    if np.ptp(clock) == 0:
        raise NotEstimable("one_outcome", "All events happened at one time, so nothing can move with it.")
    clock = (clock - clock.mean()) / clock.std()
    score, moving, twice = _moving(sets, beta, clock)
    information = derivatives(sets, beta)[2]
    free = twice - moving @ np.linalg.solve(information, moving)
    chi_square = score**2 / np.diag(free)
    whole = float(score @ np.linalg.solve(free, score))
    return ProportionalCheck(
        transform=transform,
        correlation=np.array([_correlation(clock, column) for column in scaled_residuals(fit).T]),
        chi_square=chi_square,
        p=np.asarray(chdtrc(1, chi_square)),
        global_chi_square=whole,
        global_p=float(chdtrc(k, whole)),
    )


def scaled_residuals(fit: CoxFit) -> Floats:
    """What each event says of the log hazard ratios at its time (e, k); their mean is the coefficients.

    Covariates of who had the event less the mean at risk, times the number of events and the covariance
    (Schoenfeld 1982, doi:10.1093/biomet/69.1.239; Grambsch and Therneau 1994).  Events in order of strata and times.
    """
    sets = fit.sets
    mean = (
        sets.at_place(sets.moments(fit.coefficients).mean) / sets.at_place(np.ones(len(sets.place)))[:, None]
    )
    residuals = sets.matrix[sets.events] - mean[sets.place]
    return np.asarray(len(residuals) * residuals @ fit.covariance + fit.coefficients)


def _moving(sets: RiskSets, beta: Floats, clock: Floats) -> tuple[Floats, Floats, Floats]:
    """Score (k,) of covariates times the clock; their information with the covariates, and their own (k, k)."""
    at, x, events = sets.moments(beta), sets.matrix, sets.events
    score = (sets.weights[events] * clock) @ x[events] - (sets.mean_weight * clock) @ at.mean
    parts = []
    for power in (clock, clock**2):
        hazard = power * sets.mean_weight / at.total
        under = sets.while_at_risk(sets.at_place(hazard))
        under[events] -= sets.at_place(sets.fraction * hazard)[sets.place]
        means = (at.mean * (power * sets.mean_weight)[:, None]).T @ at.mean
        parts.append((x * (at.risk * under)[:, None]).T @ x - means)
    return score, parts[0], parts[1]


def _clock(sets: RiskSets, transform: Transform) -> Floats:
    """The function of time at each event (e,)."""
    time, there = sets.time[sets.events], sets.weights > 0
    if transform == "identity":
        return time
    if transform == "rank":
        among = np.sort(sets.time[there])
        sides = (np.searchsorted(among, time, side=side) for side in ("left", "right"))
        return np.asarray((sum(sides) + 1) / 2)
    had, count = np.unique(time, return_counts=True)
    still = _at_or_after(sets.time[there], had) - _at_or_after(sets.entry[there], had)
    share = np.cumprod(1 - count / still)
    return 1 - np.concatenate([[1.0], share[:-1]])[np.searchsorted(had, time)]


def _at_or_after(values: Floats, times: Floats) -> NDArray[np.intp]:
    return len(values) - np.searchsorted(np.sort(values), times, side="left")


def _correlation(clock: Floats, column: Floats) -> float:
    return float(np.corrcoef(clock, column)[0, 1])
