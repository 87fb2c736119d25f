"""Whether the difference hangs on a single mishap."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.arms import compare_arms, seen
from survstats.effects.risk_model import RiskModel, penalise, refit
from survstats.effects.standardise import standardised_risks
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.groundwork.resampling import leave_pairs_out

Floats = NDArray[np.float64]


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
    pairs, and at least as wide as `arms` asks where nobody of a group died, or lived, in them. If a pair separates
    where single mishaps did not, all of it is redone with the penalised likelihood.
    """
    found = standardised_risks(refit(model), np.ones(model.occupants, dtype=bool))
    differences = found[:, 0] - found[:, 1]
    most = max(refits // model.mishaps, 3)
    chosen = np.sort(_nearest_limits(float(differences[0]), differences[1:])[:most])
    try:
        pairs = {int(j): model.risks(leave_pairs_out(model.mishaps, int(j))) for j in chosen}
    except NotEstimable as fault:
        if model.penalised or fault.reason != "not_converged":
            raise
        return one_mishap_out(penalise(model), level=level, refits=refits)
    rows = []
    for first, without_pairs in pairs.items():
        one = _without(model, first, np.vstack([found[1 + first], without_pairs]), level)
        rows.append((str(model.design.mishap_labels[first]), one.value, one.low, one.high))
    return pd.DataFrame(rows, columns=["mishap", "difference", "low", "high"])


def _without(model: RiskModel, mishap: int, risks: Floats, level: float) -> Estimate:
    """The difference without one mishap, from its risks and those without each other mishap besides (g, 2)."""
    there = model.design.mishap_codes != mishap
    return compare_arms(
        risks,
        seen(model.outcome[there], model.exposure[there]),
        occupants=int(there.sum()),
        mishaps=model.mishaps - 1,
        method=model.method,
        level=level,
    )["difference"]


def _nearest_limits(full: float, singles: Floats) -> NDArray[np.intp]:
    """Mishaps in the order in which their removal brings the limit to 0: their own influence taken out once."""
    influence = (singles - full) ** 2
    errors = np.sqrt(influence.sum() - influence)
    return np.argsort(np.sign(full) * singles - 2 * errors, kind="stable")
