"""Which worlds is the verdict tried in, and what is written down of them?

The worlds are those of `survstats.records.invented.worlds.simulate_logistic`; what differs is how much training does,
whether fitness that nobody records moves both training and survival, and how well training was written down.
"""

from __future__ import annotations

from dataclasses import dataclass

from survstats.groundwork.errors import CallError

#: Log odds that make the true difference among people alive at immersion .172 and .286 (simulated: 200,000 mishaps).
EFFECT_17, EFFECT_29 = 0.9, 1.59
FITNESS = 0.8
STATUS_UNKNOWN = (0.04, 0.28)
MISCODED = 0.20


@dataclass(frozen=True)
class Scenario:
    """A world, and what is recorded of it.

    Attributes
    ----------
    name : str
    effect : float
        What current training adds to the log odds of living.
    fitness : float
        What one standard deviation of unrecorded fitness adds to the log odds of training and of living.
    unknown_survivors, unknown_dead : float
        Shares whose training nobody knows.
    inferred_dead : float
        Share of the dead whose training was inferred; everybody else's stands on a certificate or the roster.
    miscoded : float
        Share of the trained among these dead who were written down as never trained.
    """

    name: str
    effect: float = 0.0
    fitness: float = 0.0
    unknown_survivors: float = 0.0
    unknown_dead: float = 0.0
    inferred_dead: float = 0.0
    miscoded: float = 0.0


SCENARIOS = (
    Scenario("clean_17", effect=EFFECT_17),
    Scenario(
        "unknown_17",
        effect=EFFECT_17,
        unknown_survivors=STATUS_UNKNOWN[0],
        unknown_dead=STATUS_UNKNOWN[1],
    ),
    Scenario("clean_29", effect=EFFECT_29),
    Scenario("null"),
    Scenario("null_fitness", fitness=FITNESS),
    Scenario("null_miscoded_all", inferred_dead=1.0, miscoded=MISCODED),
    Scenario("null_miscoded_half", inferred_dead=0.5, miscoded=MISCODED),
)


@dataclass(frozen=True)
class Cell:
    """One line of the table: a scenario with so many mishaps."""

    scenario: Scenario
    mishaps: int

    @property
    def name(self) -> str:
        """As it is asked for: ``null/30``."""
        return f"{self.scenario.name}/{self.mishaps}"


#: The table's cells: every scenario at three sizes, and where no model stands the world without effect.
CELLS = (
    *(Cell(scenario, mishaps) for scenario in SCENARIOS for mishaps in (30, 60, 120)),
    Cell(Scenario("null"), 7),
    Cell(Scenario("null"), 15),
)


def cells_named(names: tuple[str, ...]) -> tuple[Cell, ...]:
    """Cells by name: one cell (``null/30``), or all of a scenario (``null``), in the table's order.

    Raises
    ------
    CallError
        ``unknown_cell`` with the names there are.
    """
    known = {cell.name for cell in CELLS} | {cell.scenario.name for cell in CELLS}
    for name in names:
        if name not in known:
            raise CallError(
                "unknown_cell", f"There is no cell '{name}'.", f"Known: {', '.join(sorted(known))}."
            )
    return tuple(cell for cell in CELLS if cell.name in names or cell.scenario.name in names)
