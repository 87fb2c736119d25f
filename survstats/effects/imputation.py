"""What might the unknown training have been, as far as everything else that is known tells?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.effects.imputation_chains import Chains, begin
from survstats.effects.imputation_draws import Step, draw_training, status_steps
from survstats.effects.imputation_fields import draw_field
from survstats.effects.missing_values import (
    CURRENT,
    NEVER,
    STATUSES,
    UNKNOWN,
    Floats,
    Gaps,
    ImputationPlan,
    find_gaps,
    written_back,
)
from survstats.groundwork.errors import Notice

__all__ = ["ImputationPlan", "Imputed", "impute", "trained_of"]

ROWS_AT_ONCE = 60_000  # rows times chains that go side by side


@dataclass(frozen=True)
class Imputed:
    """A population's rows, completed m times.

    Attributes
    ----------
    frames : tuple of DataFrame
        As given, n rows each, with ``trained_status`` and the fields of the models completed; all other columns
        are shared with the rows given. ``trained`` is 1 current, 0 never and NaN for lapsed and briefed people, who
        stand in neither group.
    chains : DataFrame
        ``draw``, ``iteration``, ``quantity``, ``value``: share current of the unknown dead
        (``trained_of_unknown_died``) and survivors (``trained_of_unknown_survived``), and the mean put into the
        gaps of each number (``mean_<field>``).
    people, died : int
        Whose training is unknown, and how many of them died.
    draws, iterations : int
    fields : tuple of str
        Predictors whose gaps were filled.
    leans_on, left_out : tuple of str
        Predictors that the draw of hands-on training leans on, and those it had too few people or mishaps for:
        ``outcome``, ``answer_of_others``, ``outcome_of_others``, ``log_aboard`` and fields by name. Empty where
        no status is unknown.
    notices : tuple of Notice
        ``imputed_field`` with the rows filled, ``imputation_columns_left_out`` by step.
    unknown : (u,) array of int
        Rows of unknown training.
    chances : (m, u, 4) array
        Of each status in the last turn, in the order of ``STATUSES``.
    uniforms : (m, u, 2) array
        The draws that made statuses of them.
    """

    frames: tuple[pd.DataFrame, ...]
    chains: pd.DataFrame
    people: int
    died: int
    draws: int
    iterations: int
    fields: tuple[str, ...]
    leans_on: tuple[str, ...]
    left_out: tuple[str, ...]
    notices: tuple[Notice, ...]
    unknown: NDArray[np.intp]
    chances: Floats
    uniforms: Floats


def impute(frame: pd.DataFrame, *, plan: ImputationPlan, rng: np.random.Generator) -> Imputed:
    """Complete unknown training and gaps in predictors m times, each with a draw of its own.

    Parameters
    ----------
    frame : DataFrame of n rows
        Everyone in the population, as derived (whoever is in neither group too).
    plan : ImputationPlan
    rng : Generator

    Raises
    ------
    NotEstimable
        As `find_gaps`; ``not_converged`` where a model of the status has no finite fit in twenty resamples.
    CallError
        As `find_gaps`.

    Notes
    -----
    Chained equations. Every model is fitted to whole mishaps drawn with replacement, and the values are drawn for the
    rows as they are, so that the uncertainty of the models is that of mishaps. A status is drawn by up to three
    Firth fits (hands-on ever; then current or lapsed; else briefed or never) with the intercept refitted, on the
    outcome, the means of the answer and of the outcome over the others in the mishap, its size, and then the plan's
    predictors as far as the people and mishaps carry them. Fields are drawn by predictive mean matching.

    Supposes that, given all these, whether training is known does not depend on the training itself. Where survival and
    training both decide whether it became known, that fails; `delta_range` shows by how much it would matter.
    Rubin 1987, doi:10.1002/9780470316696; van Buuren 2007, doi:10.1177/0962280206074463.
    """
    gaps = find_gaps(frame, plan)
    at_once = max(1, ROWS_AT_ONCE // len(frame))
    parts, traces = [], []
    steps: tuple[Step, ...] = ()
    for first in range(0, plan.draws, at_once):
        chains = begin(gaps, min(at_once, plan.draws - first), rng)
        if len(gaps.unknown) and not steps:
            steps = status_steps(chains)
        traces.append(_run(chains, steps, plan.iterations, rng))
        parts.append(chains)
    dead = gaps.outcome[gaps.unknown] == 0
    return Imputed(
        frames=tuple(_completed(frame, chains, chain) for chains in parts for chain in range(chains.draws)),
        chains=_as_table(_quantities(gaps), np.concatenate(traces, axis=1)),
        people=len(gaps.unknown),
        died=int(dead.sum()),
        draws=plan.draws,
        iterations=plan.iterations,
        fields=tuple(one.name for one in gaps.fields if one.gaps.any()),
        leans_on=steps[0].leans_on if steps else (),
        left_out=steps[0].left_out if steps else (),
        notices=_notices(gaps, steps),
        unknown=gaps.unknown,
        chances=np.concatenate([chains.chances for chains in parts]),
        uniforms=np.concatenate([chains.uniforms for chains in parts]),
    )


def trained_of(status: NDArray[np.int64]) -> Floats:
    """1 current, 0 never, NaN for the rest."""
    return np.select([status == CURRENT, status == NEVER], [1.0, 0.0], default=np.nan)


def _run(chains: Chains, steps: Sequence[Step], iterations: int, rng: np.random.Generator) -> Floats:
    """Let the chains go; what they show on the way, shape (iterations, m, quantities).

    Fields first, training last, so that the chances of the last turn belong to the completed fields.
    """
    fields = sorted((one for one in chains.gaps.fields if one.gaps.any()), key=lambda one: one.gaps.sum())
    shown = []
    for _ in range(iterations):
        for one in fields:
            draw_field(chains, one, rng)
        if steps:
            draw_training(chains, steps, rng)
        shown.append(_shown(chains))
    return np.stack(shown)


def _quantities(gaps: Gaps) -> list[str]:
    fates = {0.0: "trained_of_unknown_died", 1.0: "trained_of_unknown_survived"}
    present = set(gaps.outcome[gaps.unknown])
    numbers = [f"mean_{one.name}" for one in gaps.fields if one.gaps.any() and not one.levels]
    return [name for fate, name in fates.items() if fate in present] + numbers


def _shown(chains: Chains) -> Floats:
    """The quantities recorded, shape (m, quantities)."""
    gaps = chains.gaps
    current = chains.status[:, gaps.unknown] == CURRENT
    fates = gaps.outcome[gaps.unknown]
    columns = [current[:, fates == fate].mean(axis=1) for fate in (0.0, 1.0) if fate in fates]
    columns += [
        chains.values[one.name][:, one.gaps].mean(axis=1)
        for one in gaps.fields
        if one.gaps.any() and not one.levels
    ]
    return np.column_stack([np.empty((chains.draws, 0)), *columns])


def _as_table(quantities: Sequence[str], shown: Floats) -> pd.DataFrame:
    iterations, draws, kinds = shown.shape
    grid = np.indices((kinds, draws, iterations)).reshape(3, -1)
    return pd.DataFrame(
        {
            "draw": grid[1] + 1,
            "iteration": grid[2] + 1,
            "quantity": np.array(quantities, dtype=object)[grid[0]],
            "value": shown.transpose(2, 1, 0).ravel(),
        }
    )


def _completed(frame: pd.DataFrame, chains: Chains, chain: int) -> pd.DataFrame:
    """One chain's rows; columns that were not filled are those of ``frame``, not copies of them."""
    status, completed = chains.status[chain], frame.copy(deep=False)
    for one in chains.gaps.fields:
        if one.name in chains.values:
            completed[one.name] = written_back(one, chains.values[one.name][chain], frame[one.name])
    completed["trained_status"] = pd.Categorical.from_codes(status, categories=pd.Index([*STATUSES, UNKNOWN]))
    completed["trained"] = trained_of(status)
    return completed


def _notices(gaps: Gaps, steps: Sequence[Step]) -> tuple[Notice, ...]:
    filled = [
        Notice("imputed_field", {"field": one.name, "rows": int(one.gaps.sum())})
        for one in gaps.fields
        if one.gaps.any()
    ]
    names = ("hands_on", "current", "briefed")
    cut = [
        Notice("imputation_columns_left_out", {"step": name, "columns": ", ".join(step.left_out)})
        for name, step in zip(names, steps, strict=False)
        if step.left_out
    ]
    return (*filled, *cut)
