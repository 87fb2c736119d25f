"""A model of who survives that can be refitted with any mishaps left out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.question import Target
from survstats.groundwork.errors import NotEstimable, Notice
from survstats.groundwork.resampling import leave_one_out
from survstats.models.cluster_covariance import cluster_covariance
from survstats.models.design import Design, build_design, fill_gaps
from survstats.models.kernel import Collapsed, collapse, mean_risk, refit_intercept, solve
from survstats.models.separation import find_separation

Floats = NDArray[np.float64]

#: The design puts the intercept first and the exposure next.
EXPOSURE_COLUMN = 1


@dataclass(frozen=True)
class RiskModel:
    """A model of the outcome that can be refitted under any mishap weights.

    Attributes
    ----------
    design : Design
        n rows, k columns, intercept first.
    trained_rows, untrained_rows : ndarray of shape (n, k)
        The design with everyone set to trained, to untrained.
    outcome, exposure : ndarray of shape (n,)
        As recorded: 1 survived, 1 trained.
    penalised : bool
        True: every fit is Firth's with the intercept refitted (FLIC). False: maximum likelihood.
    notices : tuple of Notice
    """

    design: Design
    collapsed: Collapsed
    trained_rows: Floats
    untrained_rows: Floats
    outcome: Floats
    exposure: Floats
    penalised: bool
    notices: tuple[Notice, ...]

    @property
    def mishaps(self) -> int:
        """How many mishaps the model rests on (g)."""
        return len(self.design.mishap_labels)

    @property
    def occupants(self) -> int:
        """How many occupants the model rests on (n)."""
        return len(self.exposure)

    @property
    def method(self) -> str:
        """Code of the method behind every number of this model."""
        return "standardised_firth_flic" if self.penalised else "standardised_ml"

    def coefficients(self, weights: Floats) -> Floats:
        """Coefficients of shape (b, k) under mishap weights of shape (b, g).

        Raises
        ------
        NotEstimable
            ``arm_in_one_mishap`` if the exposure cannot be told in any of the b fits, ``not_converged`` if any
            has no finite solution.
        """
        fits = solve(self.collapsed, weights, penalty="firth" if self.penalised else "none")
        if not bool(np.all(fits.identified[:, EXPOSURE_COLUMN])):
            raise NotEstimable("arm_in_one_mishap", "All people of one training group come from one mishap.")
        if not bool(np.all(fits.converged)):
            raise NotEstimable(
                "not_converged", "A refit has no finite solution.", "Use fewer covariates in the study file."
            )
        if self.penalised:
            return refit_intercept(self.collapsed, weights, fits.coefficients)
        return fits.coefficients

    def exposure_df(self) -> float:
        """Satterthwaite degrees of freedom of the exposure's coefficient (CR2), at the fit of all mishaps."""
        coefficients = self.coefficients(np.ones((1, self.mishaps)))[0]
        risk = 1 / (1 + np.exp(-(self.design.matrix @ coefficients)))
        root = np.sqrt(risk * (1 - risk))
        spread = cluster_covariance(
            self.design.matrix * root[:, None], (self.outcome - risk) / root, self.design.mishap_codes
        )
        return float(spread.df[EXPOSURE_COLUMN])

    def risks(self, weights: Floats, *, target: Target = "all") -> Floats:
        """Mean survival if all, if none of the target were trained: shape (b, 2) for weights of shape (b, g)."""
        coefficients = self.coefficients(weights)
        rows = np.ones(self.occupants, dtype=bool)
        if target != "all":
            rows = self.exposure == (1.0 if target == "trained" else 0.0)
        codes = self.design.mishap_codes[rows]
        pair = [
            mean_risk(matrix[rows], codes, weights, coefficients)
            for matrix in (self.trained_rows, self.untrained_rows)
        ]
        return np.column_stack(pair)


def prepare(
    frame: pd.DataFrame, *, outcome: str, exposure: str, covariates: Sequence[str], cluster: str
) -> RiskModel:
    """Set up the outcome model and decide, before any fit, which likelihood it needs.

    Parameters
    ----------
    frame : DataFrame of n rows
        ``outcome`` and ``exposure`` hold 0 and 1 without gaps. Gaps in covariates are coded as such, never dropped.
    outcome, exposure, cluster : str
        Column names; ``cluster`` is the mishap.
    covariates : sequence of str
        Columns measured before immersion.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_arm``, ``one_outcome``, ``one_mishap``, ``arm_in_one_mishap``, or ``too_many_fields`` where
        fewer died, or fewer lived, than the design has columns.

    Notes
    -----
    If the full set, or the set with any one mishap left out, is separated (linear programme for the full set,
    divergence for the rest), the point and all replicates use Firth's likelihood with the intercept refitted, so
    that predicted risks stay calibrated: Heinze and Schemper 2002 (doi:10.1002/sim.1047), Puhr et al. 2017
    (doi:10.1002/sim.7273).
    """
    refuse_thin(frame, outcome, exposure, cluster)
    filled, terms, gaps = fill_gaps(frame, covariates)
    design = build_design(filled, [exposure, *terms], cluster=cluster)
    observed = filled[outcome].to_numpy(dtype=float)
    if min(observed.sum(), len(observed) - observed.sum()) < len(design.columns):
        raise NotEstimable(
            "too_many_fields",
            "There are fewer deaths, or fewer survivors, than columns to adjust for.",
            "Adjust for fewer fields.",
        )
    model = RiskModel(
        design=design,
        collapsed=collapse(design.matrix, observed, design.mishap_codes),
        trained_rows=design.apply(filled, setting={exposure: 1.0}),
        untrained_rows=design.apply(filled, setting={exposure: 0.0}),
        outcome=observed,
        exposure=filled[exposure].to_numpy(dtype=float),
        penalised=False,
        notices=(
            *(Notice("gap_coded", {"field": name}) for name in gaps),
            *(Notice("aliased_column", {"column": name}) for name in design.dropped),
        ),
    )
    if find_separation(design.matrix, observed).kind == "none":
        try:
            model.coefficients(leave_one_out(model.mishaps))
        except NotEstimable as fault:
            if fault.reason == "not_converged":
                return penalise(model)
            raise
        return model
    return penalise(model)


def penalise(model: RiskModel) -> RiskModel:
    """The same model, fitted by the penalised likelihood throughout."""
    notice = Notice("separated", {"columns": len(model.design.columns)})
    return replace(model, penalised=True, notices=(*model.notices, notice))


def refuse_thin(frame: pd.DataFrame, outcome: str, exposure: str, cluster: str) -> None:
    """Stop where nothing can be compared, whatever the model.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_arm``, ``one_outcome`` or ``one_mishap``.
    """
    if frame.empty:
        raise NotEstimable("no_rows", "No one is left to compare.")
    if frame[exposure].nunique() < 2:
        raise NotEstimable("one_arm", "Everyone in the comparison stands in the same training group.")
    if frame[outcome].nunique() < 2:
        raise NotEstimable("one_outcome", "Everyone in the comparison had the same outcome.")
    if frame[cluster].nunique() < 2:
        raise NotEstimable("one_mishap", "All occupants come from one mishap.")
