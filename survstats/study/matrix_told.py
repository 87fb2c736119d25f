"""Does a policy move the cell of a risk matrix, by id: in how many plausible worlds does nothing change there?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from survstats.decision.conventions import LIMITS
from survstats.decision.outcome import outcome
from survstats.decision.risk_matrix import (
    RiskMatrix,
    chance_of_a_death,
    edited,
    places,
    risk_matrix,
    unchanged,
)
from survstats.decision.world import Policy, Worlds
from survstats.study.decision_plan import DecisionPlan
from survstats.study.interval_told import store_points, today_of
from survstats.study.results_builder import ResultsBuilder

IDS = ("matrix.unchanged", "matrix.points", "matrix_bands", "matrix_cells", "matrix_policies")


def store_matrix(
    out: ResultsBuilder,
    plan: DecisionPlan,
    worlds: Worlds,
    policies: Sequence[Policy],
    form: str,
    *,
    points: float | None = None,
    rests_on: Sequence[str] = (),
) -> None:
    """The step of probability of at least one death a year under each policy, and how seldom it differs from today's.

    Parameters
    ----------
    out, plan, worlds, policies, form, points, rests_on
        As in `survstats.study.interval_told.store_interval`; the form is not used.
    """
    del form
    matrix = _matrix(out, plan)
    _store_matrix(out, matrix)
    store_points(out, "matrix.points", points)
    today = today_of(plan, policies)
    chances = np.stack(
        [
            chance_of_a_death(outcome(worlds, one, today=today).deaths, worlds.mishaps_a_year)
            for one in policies
        ]
    )
    before = chances[list(policies).index(today)]
    means = chances.mean(axis=1)
    rows = []
    for at, (low, high) in enumerate(np.quantile(chances, LIMITS, axis=1).T):
        level = matrix.levels[places(means[at : at + 1], matrix)[0]]
        same = unchanged(chances[at : at + 1], before, matrix)
        chance = (float(means[at]), float(low), float(high))
        rows.append((at, policies[at].name, *chance, level.letter, matrix.cell(level), same))
    columns = ("policy", "name", "probability", "low", "high", "level", "cell", "unchanged")
    out.table("matrix_policies", columns, rows, rests_on=rests_on)
    out.codes["matrix.levels"] = "one" if len(np.unique(places(means, matrix))) == 1 else "several"
    share = unchanged(chances, before, matrix)
    out.figure("matrix.unchanged", share, unit="share", method="draws", rests_on=rests_on)


def _matrix(out: ResultsBuilder, plan: DecisionPlan) -> RiskMatrix:
    """The matrix, with what the study file says of it."""
    shipped, own = risk_matrix(), plan.matrix
    out.codes["matrix.source"] = "memory"
    if own is None or not (own.at_least or own.cells):
        return shipped
    out.codes["matrix.source"] = "study_file"
    begins = {str(letter): chance for letter, chance in own.at_least.items()}
    return edited(shipped, at_least=begins, cells={str(letter): name for letter, name in own.cells.items()})


def _store_matrix(out: ResultsBuilder, matrix: RiskMatrix) -> None:
    bands = [(level.letter, level.name, level.at_least, below) for level, below in matrix.bands]
    out.table("matrix_bands", ("level", "name", "at_least", "below"), bands)
    cells = [
        (level.letter, severity, names[level.letter])
        for severity, names in matrix.cells.items()
        for level in matrix.levels
    ]
    out.table("matrix_cells", ("level", "severity", "cell"), cells)
