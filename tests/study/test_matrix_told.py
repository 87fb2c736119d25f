"""Is it counted in how many worlds the cell of the risk matrix stays the same?"""

from __future__ import annotations

import numpy as np
import pytest
from plausible_worlds import a_plan, many_worlds, two_policies

from survstats.decision.outcome import outcome
from survstats.decision.risk_matrix import chance_of_a_death
from survstats.decision.world import Policy
from survstats.study.matrix_told import IDS, store_matrix
from survstats.study.results_builder import ResultsBuilder

WORLDS = many_worlds()


def told(policies=None, form="lean", *, plan=None, **words) -> ResultsBuilder:
    out = ResultsBuilder()
    store_matrix(out, plan or a_plan(), WORLDS, policies or two_policies(), form, **words)
    return out


def rows(out: ResultsBuilder, name: str) -> list[dict[str, object]]:
    table = out.tables[name]
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def test_every_id_is_stored_or_absent_with_a_reason():
    for out in (told(), told(form="would_have_to", points=0.05)):
        stored = {*out.numbers, *out.tables}
        assert {name for name in IDS if name not in stored} == set(out.absent)


def test_the_share_of_worlds_is_counted_from_the_outcomes():
    today, rarer = two_policies()
    chances = [
        chance_of_a_death(outcome(WORLDS, one, today=today).deaths, WORLDS.mishaps_a_year)
        for one in (today, rarer)
    ]
    steps = np.array([1e-6, 1e-3, 1e-2, 1e-1])
    level = [np.sum(chance[:, None] >= steps, axis=1) for chance in chances]
    out = told()
    assert out.numbers["matrix.unchanged"].value == np.mean(level[0] == level[1])
    lines = rows(out, "matrix_policies")
    assert [row["name"] for row in lines] == [one.name for one in two_policies()]
    assert [row["probability"] for row in lines] == pytest.approx([chance.mean() for chance in chances])
    assert lines[0]["unchanged"] == 1.0
    assert lines[1]["unchanged"] == out.numbers["matrix.unchanged"].value < 1.0
    assert all(row["low"] < row["probability"] < row["high"] for row in lines)


def test_today_against_itself_never_changes():
    today, rarer = two_policies()
    out = told((today, Policy(rarer.name, today.interval, today.covered)))
    assert out.numbers["matrix.unchanged"].value == 1.0
    assert out.codes["matrix.levels"] == "one"


def test_bands_and_cells_are_told_with_where_they_are_from():
    out = told()
    assert [row["level"] for row in rows(out, "matrix_bands")] == list("ABCDE")
    assert len(rows(out, "matrix_cells")) == 20
    assert out.codes["matrix.source"] == "memory"


def test_the_study_file_may_move_a_step_and_rename_its_cell():
    plan = a_plan(matrix={"at_least": {"A": 0.9, "B": 0.5}, "cells": {"C": "tolerable"}})
    out = told(plan=plan)
    assert out.codes["matrix.source"] == "study_file"
    assert {row["level"] for row in rows(out, "matrix_policies")} == {"C"}
    assert {row["cell"] for row in rows(out, "matrix_policies")} == {"tolerable"}
    assert [row["below"] for row in rows(out, "matrix_bands")][:3] == [1.0, 0.9, 0.5]
    assert told(plan=a_plan(matrix={})).codes["matrix.source"] == "memory"
