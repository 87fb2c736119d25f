"""What would training change for each group of people, the never trained and the trained apart?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from survstats.decision.conventions import LEVEL
from survstats.decision.world import NEVER_TRAINED, TRAINED
from survstats.effects.intervals import t_quantile
from survstats.effects.question import Target
from survstats.effects.risk_model import Refits
from survstats.effects.standardise import Effect, standardise
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate, to_scale

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: People of one kind in a group below which the whole arm's effect stands for theirs (ours, no source).
FEWEST_PEOPLE = 10
_KINDS: dict[int, Target] = {NEVER_TRAINED: "untrained", TRAINED: "trained"}


@dataclass(frozen=True)
class GroupGain:
    """Survival if trained, if not, of q groups and both kinds of people, from one pass of fits.

    Attributes
    ----------
    groups : tuple of str of length q
    risks : ndarray of shape (1 + g, q, 2, 2)
        By fit (all mishaps, then each left out), group, kind (``NEVER_TRAINED``, ``TRAINED``), and whether trained
        (0: psi1, 1: psi0). As recorded: what training does has faded since the course.
    people : ndarray of shape (q, 2)
        People of each kind in the group, as the model counts them.
    borrowed : ndarray of shape (q, 2)
        Whether they are so few that everybody of their kind stands for them.
    wider_difference, wider_survival : ndarray of shape (q, 2, 2)
        How many times farther out the lower and the upper limit of the difference and of psi0 lie than t with g - 1
        degrees of freedom has them: fewer mishaps hold these people, or nobody died, or lived, among some of them.

    Notes
    -----
    The model has one odds ratio for everybody: groups differ by how likely their people were to live without it.
    """

    groups: tuple[str, ...]
    risks: Floats
    people: NDArray[np.int64]
    borrowed: Bools
    wider_difference: Floats
    wider_survival: Floats

    @property
    def mishaps(self) -> int:
        """How many mishaps were left out in turn (g)."""
        return len(self.risks) - 1

    @property
    def difference(self) -> Floats:
        """Difference as recorded of each group and kind (q, 2)."""
        return np.asarray(self.risks[0, :, :, 0] - self.risks[0, :, :, 1])

    @property
    def survival_untrained(self) -> Floats:
        """Survival without training of each group and kind (q, 2)."""
        return np.asarray(self.risks[0, :, :, 1])


def group_gain(refits: Refits, groups: Mapping[str, Bools]) -> GroupGain:
    """Standardise over the people of each group, the never trained and the trained apart.

    Parameters
    ----------
    refits : Refits
        The main model's one pass of fits.
    groups : mapping of str to ndarray of shape (n,)
        The rows of each group among the model's people, in their order.

    Raises
    ------
    NotEstimable
        ``no_rows`` as `standardise`, where all people of one kind come from one mishap.
    """
    everybody = {kind: standardise(refits, target=target, level=LEVEL) for kind, target in _KINDS.items()}
    own, codes = refits.model.exposure, refits.model.design.mishap_codes
    people = np.zeros((len(groups), 2), dtype=np.int64)
    borrowed = np.zeros((len(groups), 2), dtype=bool)
    effects: list[list[Effect]] = []
    for at, rows in enumerate(groups.values()):
        effects.append([])
        for kind, target in _KINDS.items():
            mine = np.asarray(rows, dtype=bool) & (own == float(kind == TRAINED))
            people[at, kind] = mine.sum()
            borrowed[at, kind] = mine.sum() < FEWEST_PEOPLE or len(np.unique(codes[mine])) < 2
            whole = borrowed[at, kind] or bool(np.all(rows))
            one = everybody[kind] if whole else standardise(refits, target=target, rows=rows, level=LEVEL)
            effects[at].append(one)
    risks = np.array([[_risks(one) for one in pair] for pair in effects])
    mishaps = refits.model.mishaps
    return GroupGain(
        tuple(groups),
        np.moveaxis(risks, 2, 0),
        people,
        borrowed,
        np.array([[_wider(one.difference, mishaps) for one in pair] for pair in effects]),
        np.array([[_wider(one.if_none, mishaps) for one in pair] for pair in effects]),
    )


def recorded_survival(frame: pd.DataFrame, groups: Mapping[str, Bools]) -> GroupGain:
    """Survival as it was, trained or not, and no difference: for what would have to be true where there is no model.

    Parameters
    ----------
    frame : DataFrame of n rows
        Everyone in the primary population, with ``survived`` and ``mishap_id``.
    groups : mapping of str to ndarray of shape (n,)
        Fewer than `FEWEST_PEOPLE` of a group, or all from one mishap: everybody stands for them.

    Raises
    ------
    NotEstimable
        ``one_mishap`` where everybody comes from one, ``no_rows`` where there is nobody.
    """
    if frame.empty:
        raise NotEstimable("no_rows", "Nobody is there to average over.")
    codes, labels = pd.factorize(frame["mishap_id"])
    if len(labels) < 2:
        raise NotEstimable("one_mishap", "All occupants come from one mishap.")
    lived = frame["survived"].to_numpy(float)
    sizes, borrowed, risks = [], [], []
    for rows in groups.values():
        mine = np.asarray(rows, dtype=bool)
        sizes.append(int(mine.sum()))
        borrowed.append(sizes[-1] < FEWEST_PEOPLE or len(np.unique(codes[mine])) < 2)
        over = np.ones(len(frame), dtype=bool) if borrowed[-1] else mine
        alive = np.bincount(codes[over], weights=lived[over], minlength=len(labels))
        there = np.bincount(codes[over], minlength=len(labels))
        risks.append(
            np.concatenate([[alive.sum() / there.sum()], (alive.sum() - alive) / (there.sum() - there)])
        )
    ones = np.ones((len(groups), 2, 2))
    return GroupGain(
        tuple(groups),
        np.broadcast_to(np.array(risks).T[:, :, None, None], (1 + len(labels), len(groups), 2, 2)),
        np.repeat(np.array(sizes)[:, None], 2, axis=1),
        np.repeat(np.array(borrowed)[:, None], 2, axis=1),
        ones,
        ones,
    )


def _risks(effect: Effect) -> Floats:
    whole = [[effect.if_all.value, effect.if_none.value]]
    return np.concatenate([whole, effect.leave_one_out])


def _wider(found: Estimate, mishaps: int) -> tuple[float, float]:
    """How much farther out than the jackknife's each limit lies, as a factor; 1 for a limit at the edge."""
    reach = t_quantile(found.level, mishaps - 1) * found.se
    if not (np.isfinite(reach) and reach > 0):
        return 1.0, 1.0
    low, centre, high = (to_scale(place, found.scale) for place in (found.low, found.value, found.high))
    factors = ((centre - low) / reach, (high - centre) / reach)
    below, above = (max(1.0, one) if np.isfinite(one) else 1.0 for one in factors)
    return below, above
