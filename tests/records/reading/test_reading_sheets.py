import pytest
from rewritten import as_xlsx, texts

from survstats.groundwork.errors import RecordsError
from survstats.records.codebook import load_codebook
from survstats.records.demo import demo_folder
from survstats.records.fingerprint import cohort_hash
from survstats.records.loading import find_tables, read_records

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
