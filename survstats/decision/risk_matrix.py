"""Into which step of a risk matrix does a policy fall, and in how many plausible worlds does it stay in today's?

The steps are ten times as wide as each other, or a thousand times; a policy that changes how many people die by a third
may stay in its own. This module counts how often it does; it justifies nothing. Severity stays catastrophic throughout.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from survstats.groundwork.errors import CallError

Floats = NDArray[np.float64]

MATRIX_FILE = Path(__file__).with_name("risk_matrix.toml")


@dataclass(frozen=True)
class Level:
    """A step of probability: from ``at_least`` up to the next."""

    letter: str
    name: str
    at_least: float


@dataclass(frozen=True)
class RiskMatrix:
    """Steps of probability, the likeliest first, and what each cell is called, by severity and letter."""

    levels: tuple[Level, ...]
    cells: Mapping[str, Mapping[str, str]]
    severity: str
    source: str

    @property
    def bands(self) -> tuple[tuple[Level, float], ...]:
        """Every level with the end below which it lies (1 for the first)."""
        ends = (1.0, *(level.at_least for level in self.levels[:-1]))
        return tuple(zip(self.levels, ends, strict=True))

    def cell(self, level: Level) -> str:
        """What the level's cell is called, at the severity that stays."""
        return self.cells[self.severity][level.letter]


@cache
def risk_matrix() -> RiskMatrix:
    """The matrix as it is shipped; its cells are from memory, to be verified against the standard."""
    data = tomllib.loads(MATRIX_FILE.read_text(encoding="utf-8"))
    levels = tuple(Level(one["letter"], one["name"], one["at_least"]) for one in data["level"])
    return RiskMatrix(levels, data["cells"], data["severity"], data["source"])


def edited(matrix: RiskMatrix, *, at_least: Mapping[str, float], cells: Mapping[str, str]) -> RiskMatrix:
    """The matrix with the user's own numbers and cells for some letters.

    Parameters
    ----------
    matrix : RiskMatrix
    at_least : mapping of str to float
        Where a level begins, by its letter.
    cells : mapping of str to str
        What a cell is called at the severity that stays, by its letter.

    Raises
    ------
    CallError
        ``unknown_level`` for a letter that is none of the matrix; ``levels_not_in_order`` where the numbers do not
        fall from level to level down to 0.
    """
    letters = {level.letter for level in matrix.levels}
    if unknown := sorted((set(at_least) | set(cells)) - letters):
        raise CallError(
            "unknown_level", f"The risk matrix has no level {unknown[0]}.", "Use A, B, C, D or E."
        )
    levels = tuple(
        Level(one.letter, one.name, at_least.get(one.letter, one.at_least)) for one in matrix.levels
    )
    steps = [level.at_least for level in levels]
    if steps[-1] != 0 or any(higher <= lower for higher, lower in pairwise(steps)):
        raise CallError(
            "levels_not_in_order",
            "The levels of the risk matrix must begin at numbers that fall, the last at 0.",
        )
    own = {**matrix.cells[matrix.severity], **cells}
    return RiskMatrix(levels, {**matrix.cells, matrix.severity: own}, matrix.severity, matrix.source)


def chance_of_a_death(deaths: Floats, mishaps_a_year: Floats) -> Floats:
    """Chance that at least one person dies in a mishap in water within a year, in every world (b,).

    Mishaps fall as a Poisson process; in one of them deaths are taken as Poisson too. People of one mishap share a
    fate, so that fewer mishaps than this have any death: the chance is if anything too high, under every policy alike.

    Parameters
    ----------
    deaths : ndarray of shape (b,)
        Expected deaths a year under the policy.
    mishaps_a_year : ndarray of shape (b,)
    """
    happens = mishaps_a_year > 0
    each = np.divide(deaths, mishaps_a_year, out=np.zeros_like(deaths), where=happens)
    return np.asarray(-np.expm1(mishaps_a_year * np.expm1(-each)))


def places(chance: Floats, matrix: RiskMatrix) -> NDArray[np.intp]:
    """Place of the level of each chance in ``matrix.levels`` (0 is the likeliest)."""
    rising = np.array([level.at_least for level in reversed(matrix.levels)])
    found = np.searchsorted(rising, chance, side="right") - 1
    return np.asarray(len(matrix.levels) - 1 - np.maximum(found, 0), dtype=np.intp)


def unchanged(chances: Floats, today: Floats, matrix: RiskMatrix) -> float:
    """Share of worlds in which none of the policies (p, b) falls into another level than today's (b,)."""
    same = places(chances, matrix) == places(today, matrix)
    return float(np.mean(np.all(same, axis=0)))
