"""Do the trained seem to die less often, or more often, on impact, where escape training can hardly act?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from survstats.challenge.verdict import thresholds
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.estimate import Estimate


@dataclass(frozen=True)
class ImpactDeath:
    """The adjusted difference in death on impact, and what the check could have seen.

    Attributes
    ----------
    difference : Estimate
        Share dead on impact if all aboard had been trained minus the same if none had been.
    margin : float
        The difference from which on it counts, in [0, 1].
    alarm : bool
        The difference is larger than the margin and its interval, at the level of the gate of chance, excludes 0.
    noticeable : float
        Half the width of its interval (the wider half), in [0, 1]: a true difference of that size would be noticed
        about every second time, a smaller one less often, and it takes some 1.4 times as much to be noticed four times
        in five.
    """

    difference: Estimate
    margin: float
    alarm: bool
    noticeable: float


def impact_death_check(
    frame: pd.DataFrame,
    *,
    outcome: str,
    exposure: str,
    covariates: Sequence[str],
    cluster: str,
    margin: float,
) -> ImpactDeath:
    """How much more often the trained died on impact than the untrained, other things equal, and whether that alarms.

    Parameters
    ----------
    frame : DataFrame of n rows
        All aboard (P2) who are trained or untrained; ``outcome`` is 1 for who died on impact.
    outcome, exposure, cluster : str
        Column names.
    covariates : sequence of str
        What is held equal among all aboard.
    margin : float
        In [0, 1], from the study file.

    Raises
    ------
    NotEstimable
        As `survstats.effects.risk_model.prepare`: ``one_outcome`` where nobody died on impact, ``too_many_fields``
        where fewer did than the model has columns.

    Notes
    -----
    No proof of anything either way: training can teach bracing, which acts on impact, and a difference in fitness does
    not show here. Who is not known to have died on impact counts as not having done so.
    """
    model = prepare(frame, outcome=outcome, exposure=exposure, covariates=covariates, cluster=cluster)
    difference = standardise(model, level=thresholds()["beyond_chance"]["met_level"]).difference
    return ImpactDeath(
        difference=difference,
        margin=margin,
        alarm=abs(difference.value) > margin and difference.excludes(0.0),
        noticeable=min(1.0, max(difference.high - difference.value, difference.value - difference.low)),
    )
