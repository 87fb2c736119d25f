"""Survival if everyone had been trained, survival if no one had: standardisation over the people who were there."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.exact_table import clopper_pearson
from survstats.effects.intervals import jackknife_error, jackknife_estimate, t_quantile
from survstats.effects.question import Target
from survstats.groundwork.errors import NotEstimable, Notice
from survstats.groundwork.estimate import Estimate, Scale, Unit
from survstats.groundwork.resampling import leave_one_out, leave_pairs_out
from survstats.models.cluster_covariance import cluster_covariance
from survstats.models.design import Design, build_design, fill_gaps
from survstats.models.kernel import Collapsed, collapse, mean_risk, refit_intercept, solve
from survstats.models.separation import find_separation

Floats = NDArray[np.float64]

#: The design puts the intercept first and the exposure next.
EXPOSURE_COLUMN = 1


def _first(trained: Floats, _untrained: Floats) -> Floats:
    return trained


def _second(_trained: Floats, untrained: Floats) -> Floats:
    return untrained


def _minus(trained: Floats, untrained: Floats) -> Floats:
    return trained - untrained


def _survival_ratio(trained: Floats, untrained: Floats) -> Floats:
    return trained / untrained


def _death_ratio(trained: Floats, untrained: Floats) -> Floats:
    return (1 - trained) / (1 - untrained)


def _odds_ratio(trained: Floats, untrained: Floats) -> Floats:
    return trained * (1 - untrained) / ((1 - trained) * untrained)


_CONTRASTS: dict[str, tuple[Callable[[Floats, Floats], Floats], Scale, Unit]] = {
    "if_all": (_first, "logit", "share"),
    "if_none": (_second, "logit", "share"),
    "difference": (_minus, "identity", "difference"),
    "survival_ratio": (_survival_ratio, "log", "ratio"),
    "death_ratio": (_death_ratio, "log", "ratio"),
    "odds_ratio": (_odds_ratio, "log", "odds_ratio"),
}


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


@dataclass(frozen=True)
class Effect:
    """What training would change, averaged over a target group.

    Attributes
    ----------
    target : {"all", "untrained", "trained"}
    if_all, if_none : Estimate
        Survival if all, if none of the target had been trained (psi1, psi0).
    difference : Estimate
        psi1 - psi0.
    survival_ratio, death_ratio, odds_ratio : Estimate
        psi1 / psi0, (1 - psi1) / (1 - psi0), and the marginal odds ratio.
    leave_one_out : ndarray of shape (g, 2)
        psi1 and psi0 with mishap j left out.
    """

    target: Target
    if_all: Estimate
    if_none: Estimate
    difference: Estimate
    survival_ratio: Estimate
    death_ratio: Estimate
    odds_ratio: Estimate
    leave_one_out: Floats


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
    _refuse_thin(frame, outcome, exposure, cluster)
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
        notices=tuple(Notice("gap_coded", values={"field": name}) for name in gaps),
    )
    if find_separation(design.matrix, observed).kind == "none":
        try:
            model.coefficients(leave_one_out(model.mishaps))
        except NotEstimable as fault:
            if fault.reason == "not_converged":
                return _penalise(model)
            raise
        return model
    return _penalise(model)


def standardise(model: RiskModel, *, target: Target = "all", level: float = 0.95) -> Effect:
    """Survival if all, if none had been trained, and how they compare, with mishap-jackknife intervals.

    Parameters
    ----------
    model : RiskModel
    target : {"all", "untrained", "trained"}
        Average over everybody (ATE), over those who never were trained (ATU), over the trained (ATT).
    level : float
        Coverage aimed at.

    Notes
    -----
    Where nobody of a group died, or nobody lived, the jackknife sees no spread in it. There the limits of that
    group's survival are at least the exact ones of its raw counts (Clopper and Pearson), and those of the
    difference at least what the two groups' limits allow together (as in Newcombe's hybrid).

    Standardisation over the covariates of the target (g-computation): Robins 1986
    (doi:10.1016/0270-0255(86)90088-6). It leaves out whatever was not measured.
    """
    point = model.risks(np.ones((1, model.mishaps)), target=target)[0]
    left_out = model.risks(leave_one_out(model.mishaps), target=target)
    occupants = model.occupants
    if target != "all":
        occupants = int(np.sum(model.exposure == (1.0 if target == "trained" else 0.0)))

    def estimate(number: str) -> Estimate:
        contrast, scale, unit = _CONTRASTS[number]
        return jackknife_estimate(
            float(contrast(*point)),
            contrast(left_out[:, 0], left_out[:, 1]),
            scale=scale,
            unit=unit,
            occupants=occupants,
            method=model.method,
            level=level,
        )

    effect = Effect(target=target, leave_one_out=left_out, **{name: estimate(name) for name in _CONTRASTS})
    return _widened(effect, model, level)


def one_mishap_out(model: RiskModel, *, level: float = 0.95, refits: int = 6000) -> pd.DataFrame:
    """The difference and its interval with each mishap left out in turn.

    Parameters
    ----------
    model : RiskModel
    level : float
        Coverage aimed at.
    refits : int
        How many refits may be spent, about g for each mishap. Where that is not enough for all of them (from 78
        mishaps on), those whose removal brings a limit nearest to 0, by the one-step approximation, are done.

    Returns
    -------
    DataFrame
        Columns ``mishap``, ``difference``, ``low``, ``high``; one row a mishap, three at least.

    Notes
    -----
    Each interval is a jackknife of its own over the remaining g - 1 mishaps, exact, from refits that leave out
    pairs. If a pair separates where single mishaps did not, all of it is redone with the penalised likelihood.
    """
    full = _difference(model.risks(np.ones((1, model.mishaps))))[0]
    singles = _difference(model.risks(leave_one_out(model.mishaps)))
    most = max(refits // model.mishaps, 3)
    chosen = np.sort(_nearest_limits(float(full), singles)[:most])
    try:
        pairs = {int(j): _difference(model.risks(leave_pairs_out(model.mishaps, int(j)))) for j in chosen}
    except NotEstimable as fault:
        if model.penalised or fault.reason != "not_converged":
            raise
        return one_mishap_out(_penalise(model), level=level, refits=refits)
    reach = t_quantile(level, model.mishaps - 2)
    rows = []
    for first, without_pairs in pairs.items():
        centre = float(singles[first])
        se = jackknife_error(centre, without_pairs)
        rows.append(
            (str(model.design.mishap_labels[first]), centre, centre - reach * se, centre + reach * se)
        )
    return pd.DataFrame(rows, columns=["mishap", "difference", "low", "high"])


def _nearest_limits(full: float, singles: Floats) -> NDArray[np.intp]:
    """Mishaps in the order in which their removal brings the limit to 0: their own influence taken out once."""
    influence = (singles - full) ** 2
    errors = np.sqrt(influence.sum() - influence)
    return np.argsort(np.sign(full) * singles - 2 * errors, kind="stable")


def _widened(effect: Effect, model: RiskModel, level: float) -> Effect:
    arms = []
    for found, group in ((effect.if_all, 1.0), (effect.if_none, 0.0)):
        outcomes = model.outcome[model.exposure == group]
        low, high = found.low, found.high
        if outcomes.min() == outcomes.max():
            exact = clopper_pearson(int(outcomes.sum()), len(outcomes), level=level)
            low, high = min(low, exact[0]), max(high, exact[1])
        arms.append(replace(found, low=low, high=high))
    trained, untrained = arms
    if (trained, untrained) == (effect.if_all, effect.if_none):
        return effect
    difference = effect.difference
    below = math.hypot(trained.value - trained.low, untrained.high - untrained.value)
    above = math.hypot(trained.high - trained.value, untrained.value - untrained.low)
    wider = replace(
        difference,
        low=min(difference.low, difference.value - below),
        high=max(difference.high, difference.value + above),
    )
    return replace(effect, if_all=trained, if_none=untrained, difference=wider)


def _difference(risks: Floats) -> Floats:
    return np.asarray(risks[:, 0] - risks[:, 1])


def _penalise(model: RiskModel) -> RiskModel:
    notice = Notice("separated", values={"columns": len(model.design.columns)})
    return replace(model, penalised=True, notices=(*model.notices, notice))


def _refuse_thin(frame: pd.DataFrame, outcome: str, exposure: str, cluster: str) -> None:
    if frame.empty:
        raise NotEstimable("no_rows", "No one is left to compare.")
    if frame[exposure].nunique() < 2:
        raise NotEstimable("one_arm", "Everyone in the comparison stands in the same training group.")
    if frame[outcome].nunique() < 2:
        raise NotEstimable("one_outcome", "Everyone in the comparison had the same outcome.")
    if frame[cluster].nunique() < 2:
        raise NotEstimable("one_mishap", "All occupants come from one mishap.")
