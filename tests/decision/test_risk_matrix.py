"""Are the steps where the standard has them, and is a policy that stays in its cell counted as such?

Levels and numbers: MIL-STD-882E (2012), read in secondary sources (an older edition's appendix and two summaries); the
names of the cells from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from survstats.decision.risk_matrix import chance_of_a_death, edited, places, risk_matrix, unchanged
from survstats.groundwork.errors import CallError


@pytest.mark.parametrize(
    ("chance", "letter"),
    [
        *((1.0, "A"), (0.1, "A"), (0.0999, "B"), (0.01, "B"), (0.00999, "C"), (1e-3, "C")),
        *((9.99e-4, "D"), (1e-6, "D"), (9.99e-7, "E"), (0.0, "E")),
    ],
)
def test_a_level_begins_at_its_number(chance, letter):
    matrix = risk_matrix()
    assert matrix.levels[places(np.array([chance]), matrix)[0]].letter == letter


def test_every_level_has_a_cell_at_every_severity_and_catastrophic_ones_are_these():
    matrix = risk_matrix()
    letters = [level.letter for level in matrix.levels]
    assert [list(names) for names in matrix.cells.values()] == [letters] * 4
    assert [matrix.cell(level) for level in matrix.levels] == ["high", "high", "high", "serious", "medium"]
    assert [below for _, below in matrix.bands] == [1.0, 0.1, 0.01, 0.001, 1e-6]


def test_the_chance_of_a_death_against_years_drawn_at_random():
    generator = np.random.default_rng(7)
    mishaps = generator.poisson(0.6, 400_000)
    deaths = generator.poisson(1.3 * mishaps)
    seen = np.mean(deaths > 0)
    found = chance_of_a_death(np.array([0.6 * 1.3]), np.array([0.6]))[0]
    assert abs(found - seen) < 3.5 * np.sqrt(seen * (1 - seen) / 400_000)


def test_without_mishaps_nobody_dies_in_one():
    assert chance_of_a_death(np.zeros(2), np.array([0.0, 3.0])) == pytest.approx([0.0, 0.0])


def test_worlds_in_which_nothing_changes_are_counted():
    today = np.array([0.05, 0.05, 0.0105, 0.2])
    one = np.array([0.04, 0.02, 0.0099, 0.11])  # the third leaves its step
    other = np.array([0.09, 0.11, 0.0104, 0.11])  # the second does
    matrix = risk_matrix()
    assert unchanged(one[None], today, matrix) == 0.75
    assert unchanged(np.stack([one, other]), today, matrix) == 0.5
    assert unchanged(today[None], today, matrix) == 1.0


def test_the_user_may_move_steps_and_rename_cells():
    own = edited(risk_matrix(), at_least={"C": 1e-4}, cells={"D": "tolerable"})
    assert own.levels[places(np.array([5e-4]), own)[0]].letter == "C"
    assert own.cell(own.levels[3]) == "tolerable"
    assert risk_matrix().cell(risk_matrix().levels[3]) == "serious"


@pytest.mark.parametrize(
    ("at_least", "cells", "reason"),
    [
        ({"F": 0.1}, {}, "unknown_level"),
        ({}, {"Z": "high"}, "unknown_level"),
        ({"B": 0.2}, {}, "levels_not_in_order"),
        ({"E": 1e-9}, {}, "levels_not_in_order"),
    ],
)
def test_steps_that_make_no_sense_are_refused(at_least, cells, reason):
    with pytest.raises(CallError) as fault:
        edited(risk_matrix(), at_least=at_least, cells=cells)
    assert fault.value.reason == reason
