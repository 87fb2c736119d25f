"""Whether the trained and the untrained are comparable people: how far their backgrounds overlap."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from survstats.groundwork.errors import NotEstimable
from survstats.models.design import build_design, fill_gaps
from survstats.models.kernel import collapse
from survstats.models.one_pass import fit_sets

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
    fitted = fit_sets(collapsed, everyone, penalised=True)
    if not fitted.finite:
        raise NotEstimable("not_converged", "The model of who is trained has no finite solution.")
    propensity = 1 / (1 + np.exp(-(design.matrix @ fitted.coefficients[0])))
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


def era_positivity(frame: pd.DataFrame, exposure: str, era: str) -> pd.DataFrame:
    """How many trained and never trained people each era has: where one group is empty, era and training are one.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``exposure`` holds 1, 0, or a gap for people in neither group.
    exposure, era : str
        Column names.

    Returns
    -------
    DataFrame
        ``era``, ``trained``, ``untrained``; one row for each era in which anybody of either group was, in order.
    """
    return _counted(frame, exposure, [era]).rename(columns={era: "era"})


def empty_cells(
    frame: pd.DataFrame, *, exposure: str, role: str, aircraft_class: str, era: str
) -> pd.DataFrame:
    """In which roles, classes and eras everyone, or no one, had been trained.

    Parameters
    ----------
    frame : DataFrame of n rows
    exposure, role, aircraft_class, era : str
        Column names.

    Returns
    -------
    DataFrame
        ``role``, ``aircraft_class``, ``era``, ``trained``, ``untrained``: the cells with people of one group alone.
        Cells without anybody of either are not listed: nobody was there to be compared.
    """
    names = {role: "role", aircraft_class: "aircraft_class", era: "era"}
    cells = _counted(frame, exposure, list(names)).rename(columns=names)
    empty = (cells["trained"] == 0) | (cells["untrained"] == 0)
    return cells[empty].reset_index(drop=True)


def _counted(frame: pd.DataFrame, exposure: str, by: list[str]) -> pd.DataFrame:
    """Trained and untrained people by the columns ``by``; a gap in one of these is a group of its own, unknown."""
    keys = frame[by].astype(object).where(frame[by].notna(), "unknown").astype(str)
    counted = keys.assign(trained=frame[exposure].eq(1), untrained=frame[exposure].eq(0))
    sums = counted.groupby(by, sort=True)[["trained", "untrained"]].sum().astype(int)
    return sums[sums.sum(axis=1) > 0].reset_index()
