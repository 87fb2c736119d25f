"""What if mishaps in which nobody died were reported less often than the others?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from survstats.effects.arms import compare_arms, seen
from survstats.effects.risk_model import Refits, RiskModel
from survstats.groundwork.errors import CallError
from survstats.groundwork.estimate import Estimate
from survstats.groundwork.resampling import leave_one_out
from survstats.models.kernel import mean_risk

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class UnderReporting:
    """The main difference if only a share of the harmless mishaps had been reported.

    Attributes
    ----------
    reported : float
        Share of harmless mishaps that were reported, in (0, 1]; each then stands for 1 / ``reported`` of its kind.
    difference : Estimate
        Survival if all minus survival if none had been trained, averaged over the people so weighted.
    """

    reported: float
    difference: Estimate


def under_reporting(
    model: RiskModel | Refits, shares: Sequence[float] = (0.25, 0.5, 1.0), *, level: float = 0.95
) -> tuple[UnderReporting, ...]:
    """The main difference for each share in which harmless mishaps may have been reported.

    Parameters
    ----------
    model : RiskModel or Refits
        The main model: n occupants, g mishaps.
    shares : sequence of float
        In (0, 1]; 1 gives the main estimate itself.
    level : float
        Coverage aimed at.

    Raises
    ------
    CallError
        ``share``.
    NotEstimable
        As the refits of the model.

    Notes
    -----
    A mishap is harmless where everyone compared lived. It weighs 1 / share in the fit and in the average, and the
    jackknife leaves mishaps out under those weights: what a fuller record would hold is assumed to look like what was
    recorded, and no more is known from it. Limits of an arm in which nobody died stay the exact ones of its raw counts.
    """
    whole = model.model if isinstance(model, Refits) else model
    harmless = harmless_mishaps(whole)
    tallies = seen(whole.outcome, whole.exposure)
    found = []
    for share in shares:
        if not 0 < share <= 1:
            raise CallError("share", f"A share reported must lie above 0 and not above 1, not {share}.")
        compared = compare_arms(
            _weighted_risks(whole, np.where(harmless, 1 / share, 1.0)),
            tallies,
            occupants=whole.occupants,
            mishaps=whole.mishaps,
            method=whole.method,
            level=level,
        )
        found.append(UnderReporting(share, compared["difference"]))
    return tuple(found)


def harmless_mishaps(model: RiskModel | Refits) -> NDArray[np.bool_]:
    """In which of the g mishaps, in the model's order, everyone compared lived."""
    whole = model.model if isinstance(model, Refits) else model
    died = np.bincount(whole.design.mishap_codes, weights=1 - whole.outcome, minlength=whole.mishaps)
    return np.asarray(died == 0)


def _weighted_risks(model: RiskModel, weight: Floats) -> Floats:
    """Survival if all, if none were trained under mishap weights (g,), then with each mishap left out: (1 + g, 2)."""
    weights = np.concatenate([weight[None, :], leave_one_out(model.mishaps)[:] * weight])
    coefficients = model.coefficients(weights)
    codes = model.design.mishap_codes
    return np.column_stack(
        [mean_risk(rows, codes, weights, coefficients) for rows in (model.trained_rows, model.untrained_rows)]
    )
