import datetime
import os

import pytest
from rewritten import as_xlsx, texts

from survstats.groundwork.errors import RecordsError
from survstats.records.checking import check_records
from survstats.records.codebook import load_codebook
from survstats.records.demo import demo_folder
from survstats.records.fingerprint import cohort_hash
from survstats.records.loading import read_records
from survstats.records.reading.study_folder import find_tables

ROSTER = [field.name for field in load_codebook().occupant if field.roster]
KEYS = ["mishap_id", "occupant_id"]


@pytest.fixture(scope="module")
def frames():
    """The small demo study on the sheets of the collection form."""
    mishap, occupant = (texts(demo_folder("demo_small") / f"{t}.csv") for t in ("mishap", "occupant"))
    later = [name for name in occupant if name in KEYS or name not in ROSTER]
    return {"mishap": mishap, "roster": occupant[ROSTER].iloc[::-1], "occupant": occupant[later]}


def read(frames, tmp_path):
    path = tmp_path / "form.xlsx"
    path.write_bytes(as_xlsx(frames, other_sheets=["how to"]))
    return read_records(path, path)


def errors(records):
    return [(f.rule, f.file, f.row, f.seen) for f in records.findings if f.severity == "error"]


def test_roster_and_occupant_sheets_are_one_table(frames, tmp_path):
    records = read(frames, tmp_path)
    folder = demo_folder("demo_small")
    assert cohort_hash(records) == cohort_hash(read_records(folder / "mishap.csv", folder / "occupant.csv"))
    people = len(records.occupant)
    assert not errors(records)
    assert records.place("occupant", "outcome", 0)[:3] == ("form.xlsx, sheet occupant", 2, "outcome")
    role = records.place("occupant", "role", 0)
    assert role[:3] == ("form.xlsx, sheet roster", people + 1, "role")
    assert role[3] == records.raw["occupant"]["role"].iat[0]


def test_a_wrong_cell_of_the_roster_is_named_where_it_stands(frames, tmp_path):
    roster = frames["roster"].copy()
    roster.iloc[0, roster.columns.get_loc("role")] = "pilot"
    records = read({**frames, "roster": roster}, tmp_path)
    assert errors(records) == [("F1", "form.xlsx, sheet roster", 2, "pilot")]


def test_people_on_one_sheet_only_are_errors(frames, tmp_path):
    roster, people = frames["roster"], len(frames["roster"])
    found = errors(read({**frames, "roster": roster.iloc[1:]}, tmp_path))
    assert found == [
        ("F12", "form.xlsx, sheet occupant", people + 1, "a person who is not on the roster sheet")
    ]
    found = errors(read({**frames, "occupant": frames["occupant"].iloc[1:]}, tmp_path))
    assert found == [
        ("F12", "form.xlsx, sheet roster", people + 1, "a person who is not on the occupant sheet")
    ]
    twice = roster.iloc[[0, *range(people)]]
    assert errors(read({**frames, "roster": twice}, tmp_path)) == [
        ("F12", "form.xlsx, sheet roster", 3, "a person who stands there twice")
    ]


def test_a_roster_that_is_empty_or_not_there(frames, tmp_path):
    whole = texts(demo_folder("demo_small") / "occupant.csv")
    records = read(
        {"mishap": frames["mishap"], "roster": frames["roster"].iloc[:0], "occupant": whole}, tmp_path
    )
    assert not errors(records)
    with pytest.raises(RecordsError, match="stands on the occupant sheet as well"):
        read({**frames, "occupant": whole}, tmp_path)
    with pytest.raises(RecordsError, match="sheet roster lacks the column occupant_id"):
        read({**frames, "roster": frames["roster"].drop(columns="occupant_id")}, tmp_path)


def test_an_empty_sheet_of_runs_is_no_table_of_runs(frames, tmp_path):
    runs = texts(demo_folder("demo_small") / "mishap.csv").iloc[:0]
    (tmp_path / "form.xlsx").write_bytes(as_xlsx({**frames, "training_run": runs}))
    assert sorted(find_tables(tmp_path)) == ["mishap", "occupant"]


def test_a_roster_without_outcomes_is_readable(frames, tmp_path):
    for name, occupant in (("header", frames["occupant"].iloc[:0]), ("no sheet", None)):
        sheets = {"mishap": frames["mishap"], "roster": frames["roster"]}
        if occupant is not None:
            sheets["occupant"] = occupant
        (tmp_path / name).mkdir()
        records = read(sheets, tmp_path / name)
        assert records.outcomes_pending
        assert len(records.occupant) == len(frames["roster"])
        assert records.occupant["outcome"].isna().all()
        assert records.occupant["role"].notna().all()
        assert [(f.rule, f.file) for f in records.findings] == [("F14", "form.xlsx, sheet roster")]
        found = find_tables(tmp_path / name)
        assert {"mishap", "occupant"} <= found.keys()
        checked = check_records(records, today=datetime.date(2026, 11, 25))
        assert not [f for f in checked if f.severity == "error"]
    assert not read(frames, tmp_path).outcomes_pending


def test_a_wrong_roster_without_outcomes_is_still_told(frames, tmp_path):
    roster = frames["roster"].copy()
    roster.iloc[1] = roster.iloc[0]
    roster.iloc[2, roster.columns.get_loc("role")] = "pilot"
    records = read({**frames, "roster": roster, "occupant": frames["occupant"].iloc[:0]}, tmp_path)
    assert {(rule, row) for rule, _, row, _ in errors(records)} == {("F12", 3), ("F1", 4)}


def test_other_workbooks_in_the_folder_do_no_harm(frames, tmp_path):
    (tmp_path / "records.xlsx").write_bytes(as_xlsx(frames))
    empty = {name: frame.iloc[:0] for name, frame in frames.items()}
    (tmp_path / "blank form.xlsx").write_bytes(as_xlsx(empty))
    (tmp_path / "broken.xlsx").write_bytes(b"PK\x03\x04")
    (tmp_path / "text.xlsx").write_bytes(b"")
    (tmp_path / "folder.xlsx").mkdir()
    (tmp_path / "gone.xlsx").symlink_to(tmp_path / "nowhere")
    os.mkfifo(tmp_path / "pipe.xlsx")
    found = find_tables(tmp_path)
    assert {table: path.name for table, path in found.items()} == dict.fromkeys(
        ["mishap", "occupant"], "records.xlsx"
    )
    (tmp_path / "records.xlsx").rename(tmp_path / "records.old")
    with pytest.raises(RecordsError, match=r"broken\.xlsx"):
        find_tables(tmp_path)
    assert find_tables(tmp_path, sought=["training_run"]) == {}


def test_a_workbook_is_opened_once_for_all_its_tables(frames, tmp_path, monkeypatch):
    from survstats.records.reading import workbook

    opened = []
    once = workbook.open_workbook
    monkeypatch.setattr(workbook, "open_workbook", lambda *args: opened.append(1) or once(*args))
    read(frames, tmp_path)
    assert opened == [1]


def test_a_study_that_names_its_files_looks_at_no_other(frames, tmp_path, monkeypatch):
    from survstats.records.reading import sheets
    from survstats.study.plan import read_study
    from survstats.study.steps import read_records as read_study_records

    for table in ("mishap", "occupant"):
        (tmp_path / f"our {table}s.csv").write_bytes(
            (demo_folder("demo_small") / f"{table}.csv").read_bytes()
        )
    for name in ("a.xlsx", "b.xlsx"):
        (tmp_path / name).write_bytes(as_xlsx(frames))
    told = (demo_folder("demo_small") / "study.toml").read_text()
    for table in ("mishap", "occupant"):
        told = told.replace(f'{table} = "{table}.csv"', f'{table} = "our {table}s.csv"')
    (tmp_path / "study.toml").write_text(told)
    monkeypatch.setattr(sheets, "tables_in_workbook", lambda path: pytest.fail(f"{path.name} was opened"))
    assert len(read_study_records(read_study(tmp_path)).occupant) == 131
