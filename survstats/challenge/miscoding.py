"""Does the result stand if training entries that no document backs are wrong?

Two legs. In the first some of the dead recorded untrained were trained all the same, and nobody found out; in the
second nothing written about an undocumented dead person counts.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.challenge.entries import recorded_trained
from survstats.challenge.verdict import thresholds
from survstats.effects.completed_sets import CompletedSet, Question, completed_sets
from survstats.effects.imputation import impute
from survstats.effects.missing_values import UNKNOWN, ImputationPlan
from survstats.effects.pooled_sets import pooled_difference
from survstats.effects.risk_model import refit
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.estimate import Estimate

Bools = NDArray[np.bool_]

DOCUMENTS = ("certificate", "roster")

#: What is written of a person's training, and what stands there where it says nothing.
_ENTRY: dict[str, Any] = {"training_ever": UNKNOWN, "training_type": UNKNOWN, "training_last_date": pd.NaT}


@dataclass(frozen=True)
class Leg:
    """The difference with doubtful entries counted otherwise.

    Attributes
    ----------
    difference, narrower : Estimate
        Pooled over the draws, with the 95 % and the 90 % interval.
    limit_error, narrower_error : float
        Monte Carlo standard errors of the limit that lies nearest 0, of each interval; 0 where nothing was drawn.
    value_error : float
        That of the difference.
    people : float
        How many dead people counted as trained although recorded untrained (first leg, mean over the draws), or the
        entries of how many counted for nothing (second).
    leans_on, left_out : tuple of str
        Covariates that the chance of an entry leans on, and those it had too few people for; empty in the second leg.
    """

    difference: Estimate
    narrower: Estimate
    limit_error: float
    narrower_error: float
    value_error: float
    people: float
    leans_on: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()


def undocumented_dead(frame: pd.DataFrame, *, outcome: str = "survived", exposure: str = "trained") -> Bools:
    """Who died and is recorded currently or never trained without a certificate or roster, shape (n,)."""
    compared = frame[exposure].notna().to_numpy(bool)
    return np.asarray(compared & _died(frame, outcome) & ~frame["documented"].to_numpy(bool))


def found_leg(
    frame: pd.DataFrame,
    *,
    plan: ImputationPlan,
    sensitivity: float,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    rng: np.random.Generator,
) -> Leg:
    """The difference if training was found out for only a share of the trained dead whom no document backs.

    Parameters
    ----------
    frame : DataFrame of n rows
        Everyone in the population, as derived.
    plan : ImputationPlan
        Only ``draws`` is used.
    sensitivity : float
        Share of the trained among the undocumented dead who are recorded so, above 0 and at most 1.
    outcome, exposure, covariates, cluster
        As `survstats.effects.risk_model.prepare`.
    rng : Generator

    Raises
    ------
    CallError
        ``bad_rate``.
    NotEstimable
        As `prepare`, for the people as recorded or in any draw; as `recorded_trained`.

    Notes
    -----
    Who is recorded untrained counts as trained with probability min(1, odds(r) (1 - s) / s): Bayes' rule for entries
    that never call an untrained person trained, r being the chance of an entry 'trained' given the covariates and s
    the sensitivity. Each draw takes r from mishaps drawn anew (`recorded_trained`), so that how little is known of it
    widens the interval; if none of these people is recorded trained, r is small but not 0 and a few are moved.

    All other entries stay, and people of unknown training stay out. Where nothing can be moved (sensitivity 1, or
    nobody recorded untrained) the leg is the main estimate itself. Pooled as `imputed_effect`.
    """
    if not 0 < sensitivity <= 1:
        raise CallError("bad_rate", f"A sensitivity of {sensitivity} is not above 0 and at most 1.")
    question = Question(outcome, exposure, tuple(covariates), cluster)
    doubtful = undocumented_dead(frame, outcome=outcome, exposure=exposure)
    recorded = frame[exposure].to_numpy(float)
    movable = doubtful & (recorded == 0)
    if sensitivity == 1 or not movable.any():
        return _as_recorded(frame, question)
    entries = recorded_trained(frame, doubtful, question, draws=plan.draws, rng=rng)
    odds = np.exp(entries.log_odds[:, recorded[doubtful] == 0])
    moved = rng.random(odds.shape) < odds * (1 - sensitivity) / sensitivity
    exposures = np.tile(recorded, (plan.draws, 1))
    exposures[:, movable] = moved
    sets = completed_sets([frame], [exposures], question)[0]
    return _leg(
        sets, people=float(moved.sum(axis=1).mean()), leans_on=entries.leans_on, left_out=entries.left_out
    )


def all_unknown_leg(
    frame: pd.DataFrame,
    *,
    plan: ImputationPlan,
    fewest_documented: int,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    rng: np.random.Generator,
) -> Leg:
    """The difference if no entry of an undocumented dead person counts, imputed from documented dead and survivors.

    Parameters
    ----------
    frame : DataFrame of n rows
        Everyone in the population, as derived.
    plan : ImputationPlan
    fewest_documented : int
        Documented dead, currently or never trained, without whom nothing is imputed.
    outcome, exposure, covariates, cluster
        As `survstats.effects.risk_model.prepare`.
    rng : Generator

    Raises
    ------
    NotEstimable
        ``few_documented_dead``; else as `impute` and `imputed_effect`.

    Notes
    -----
    Lapsed and briefed people are among those whose entry counts for nothing: it may be as wrong as any. Kind and date
    of the course go with it, so that nothing of it rules out a status; what a document says of somebody of unknown
    status stays. Where there is no such entry, the leg is the main estimate itself.
    """
    died, documented = _died(frame, outcome), frame["documented"].to_numpy(bool)
    if (died & documented & frame[exposure].notna().to_numpy(bool)).sum() < fewest_documented:
        raise NotEstimable(
            "few_documented_dead",
            "The training of too few of the dead is documented to tell that of the others from it.",
            "Look for certificates and rosters of the dead.",
        )
    unknown = frame["trained_status"].eq(UNKNOWN).to_numpy(bool)
    taken = died & ~documented & ~unknown
    question = Question(outcome, exposure, tuple(covariates), cluster)
    if not taken.any():
        return _as_recorded(frame, question)
    by_hearsay = died & unknown & ~frame["training_evidence"].isin(DOCUMENTS).to_numpy(bool)
    imputed = impute(_without_entry(frame, taken | by_hearsay, exposure), plan=plan, rng=rng)
    own = [one[exposure].to_numpy(float)[None] for one in imputed.frames]
    sets = [of_draw[0] for of_draw in completed_sets(imputed.frames, own, question)]
    return _leg(sets, people=float(taken.sum()))


def _levels() -> tuple[float, float]:
    """How wide the two intervals of a leg are: that which gate 5 asks first, and the one it makes do with."""
    rule = thresholds()["miscoding"]
    return rule["met_level"], rule["partly_level"]


def _died(frame: pd.DataFrame, outcome: str) -> Bools:
    return np.asarray(frame[outcome].eq(0), dtype=bool)


def _without_entry(frame: pd.DataFrame, whose: Bools, exposure: str) -> pd.DataFrame:
    """The rows with the training of some people unknown, and nothing left of what was written of it."""
    changed = frame.copy(deep=False)
    for name, nothing in _ENTRY.items():
        if name in frame.columns:
            changed[name] = frame[name].mask(whose, nothing)
    changed["trained_status"] = frame["trained_status"].astype(object).mask(whose, UNKNOWN)
    changed[exposure] = frame[exposure].mask(whose)
    return changed


def _as_recorded(frame: pd.DataFrame, question: Question) -> Leg:
    """The main estimate, where a leg moves nobody."""
    model = question.model(frame)
    wider, narrower = (standardise(refit(model), level=level).difference for level in _levels())
    return Leg(wider, narrower, limit_error=0.0, narrower_error=0.0, value_error=0.0, people=0.0)


def _leg(
    sets: Sequence[CompletedSet],
    *,
    people: float,
    leans_on: tuple[str, ...] = (),
    left_out: tuple[str, ...] = (),
) -> Leg:
    wider, narrower = (pooled_difference(sets, level=level) for level in _levels())
    return Leg(
        difference=wider.estimate,
        narrower=narrower.estimate,
        limit_error=wider.limit_error,
        narrower_error=narrower.limit_error,
        value_error=wider.value_error,
        people=people,
        leans_on=leans_on,
        left_out=left_out,
    )
