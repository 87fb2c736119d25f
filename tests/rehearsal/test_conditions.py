"""Does the rehearsal count what the verdict said, of studies that anybody can draw again?"""

from __future__ import annotations

import pytest

from survstats.challenge.verdict import GATES
from survstats.groundwork.errors import CallError
from survstats.groundwork.resampling import stream
from survstats.rehearsal import conditions
from survstats.rehearsal.conditions import BASE_SEED, COUNTED, Told, read_table, rehearse, rehearse_all, tell
from survstats.rehearsal.scenarios import cells_named
from survstats.rehearsal.worlds import simulate_records
from survstats.study.everybody import everybody
from survstats.study.judge import judge
from survstats.study.plan import Study, parse_plan
from survstats.study.results_builder import ResultsBuilder

(SMALL,) = cells_named(("null/30",))
BENEFIT = Told(frozenset({"suggests_benefit", "more_than_chance", "in_part", "estimated"}), 0.2)
SILENT = Told(frozenset({"cannot_tell", "estimated"}), 0.1)
NOTHING = Told(frozenset({"cannot_tell"}), None)


@pytest.fixture
def told(monkeypatch):
    """A verdict that says the same three things again and again, and remembers what it was asked."""
    asked = []

    def say(cell, seeds, run):
        asked.append((cell.name, seeds, run))
        return (BENEFIT, SILENT, NOTHING)[run % 3]

    monkeypatch.setattr(conditions, "tell", say)
    return asked


def test_a_line_counts_the_runs_of_its_cell(told):
    line = rehearse(SMALL, 7, seeds="tuning")
    assert told == [("null/30", "tuning", run) for run in range(7)]
    assert (line["runs"], line["base_seed"]) == (7, BASE_SEED["tuning"])
    assert (line["suggests_benefit"], line["cannot_tell"], line["estimated"]) == (3, 4, 5)
    assert line["mean_difference"] == pytest.approx((3 * 0.2 + 2 * 0.1) / 5)


def test_cells_that_stand_in_the_table_are_not_run_again(told, tmp_path):
    path = tmp_path / "table.csv"
    rehearse_all(cells_named(("null/30",)), path, runs=3)
    first = path.read_bytes()
    rehearse_all(cells_named(("null/30", "null/60")), path, runs=3)
    assert path.read_bytes().startswith(first)
    assert [name for name, _, _ in told] == ["null/30"] * 3 + ["null/60"] * 3
    assert list(read_table(path)["mishaps"]) == [30, 60]


@pytest.mark.parametrize(
    "changed", [{"runs": 4}, {"seeds": "tuning"}], ids=["another number of runs", "other seeds"]
)
def test_a_table_is_not_added_to_under_other_terms(told, tmp_path, changed):
    path = tmp_path / "table.csv"
    rehearse_all(cells_named(("null/30",)), path, runs=3)
    with pytest.raises(CallError, match="other"):
        rehearse_all(cells_named(("null/60",)), path, **{"runs": 3} | changed)


def test_a_table_is_not_added_to_under_other_thresholds(told, tmp_path, monkeypatch):
    path, thresholds = tmp_path / "table.csv", tmp_path / "verdict.toml"
    rehearse_all(cells_named(("null/30",)), path, runs=3)
    thresholds.write_text("[seen]\n")
    monkeypatch.setattr(conditions, "THRESHOLDS_FILE", thresholds)
    with pytest.raises(CallError, match="thresholds"):
        rehearse_all(cells_named(("null/60",)), path, runs=3)


def test_fresh_seeds_are_not_those_of_tuning_and_a_run_is_the_same_whatever_ran_before():
    fresh = tell(SMALL, "fresh", 1)
    assert tell(SMALL, "tuning", 1).difference != fresh.difference
    assert tell(SMALL, "fresh", 1) == fresh


def test_a_study_is_told_as_if_it_had_been_brought():
    """The fields that the records never hold are left out for speed; nothing that is said changes."""
    (cell,) = cells_named(("clean_29/30",))
    raw = conditions.STUDY_FILE.format(seed=0).encode()
    study = Study(folder=conditions.Path(), plan=parse_plan(raw), plan_hash="")
    out = ResultsBuilder()
    out.lists["records.banners"] = []
    records = simulate_records(cell.scenario, cell.mishaps, stream(BASE_SEED["fresh"], f"{cell.name}/0"))
    judge(out, study, everybody(study, records))
    found = tell(cell, "fresh", 0)
    assert found.difference == pytest.approx(out.numbers["effect.rd"].value, abs=1e-12)
    assert f"{out.codes['verdict.word']}_{out.codes['verdict.direction']}" in found.holds | {
        "cannot_tell_benefit"
    }
    states = {(row[0], row[1]) for row in out.tables["gates"].rows}
    for gate in GATES:
        for state in ("met", "partly_met"):
            assert (f"{gate}_{state}" in found.holds) == ((gate, state) in states), gate
    assert found.holds <= set(COUNTED)


@pytest.mark.slow
def test_processes_beside_each_other_give_the_same_line():
    with conditions._pool(2) as mapped:
        assert rehearse(SMALL, 6, mapped=mapped) == rehearse(SMALL, 6)
