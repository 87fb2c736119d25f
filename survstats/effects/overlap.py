"""Whether the trained and the untrained are comparable people: how far their backgrounds overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from survstats.groundwork.errors import NotEstimable
from survstats.models.design import build_design, fill_gaps
from survstats.models.kernel import collapse, refit_intercept, solve

#: Propensities inside these limits count as having a counterpart in the other group.
COUNTERPART_RANGE = (0.05, 0.95)


@dataclass(frozen=True)
class Overlap:
    """Overlap of the two groups.

    Attributes
    ----------
    inside_trained, inside_untrained : float
        Share of each group whose propensity lies within `COUNTERPART_RANGE`.
    effective_trained, effective_untrained : float
        Effective sample size after weighting to everybody, as a share of the group's size (Kish).
    empty_eras : tuple of str
        Eras in which everyone, or no one, had been trained.
    """

    inside_trained: float
    inside_untrained: float
    effective_trained: float
    effective_untrained: float
    empty_eras: tuple[str, ...]

    @property
    def smallest_inside(self) -> float:
        """The smaller of the two shares with a counterpart."""
        return min(self.inside_trained, self.inside_untrained)

    @property
    def smallest_effective(self) -> float:
        """The smaller of the two effective shares."""
        return min(self.effective_trained, self.effective_untrained)


def overlap(
    frame: pd.DataFrame, *, exposure: str, covariates: Sequence[str], cluster: str, era: str
) -> Overlap:
    """How far the backgrounds of the two groups overlap.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``exposure`` holds 0 and 1, both present.
    exposure, cluster, era : str
        Column names.
    covariates : sequence of str
        What the propensity is modelled on.

    Raises
    ------
    NotEstimable
        ``not_converged``.

    Notes
    -----
    The propensity is a logistic model with Firth's penalty and the intercept refitted, so that a covariate that
    settles training altogether still gives a finite, extreme propensity. It leaves out unmeasured differences.
    """
    filled, terms, _ = fill_gaps(frame, covariates)
    design = build_design(filled, terms, cluster=cluster)
    trained = filled[exposure].to_numpy(dtype=float)
    everyone = np.ones((1, len(design.mishap_labels)))
    collapsed = collapse(design.matrix, trained, design.mishap_codes)
    fitted = solve(collapsed, everyone, penalty="firth")
    if not fitted.converged[0]:
        raise NotEstimable("not_converged", "The model of who is trained has no finite solution.")
    coefficients = refit_intercept(collapsed, everyone, fitted.coefficients)[0]
    propensity = 1 / (1 + np.exp(-(design.matrix @ coefficients)))
    inside = (propensity >= COUNTERPART_RANGE[0]) & (propensity <= COUNTERPART_RANGE[1])
    mine, other = trained == 1, trained == 0
    arms = filled.groupby(era, observed=True)[exposure].nunique()
    return Overlap(
        inside_trained=float(inside[mine].mean()),
        inside_untrained=float(inside[other].mean()),
        effective_trained=_effective_share(1 / propensity[mine]),
        effective_untrained=_effective_share(1 / (1 - propensity[other])),
        empty_eras=tuple(str(name) for name in arms.index[arms < 2]),
    )


def _effective_share(weights: np.ndarray[tuple[int], np.dtype[np.float64]]) -> float:
    return float(weights.sum() ** 2 / np.square(weights).sum() / len(weights))
