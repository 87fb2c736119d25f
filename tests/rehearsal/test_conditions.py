"""Does the rehearsal count what the verdict said, of studies that anybody can draw again?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from survstats.challenge.verdict import GATES
from survstats.groundwork.errors import CallError
from survstats.groundwork.resampling import stream
from survstats.rehearsal import conditions
from survstats.rehearsal.__main__ import main
from survstats.rehearsal.conditions import BASE_SEED, COUNTED, Told, read_table, rehearse, rehearse_all, tell
from survstats.rehearsal.scenarios import SCENARIOS, cells_named
from survstats.rehearsal.worlds import simulate_records
from survstats.study.everybody import everybody
from survstats.study.judge import judge
from survstats.study.plan import Study, parse_plan
from survstats.study.results_builder import ResultsBuilder

(SMALL,) = cells_named(("null/30",))
BENEFIT = Told(frozenset({"suggests_benefit", "more_than_chance", "in_part", "estimated"}), 0.2)
SILENT = Told(frozenset({"cannot_tell", "estimated"}), 0.1)
WORDS = tuple(name for name in COUNTED if name.startswith(("supports_", "suggests_", "cannot_tell")))
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


def test_a_table_is_not_added_to_when_the_study_or_the_worlds_have_changed(told, tmp_path, monkeypatch):
    path = tmp_path / "table.csv"
    rehearse_all(cells_named(("null/30",)), path, runs=3)
    assert set(read_table(path)["setting"]) == {conditions.setting_hash()}
    before = conditions.setting_hash()
    monkeypatch.setattr(conditions, "SCENARIOS", (*SCENARIOS[:-1], replace(SCENARIOS[-1], miscoded=0.21)))
    assert conditions.setting_hash() != before
    with pytest.raises(CallError, match="setting"):
        rehearse_all(cells_named(("null/60",)), path, runs=3)
    monkeypatch.undo()
    assert conditions.setting_hash() == before
    monkeypatch.setattr(conditions, "STUDY_FILE", conditions.STUDY_FILE.replace("draws = 20", "draws = 40"))
    assert conditions.setting_hash() != before


# ---- the command ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("more", "code", "words"),
    [
        (["--runs", "0"], 2, "There cannot be 0 runs."),
        (["--runs", "-3"], 2, "There cannot be -3 runs."),
        (["--processes", "0"], 2, "There cannot be 0 processes."),
        (["--cells", ","], 2, "There is no cell ','."),
        (["--cells", "null/7,nul"], 2, "There is no cell 'nul'."),
        (["--out", "nowhere/table.csv"], 3, "does not exist"),
        (["--out", "."], 3, "is no ordinary file"),
        (["--out", "other.csv"], 2, "other.csv is no table of a rehearsal"),
        (["--out", "empty.csv"], 2, "empty.csv is no table of a rehearsal"),
        (["--out", "bytes.csv"], 2, "bytes.csv is no table of a rehearsal"),
    ],
)
def test_a_call_that_cannot_be_followed_is_one_sentence_and_draws_nothing(
    told, tmp_path, monkeypatch, capsys, more, code, words
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "other.csv").write_text("a,b\n1,2\n")
    (tmp_path / "empty.csv").write_bytes(b"")
    (tmp_path / "bytes.csv").write_bytes(b"\xff\xfe\x00a")
    before = sorted(tmp_path.iterdir())
    assert main(["conditions", "--cells", "null/7", "--out", "table.csv", *more]) == code
    err = capsys.readouterr().err
    assert words in err
    assert "Traceback" not in err
    assert told == []
    assert sorted(tmp_path.iterdir()) == before


def test_a_comma_too_many_is_no_cell(told, tmp_path):
    assert (
        main(["conditions", "--cells", "null/7,", "--runs", "2", "--out", str(tmp_path / "table.csv")]) == 0
    )
    assert [name for name, _, _ in told] == ["null/7"] * 2


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
    records = simulate_records(cell.scenario, cell.mishaps, stream(BASE_SEED["fresh"], f"{cell.name}/0"))
    judge(out, study, everybody(study, records), banners=())
    found = tell(cell, "fresh", 0)
    assert found.difference == pytest.approx(out.numbers["effect.rd"].value, abs=1e-12)
    word, direction = out.codes["verdict.word"], out.codes["verdict.direction"]
    said = word if word == "cannot_tell" else f"{word}_{direction}"
    assert [one for one in WORDS if one in found.holds] == [said]
    states = {(row[0], row[1]) for row in out.tables["gates"].rows}
    for gate in GATES:
        for state in ("met", "partly_met"):
            assert (f"{gate}_{state}" in found.holds) == ((gate, state) in states), gate
    assert found.holds <= set(COUNTED)


@pytest.mark.slow
def test_processes_beside_each_other_give_the_same_line():
    with conditions.pool(2) as mapped:
        assert rehearse(SMALL, 6, mapped=mapped) == rehearse(SMALL, 6)
