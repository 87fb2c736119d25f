"""How much of a difference in survival lies in getting out, and how much in what came after?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.arms import Seen, arm_limits
from survstats.effects.intervals import jackknife_estimate
from survstats.effects.risk_model import RiskModel, prepare, refit
from survstats.effects.standardise import standardised_risks
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, Scale, Unit

Floats = NDArray[np.float64]

#: Shares that two models give may differ by so much in the last digits of their fits.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class Split:
    """A difference in survival as an account of two stages: getting out, and what came after.

    Attributes
    ----------
    difference : Estimate
        Survival if all, minus survival if none had been trained (standardised); the two parts add up to it.
    getting_out, afterwards : Estimate
        The part that lies in more, or fewer, getting out; the part that lies in how those who got out fared.
    out_trained, out_untrained : Estimate
        Share out if all, if none had been trained (standardised).
    after_trained, after_untrained : Estimate
        Survival over share out, if all, if none had been trained: how many of those out lived.
    """

    difference: Estimate
    getting_out: Estimate
    afterwards: Estimate
    out_trained: Estimate
    out_untrained: Estimate
    after_trained: Estimate
    after_untrained: Estimate


def two_parts(survival: Floats, out: Floats) -> tuple[Floats, Floats]:
    """What getting out, and what came after it, add to a difference in survival; their sum is that difference.

    Parameters
    ----------
    survival, out : ndarray of shape (..., 2)
        Share alive and share out, of the trained and of the untrained; whoever lived had got out, and somebody did.

    Returns
    -------
    (ndarray, ndarray) of shape (...)
        (E1 - E0)(R1 + R0) / 2 and (R1 - R0)(E1 + E0) / 2, with E the share out and R survival over E.
    """
    after = survival / out
    getting_out = (out[..., 0] - out[..., 1]) * (after[..., 0] + after[..., 1]) / 2
    return getting_out, (after[..., 0] - after[..., 1]) * (out[..., 0] + out[..., 1]) / 2


def split(
    frame: pd.DataFrame,
    *,
    survived: str,
    out: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    level: float = 0.95,
) -> Split:
    """Split the standardised difference in survival into getting out and afterwards, with mishap-jackknife limits.

    It is an account of where the difference lies, not of what caused it: those who get out are no random part of
    either group.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``survived``, ``out`` and ``exposure`` hold 0 and 1; nobody lived who is not out.
    survived, out, exposure, cluster : str
        Column names; ``cluster`` is the mishap.
    covariates : sequence of str
        Columns measured before immersion.
    level : float
        Coverage aimed at.

    Raises
    ------
    NotEstimable
        As `risk_model.prepare`, of either outcome; ``more_alive_than_out`` where the two models contradict each other.

    Notes
    -----
    Each stage is divided at the middle of the two groups, so that neither comes first (Kitagawa 1955,
    doi:10.1080/01621459.1955.10501299). Both models stand on the same rows, so the difference is the standardised one
    of these rows. With a mishap left out the two models may give a hair more alive than out; that stays as it is in the
    parts and in the shares alike, and widens both.
    """
    models = [
        prepare(frame, outcome=outcome, exposure=exposure, covariates=covariates, cluster=cluster)
        for outcome in (survived, out)
    ]
    everybody = np.ones(len(frame), dtype=bool)
    alive, gone = (standardised_risks(refit(model), everybody) for model in models)
    if (alive[0] > gone[0] + _ROUNDING).any():
        raise NotEstimable("more_alive_than_out", "The two models give more people alive than out.")
    after = alive / gone
    after[0] = np.minimum(after[0], 1.0)
    getting_out, afterwards = two_parts(alive, gone)
    tallies = _tallies(models)

    def estimate(values: Floats, scale: Scale, unit: Unit) -> Estimate:
        return jackknife_estimate(
            *(float(values[0]), values[1:]),
            scale=scale,
            unit=unit,
            occupants=len(frame),
            method="split",
            level=level,
        )

    def difference(values: Floats) -> Estimate:
        return estimate(values, "identity", "difference")

    def share(values: Floats, tally: Seen) -> Estimate:
        on_edge = tally.blind or bool((values >= 1).any())  # the logit ends there
        return arm_limits(estimate(values, "identity" if on_edge else "logit", "share"), tally)

    return Split(
        difference=difference(alive[:, 0] - alive[:, 1]),
        getting_out=difference(getting_out),
        afterwards=difference(afterwards),
        out_trained=share(gone[:, 0], tallies[0][0]),
        out_untrained=share(gone[:, 1], tallies[1][0]),
        after_trained=share(after[:, 0], tallies[0][1]),
        after_untrained=share(after[:, 1], tallies[1][1]),
    )


def _tallies(models: Sequence[RiskModel]) -> tuple[tuple[Seen, Seen], tuple[Seen, Seen]]:
    """Of the trained, then of the untrained: how many got out of all, and how many lived of those out."""
    alive, gone = models
    found = []
    for arm in (1, 0):
        group = gone.exposure == arm
        out, lived = int(gone.outcome[group].sum()), int(alive.outcome[group].sum())
        found.append((Seen(out, int(group.sum())), Seen(lived, out)))
    return found[0], found[1]
