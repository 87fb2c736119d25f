"""Are the first studies of a few cells still told as they were when the table of conditions was made?

``data/rehearsal/first_runs.csv`` is written by ``python -m survstats.rehearsal first_runs --out FILE``. Two of them are
drawn again in every run of the tests, all of them in the slow ones.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from survstats.groundwork.errors import CallError, PublishError
from survstats.rehearsal import first_runs
from survstats.rehearsal.first_runs import CELLS, RUNS, read_first_runs, told, write_first_runs
from survstats.rehearsal.scenarios import cells_named

FILE = Path(__file__).parents[2] / "data" / "rehearsal" / "first_runs.csv"
BY_NAME = {cell.name: cell for cell in CELLS}


@pytest.fixture(scope="module")
def stored():
    return read_first_runs(FILE)


def demand_same(stored, name, run):
    """The same words; a difference may be off in its last digit, on another machine."""
    now = {column: str(text) for column, text in told(BY_NAME[name], run).items()}
    then = dict(stored[name, run])
    ends = [one.pop("difference") for one in (now, then)]
    assert now == then, (name, run)
    assert [end == "" for end in ends] in ([True, True], [False, False])
    if ends[0]:
        assert float(ends[0]) == pytest.approx(float(ends[1]), abs=2e-6), (name, run)


def test_every_first_run_is_there_once(stored):
    assert len(FILE.read_text(encoding="utf-8").splitlines()) == 1 + len(CELLS) * RUNS
    assert set(stored) == {(name, run) for name in BY_NAME for run in range(RUNS)}
    assert {row["word"] for row in stored.values()} > {"cannot_tell"}


@pytest.mark.parametrize("name", ["null/30", "null/7"])
def test_a_first_run_is_told_as_it_was(stored, name):
    demand_same(stored, name, 0)


@pytest.mark.slow
@pytest.mark.parametrize("name", BY_NAME)
def test_every_first_run_is_told_as_it_was(stored, name):
    for run in range(RUNS):
        demand_same(stored, name, run)


def test_they_are_written_one_a_line_and_read_back(tmp_path, monkeypatch):
    monkeypatch.setattr(first_runs, "CELLS", cells_named(("null/7",)))
    monkeypatch.setattr(first_runs, "RUNS", 2)
    path = tmp_path / "first.csv"
    write_first_runs(path)
    assert read_first_runs(path) == {
        ("null/7", run): {name: str(text) for name, text in told(BY_NAME["null/7"], run).items()}
        for run in range(2)
    }
    with pytest.raises(PublishError):
        write_first_runs(path)
    with pytest.raises(CallError):
        write_first_runs(tmp_path / "new.csv", processes=0)
