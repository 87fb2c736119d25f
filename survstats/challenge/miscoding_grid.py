"""Which difference would wrong training entries hide, for a range of how often they are wrong?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

from survstats.groundwork.errors import CallError

OF_THE_DEAD = (0.6, 0.7, 0.8, 0.9, 1.0)
OF_SURVIVORS = (0.8, 0.9, 1.0)
SPECIFICITIES = (0.9, 0.95, 1.0)
HAIR = 1e-9  # people by which a corrected count may lie outside for the arithmetic of the machine


@dataclass(frozen=True)
class GridPoint:
    """The crude difference if entries were right this often.

    Attributes
    ----------
    sensitivity_dead, sensitivity_survivors : float
        Share of the trained who are recorded so, among the dead and among the survivors.
    specificity : float
        Share of the untrained who are recorded so, in both.
    difference : float or None
        Survival of the trained less that of the untrained, in [-1, 1]; None where the records cannot have come about
        so, or where nobody would be left in one group.
    """

    sensitivity_dead: float
    sensitivity_survivors: float
    specificity: float
    difference: float | None


def miscoding_grid(
    trained_survived: float,
    survivors: float,
    trained_died: float,
    dead: float,
    *,
    sensitivities_dead: Sequence[float] = OF_THE_DEAD,
    sensitivities_survivors: Sequence[float] = OF_SURVIVORS,
    specificities: Sequence[float] = SPECIFICITIES,
) -> tuple[GridPoint, ...]:
    """The crude difference with the counts of the trained corrected for wrong entries, for each set of rates.

    Parameters
    ----------
    trained_survived, trained_died : float
        People recorded trained among survivors and among the dead.
    survivors, dead : float
        All survivors and dead recorded trained or untrained.
    sensitivities_dead, sensitivities_survivors, specificities : sequence of float
        Each above 0 and at most 1.

    Returns
    -------
    tuple of GridPoint
        The sensitivity of the dead slowest, specificity fastest.

    Raises
    ------
    CallError
        ``bad_counts`` for more recorded trained than there are or a count below 0; ``bad_rate``.

    Notes
    -----
    Truly trained = (recorded - (1 - specificity) n) / (sensitivity + specificity - 1) among the n of each fate, and no
    answer outside [0, n] or for entries that are no better than a coin. The rates are supposed, not estimated, and no
    interval is given. The idea after Greenland and Lash, in Rothman, Greenland and Lash, Modern Epidemiology (2008,
    chapter 19; from memory).
    """
    if not (0 <= trained_survived <= survivors and 0 <= trained_died <= dead):
        raise CallError("bad_counts", "More people are recorded trained than there are, or fewer than none.")
    for rate in (*sensitivities_dead, *sensitivities_survivors, *specificities):
        if not 0 < rate <= 1:
            raise CallError(
                "bad_rate", f"A sensitivity or specificity of {rate} is not above 0 and at most 1."
            )
    return tuple(
        GridPoint(
            of_dead,
            of_survivors,
            specificity,
            _difference(
                _truly(trained_survived, survivors, of_survivors, specificity),
                survivors,
                _truly(trained_died, dead, of_dead, specificity),
                dead,
            ),
        )
        for of_dead, of_survivors, specificity in product(
            sensitivities_dead, sensitivities_survivors, specificities
        )
    )


def _truly(recorded: float, people: float, sensitivity: float, specificity: float) -> float | None:
    """How many were trained, if the records show this many; None where they cannot."""
    better_than_a_coin = sensitivity + specificity - 1
    if better_than_a_coin <= HAIR:
        return None
    trained = (recorded - (1 - specificity) * people) / better_than_a_coin
    if not -HAIR <= trained <= people + HAIR:
        return None
    return min(max(trained, 0.0), people)


def _difference(
    trained_survived: float | None, survivors: float, trained_died: float | None, dead: float
) -> float | None:
    if trained_survived is None or trained_died is None:
        return None
    trained = trained_survived + trained_died
    untrained = survivors + dead - trained
    if min(trained, untrained) <= HAIR:
        return None
    return trained_survived / trained - (survivors - trained_survived) / untrained
