"""Whether the difference hangs on a single mishap."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.intervals import jackknife_error, t_quantile
from survstats.effects.risk_model import RiskModel, penalise, refit
from survstats.effects.standardise import standardised_risks
from survstats.groundwork.errors import NotEstimable
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
    pairs. If a pair separates where single mishaps did not, all of it is redone with the penalised likelihood.
    """
    found = _difference(standardised_risks(refit(model), np.ones(model.occupants, dtype=bool)))
    full, singles = found[0], found[1:]
    most = max(refits // model.mishaps, 3)
    chosen = np.sort(_nearest_limits(float(full), singles)[:most])
    try:
        pairs = {int(j): _difference(model.risks(leave_pairs_out(model.mishaps, int(j)))) for j in chosen}
    except NotEstimable as fault:
        if model.penalised or fault.reason != "not_converged":
            raise
        return one_mishap_out(penalise(model), level=level, refits=refits)
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


def _difference(risks: Floats) -> Floats:
    return np.asarray(risks[:, 0] - risks[:, 1])
