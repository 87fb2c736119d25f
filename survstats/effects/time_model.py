"""Which model says who gets out and how soon, where times are bands, guesses and silence?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.effects.risk_model import EXPOSURE_COLUMN
from survstats.effects.time_rows import Share, TimeRows, bands
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import leave_one_out
from survstats.models.design import build_design
from survstats.models.interval_time import Distribution, fit_time, refit_time
from survstats.models.mixture_time import fit_mixture, refit_mixture

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


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
    covariance : ndarray of shape (k + 1, k + 1)
        Of coefficients and log scale at the fit of all mishaps, as if people were independent.
    log_likelihood : float
        Of the times, given who got out; of everything where both parts had to be fitted together.
    share : Share or None
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
    covariance: Floats
    log_likelihood: float
    share: Share | None
    share_reason: str | None
    joint: bool

    def centre(self, people: Bools, *, trained: float | None = None, fits: int | None = None) -> Floats:
        """Where on the log of seconds the times of some people lie, by each fit: shape (1 + g, m) for m people.

        Parameters
        ----------
        people : ndarray of bool, shape (n,)
        trained : float, optional
            The exposure that all of them are set to; as recorded if not given.
        fits : int, optional
            Of the first so many fits only.

        Raises
        ------
        NotEstimable
            ``unseen_level`` where one of them is of a kind of which nobody has a time.
        """
        setting = None if trained is None else {self.rows.exposure: trained}
        matrix = self.rows.design.apply(self.rows.filled.loc[people], setting=setting)
        return np.asarray(self.coefficients[:fits] @ matrix.T)


def fit_times(rows: TimeRows, *, distribution: Distribution) -> TimeModel:
    """Fit who gets out and when to all mishaps, and with each left out.

    Raises
    ------
    NotEstimable
        As `fit_time`, `refit_time`, or `fit_mixture`.

    Notes
    -----
    Where it is known of everybody whether they got out, the likelihood is a product of both parts and they are fitted
    apart. A time is used as the band it is; nobody is given a time they do not have.
    """
    if rows.undecided.any():
        return _fit_together(rows, distribution)
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
    share, reason = rows.share
    return TimeModel(
        rows=rows,
        distribution=distribution,
        coefficients=np.vstack([whole.coefficients, refits.coefficients]),
        scale=np.append(whole.scale, refits.scale),
        covariance=whole.covariance,
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
        covariance=whole.time.covariance,
        log_likelihood=whole.log_likelihood,
        share=Share(design.matrix, if_trained, if_untrained, np.vstack([whole.share, refits.share])),
        share_reason=None,
        joint=True,
    )
