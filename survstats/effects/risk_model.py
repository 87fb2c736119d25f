"""A model of who survives that can be refitted with any mishaps left out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.question import Target
from survstats.groundwork.errors import NotEstimable, Notice
from survstats.groundwork.resampling import Weights, leave_one_out
from survstats.models.cluster_covariance import cluster_covariance
from survstats.models.design import Design, build_design, fill_gaps
from survstats.models.kernel import Collapsed, collapse, mean_risk
from survstats.models.one_pass import fit_sets
from survstats.models.separation import find_separation

Floats = NDArray[np.float64]

#: The design puts the intercept first and the exposure next.
EXPOSURE_COLUMN = 1


@dataclass(frozen=True)
class Refits:
    """A risk model with the one pass of fits that every number and every interval of it is read from.

    Attributes
    ----------
    model : RiskModel
    coefficients : ndarray of shape (1 + g, k)
        From all mishaps, then with mishap j left out.
    """

    model: RiskModel
    coefficients: Floats


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
    exposure_columns : tuple of int
        Columns that every fit must be able to tell: the exposure, and its product with each level of a modifier.
    """

    design: Design
    collapsed: Collapsed
    trained_rows: Floats
    untrained_rows: Floats
    outcome: Floats
    exposure: Floats
    penalised: bool
    notices: tuple[Notice, ...]
    exposure_columns: tuple[int, ...] = (EXPOSURE_COLUMN,)

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

    @cached_property
    def one_pass(self) -> Floats:
        """Coefficients of shape (1 + g, k): from all mishaps, then with mishap j left out; fitted once.

        Raises
        ------
        NotEstimable
            As `coefficients`.
        """
        everyone = self.coefficients(np.ones((1, self.mishaps)))
        return np.concatenate([everyone, self.coefficients(leave_one_out(self.mishaps))])

    def coefficients(self, weights: Weights) -> Floats:
        """Coefficients of shape (b, k) under mishap weights of shape (b, g).

        Raises
        ------
        NotEstimable
            ``arm_in_one_mishap`` if the exposure cannot be told in any of the b fits, ``not_converged`` if any
            has no finite solution.
        """
        fits = fit_sets(self.collapsed, weights, penalised=self.penalised)
        if not bool(np.all(fits.told[list(self.exposure_columns)])):
            raise NotEstimable("arm_in_one_mishap", "All people of one training group come from one mishap.")
        if not fits.finite:
            raise NotEstimable(
                "not_converged", "A refit has no finite solution.", "Use fewer covariates in the study file."
            )
        return fits.coefficients

    def exposure_df(self) -> float:
        """Satterthwaite degrees of freedom of the exposure's coefficient (CR2), at the fit of all mishaps."""
        coefficients = self.one_pass[0]
        risk = 1 / (1 + np.exp(-(self.design.matrix @ coefficients)))
        root = np.sqrt(risk * (1 - risk))
        residual = np.divide(self.outcome - risk, root, out=np.zeros_like(root), where=root > 0)
        spread = cluster_covariance(self.design.matrix * root[:, None], residual, self.design.mishap_codes)
        return float(spread.df[EXPOSURE_COLUMN])

    def risks(self, weights: Weights, *, target: Target = "all") -> Floats:
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
    frame: pd.DataFrame,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    own_effect: Mapping[str, NDArray[np.bool_]] | None = None,
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
    own_effect : mapping of str to ndarray of shape (n,), optional
        Rows, by a name, among which training has an effect of its own beside the one of all other rows.

    Raises
    ------
    NotEstimable
        ``no_rows``, ``one_arm``, ``one_outcome``, ``one_mishap``, ``arm_in_one_mishap``, ``no_free_column`` where an
        effect of its own cannot be told from the rest, or ``too_many_fields`` where fewer died, or fewer lived, than
        the design has columns.

    Notes
    -----
    If the full set, or the set with any one mishap left out, is separated (linear programme for the full set,
    divergence for the rest), the point and all replicates use Firth's likelihood with the intercept refitted, so
    that predicted risks stay calibrated: Heinze and Schemper 2002 (doi:10.1002/sim.1047), Puhr et al. 2017
    (doi:10.1002/sim.7273).
    """
    refuse_thin(frame, outcome, exposure, cluster)
    filled, terms, gaps = fill_gaps(frame, covariates)
    groups = {f"{exposure}_in_{name}": rows.astype(float) for name, rows in (own_effect or {}).items()}
    products = {name: filled[exposure].astype(float) * rows for name, rows in groups.items()}
    design = build_design(filled.assign(**products), [exposure, *terms, *products], cluster=cluster)
    if lost := set(products) & set(design.dropped):
        raise NotEstimable(
            "no_free_column", f"An effect of its own cannot be told: {', '.join(sorted(lost))}."
        )
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
        trained_rows=design.apply(filled.assign(**groups), setting={exposure: 1.0}),
        untrained_rows=design.apply(filled.assign(**dict.fromkeys(groups, 0.0)), setting={exposure: 0.0}),
        outcome=observed,
        exposure=filled[exposure].to_numpy(dtype=float),
        penalised=False,
        notices=(
            *(Notice("gap_coded", {"field": name}) for name in gaps),
            *(Notice("aliased_column", {"column": name}) for name in design.dropped),
        ),
        exposure_columns=tuple(design.columns.index(name) for name in (exposure, *products)),
    )
    if find_separation(design.matrix, observed).kind == "none":
        try:
            refit(model)
        except NotEstimable as fault:
            if fault.reason == "not_converged":
                return penalise(model)
            raise
        return model
    return penalise(model)


def refit(model: RiskModel) -> Refits:
    """Which coefficients do all mishaps give, and which do all but one: one pass, kept with the model.

    Raises
    ------
    NotEstimable
        ``arm_in_one_mishap``, ``not_converged``.
    """
    return Refits(model, model.one_pass)


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
