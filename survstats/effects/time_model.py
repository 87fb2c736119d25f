"""Which model says who gets out and how soon, where times are bands, guesses and silence?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.effects.risk_model import EXPOSURE_COLUMN
from survstats.effects.time_rows import ShareModel, TimeRows, bands
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import leave_one_out
from survstats.models.design import build_design
from survstats.models.times.interval_time import Distribution, fit_time, refit_time
from survstats.models.times.mixture_time import fit_mixture, refit_mixture

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: Where the joint fit has one of these faults it is the share that has no answer, and the times stand by themselves.
_OF_THE_SHARE = {"one_outcome", "separated"}


@dataclass(frozen=True)
class TimeModel:
    """Who ever gets out (a logistic model), and when, of those who do (an accelerated failure time model).

    Attributes
    ----------
    rows : TimeRows
    distribution : {"lognormal", "loglogistic", "weibull"}
    coefficients : ndarray of shape (1 + g, k)
        Of the log of seconds, from all mishaps, then with mishap j left out.
    scale : ndarray of shape (1 + g,)
    log_likelihood : float
        Of the times, given who got out; of everything where both parts had to be fitted together.
    share : ShareModel or None
        None where who gets out cannot be modelled.
    share_reason : str or None
        Why not.
    joint : bool
        Whether both parts were fitted together, since of somebody last seen inside nobody knows whether they got out.
    """

    rows: TimeRows
    distribution: Distribution
    coefficients: Floats
    scale: Floats
    log_likelihood: float
    share: ShareModel | None
    share_reason: str | None
    joint: bool

    @property
    def pulls(self) -> Floats:
        """What leaving out each mishap moves, shape (g, k + 1): coefficients, then the log of the scale.

        Their products summed over mishaps are the jackknife covariance, so a sum of them with independent standard
        normal weights is a draw of the parameters' error.
        """
        at = np.column_stack([self.coefficients, np.log(self.scale)])
        mishaps = len(at) - 1
        return np.asarray(np.sqrt((mishaps - 1) / mishaps) * (at[1:] - at[0]))

    def matrix(self, people: Bools, *, trained: float | None = None) -> Floats:
        """The rows of some people in the model of times, shape (m, k) for m people.

        Parameters
        ----------
        people : ndarray of bool, shape (n,)
        trained : float, optional
            The exposure that all of them are set to; as recorded if not given.

        Raises
        ------
        NotEstimable
            ``unseen_level`` where one of them is of a kind of which nobody has a time.
        """
        setting = None if trained is None else {self.rows.exposure: trained}
        return np.asarray(self.rows.design.apply(self.rows.filled.loc[people], setting=setting))


def fit_times(rows: TimeRows, *, distribution: Distribution) -> TimeModel:
    """Fit who gets out and when to all mishaps, and with each left out.

    Raises
    ------
    NotEstimable
        As `fit_time`, `refit_time`, or `fit_mixture`.

    Notes
    -----
    Where it is known of everybody whether they got out, the likelihood is a product of both parts and they are fitted
    apart; and so they are where the joint fit has no answer for who gets out, whose reason then stands in its place. A
    time is used as the band it is; nobody is given a time they do not have.
    """
    if not rows.undecided.any():
        return _fit_apart(rows, distribution, *rows.share)
    try:
        return _fit_together(rows, distribution)
    except NotEstimable as fault:
        if fault.reason not in _OF_THE_SHARE:
            raise
        return _fit_apart(rows, distribution, None, fault.reason)


def _fit_apart(
    rows: TimeRows, distribution: Distribution, share: ShareModel | None, reason: str | None
) -> TimeModel:
    """The times of those who have one by themselves, beside what is known of who gets out."""
    timed, matrix = rows.known.timed, rows.design.matrix
    low, high = bands(rows.known.of(timed))
    whole = fit_time(matrix, low, high, distribution=distribution)
    refits = refit_time(
        matrix,
        low,
        high,
        rows.codes[timed],
        leave_one_out(rows.mishaps),
        distribution=distribution,
        start=whole,
    )
    _refuse_untold(refits.identified[:, EXPOSURE_COLUMN])
    return TimeModel(
        rows=rows,
        distribution=distribution,
        coefficients=np.vstack([whole.coefficients, refits.coefficients]),
        scale=np.append(whole.scale, refits.scale),
        log_likelihood=whole.log_likelihood,
        share=share,
        share_reason=reason,
        joint=False,
    )


def _refuse_untold(told: Bools) -> None:
    if not told.all():
        raise NotEstimable(
            "arm_in_one_mishap", "All timed people of one training group come from one mishap."
        )


def _fit_together(rows: TimeRows, distribution: Distribution) -> TimeModel:
    """Both parts in one likelihood, of all mishaps and with each left out."""
    design = build_design(rows.filled, [rows.exposure, *rows.terms])
    matrix = rows.design.apply(rows.filled)
    low, high = bands(rows.known)

    whole = fit_mixture(
        *(matrix, low, high, rows.known.ever), distribution=distribution, share_matrix=design.matrix
    )
    refits = refit_mixture(
        *(matrix, low, high, rows.known.ever, rows.codes, leave_one_out(rows.mishaps)),
        distribution=distribution,
        share_matrix=design.matrix,
        start=whole,
    )
    told = refits.time.identified[:, EXPOSURE_COLUMN] & refits.share_identified[:, EXPOSURE_COLUMN]
    _refuse_untold(told)
    if_trained, if_untrained = (design.apply(rows.filled, setting={rows.exposure: arm}) for arm in (1.0, 0.0))
    return TimeModel(
        rows=rows,
        distribution=distribution,
        coefficients=np.vstack([whole.time.coefficients, refits.time.coefficients]),
        scale=np.append(whole.time.scale, refits.time.scale),
        log_likelihood=whole.log_likelihood,
        share=ShareModel(design.matrix, if_trained, if_untrained, np.vstack([whole.share, refits.share])),
        share_reason=None,
        joint=True,
    )
