"""How uncertain are log hazard ratios when rows of a cluster belong together?"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from survstats.groundwork.errors import NotEstimable
from survstats.models.times.cox_risk_sets import RiskSets

Floats = NDArray[np.float64]


def score_residuals(sets: RiskSets, beta: Floats) -> Floats:
    """How much each row pulls each coefficient: weighted score residuals (n, k); they sum to the score.

    A row's covariates less the mean at its own event, less the same at every event it was at risk for, by the hazard
    it was under (Therneau, Grambsch and Fleming 1990, doi:10.1093/biomet/77.1.147).  Rows that share an event time
    share alike in the means and hazards of that time, so the order of the rows moves nothing.
    """
    at = sets.moments(beta)
    hazard = sets.mean_weight / at.total
    moved = at.mean * hazard[:, None]
    both = np.column_stack([hazard, moved])
    under = sets.while_at_risk(sets.at_place(both))
    under[sets.events] -= sets.at_place(sets.fraction[:, None] * both)[sets.place]
    residuals = -(sets.matrix * under[:, :1] - under[:, 1:]) * at.risk[:, None]
    count = sets.at_place(np.ones(len(sets.place)))
    mean = (sets.at_place(at.mean) / count[:, None])[sets.place]
    residuals[sets.events] += (sets.matrix[sets.events] - mean) * sets.weights[sets.events, None]
    return residuals


def clustered(residuals: Floats, codes: NDArray[np.int64], covariance: Floats) -> Floats:
    """Sandwich (k, k) of the residuals summed within each cluster.

    Raises
    ------
    NotEstimable
        ``one_mishap``.
    """
    place = np.unique(codes, return_inverse=True)[1]
    if place.max() < 1:
        raise NotEstimable("one_mishap", "Only one cluster: nothing shows how clusters differ.")
    sums = np.column_stack([np.bincount(place, weights=column) for column in residuals.T])
    pulls = sums @ covariance
    return np.asarray(pulls.T @ pulls)
