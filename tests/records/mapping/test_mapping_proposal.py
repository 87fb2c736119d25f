"""A first mapping, for a person to finish."""

from __future__ import annotations

import csv
import re
import tomllib
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.groundwork.errors import RecordsError, StudyFileError
from survstats.records.loading import read_records
from survstats.records.mapping.bring_in import read_mapped_records
from survstats.records.mapping.draft_comments import toml_text
from survstats.records.mapping.faults import parse_mapping
from survstats.records.mapping.names import fields_named, same_word, unit_named
from survstats.records.mapping.proposal import names_columns, propose_mapping

DEMO = Path(__file__).parents[3] / "data" / "demo_small"
TEXTS = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)


@given(TEXTS)
def test_any_text_comes_back_from_toml_and_stays_in_its_comment(text):
    quoted = toml_text(text)
    assert tomllib.loads(f"{quoted} = {quoted}  # {quoted}\n") == {text: text}
    assert quoted.isprintable()


HOSTILE = (
    st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=12)
    .map(str.strip)
    .filter(bool)
)


@settings(max_examples=60, deadline=None)
@given(st.lists(HOSTILE, min_size=1, max_size=4, unique_by=str.strip), HOSTILE)
def test_hostile_names_and_codes_are_proposed_as_they_are(tmp_path_factory, names, code):
    path = tmp_path_factory.mktemp("hostile") / "theirs.csv"
    header = [name for name in names if name not in ("sex", "outcome")] + ["sex", "outcome"]
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, [code] * len(header)])
    try:
        text = propose_mapping(path)
    except RecordsError:  # a header may look like another encoding or separator
        return
    proposed = tomllib.loads(text)
    people = proposed.get("occupant", {"fields": {"sex": {}}})  # PERSON:CODE makes it a table of trainer runs
    codes = people["fields"]["sex"].get("codes")
    assert codes is None or list(codes) == [code]
    commented = {
        tomllib.loads(f"x = [{line.strip(' #')}]")["x"][0]
        for line in text.splitlines()
        if line.startswith("    # ")
    }
    mapped = {
        field["column"]
        for table in ("mishap", "occupant", "training_run")
        for field in proposed.get(table, {}).get("fields", {}).values()
    }
    assert set(header) <= commented | mapped


def test_it_cannot_be_used_before_a_person_has_finished_it():
    with pytest.raises(StudyFileError) as fault:
        parse_mapping(propose_mapping(DEMO / "occupant.csv").encode())
    assert fault.value.reason == "not_checked"


def test_a_proposal_for_our_own_file_needs_only_a_name(tmp_path):
    (tmp_path / "occupant.csv").write_bytes((DEMO / "occupant.csv").read_bytes())
    text = propose_mapping(tmp_path / "occupant.csv").replace('checked_by = ""', 'checked_by = "A. Coder"')
    (tmp_path / "mapping.toml").write_text(text, encoding="utf-8")
    mapped = read_mapped_records(tmp_path, others={"mishap": DEMO / "mishap.csv"})
    plain = read_records(DEMO / "mishap.csv", DEMO / "occupant.csv")
    assert mapped.occupant.equals(plain.occupant)
    assert not [f for f in mapped.findings if f.severity in ("error", "warning")]


THEIRS = """Accident No,Date,Type,POB,Wave height (ft),Light conditions,Person,Duty,Age,Survived,HUET,Notes
1,03/12/2015,S2,2,10,Day,a,Pilot,41,yes,Yes,x
1,03/12/2015,S2,2,10,Day,b,Passenger,,no,Unknown,y
"""


@pytest.fixture
def theirs(tmp_path: Path) -> Path:
    path = tmp_path / "theirs.csv"
    path.write_text(THEIRS.replace("Type", "Aircraft type"), encoding="utf-8")
    return path


def test_a_wide_sheet_is_recognised(theirs):
    text = propose_mapping(theirs)
    proposed = tomllib.loads(text)
    assert {name: field["column"] for name, field in proposed["mishap"]["fields"].items()} == {
        "mishap_id": "Accident No",
        "event_date": "Date",
        "aircraft_class": "Aircraft type",
        "n_aboard": "POB",
        "sig_wave_height_m": "Wave height (ft)",
        "light": "Light conditions",
    }
    assert {name: field["column"] for name, field in proposed["occupant"]["fields"].items()} == {
        "mishap_id": "Accident No",
        "occupant_id": "Person",
        "role": "Duty",
        "age_band": "Age",
        "training_ever": "HUET",
        "outcome": "Survived",
    }
    fields = proposed["occupant"]["fields"]
    assert fields["training_ever"]["codes"] == {"Yes": "yes", "Unknown": "unknown"}
    assert fields["outcome"]["codes"] == {"yes": "", "no": ""}  # 'no' is none of our outcomes: never guessed
    assert fields["role"]["codes"] == {"Pilot": "", "Passenger": "passenger"}
    assert fields["age_band"]["bands"] is True
    assert '# unit = "ft"' in text  # a guess, so only in a comment
    assert '    # "Notes",' in text
    assert '# dates = "DD/MM/YYYY"' in text
    assert [line for line in text.splitlines() if line.startswith("# counted")] == [
        "# counted = true  # from the rows of the occupant table"
    ] * 2


def test_a_code_left_without_a_value_is_refused_and_the_finished_mapping_loads(theirs):
    draft = propose_mapping(theirs)
    text = draft.replace('checked_by = ""', 'checked_by = "A. Coder"')
    with pytest.raises(StudyFileError):
        parse_mapping(text.encode())
    text = text.replace('"yes" = ""', '"yes" = "survived"').replace('"no" = ""', '"no" = "died"')
    with pytest.raises(StudyFileError, match="Pilot"):
        parse_mapping(text.encode())
    text = text.replace('"Pilot" = ""', '"Pilot" = "flight_crew"')
    text = re.sub(
        r'^(    )# ("\w+",)', r"\1\2", text, flags=re.MULTILINE
    )  # nothing else was collected; notes ignored
    text = text.replace('# dates = "DD/MM/YYYY"', 'dates = "DD/MM/YYYY"').replace(
        '# unit = "ft"', 'unit = "ft"'
    )
    (theirs.parent / "mapping.toml").write_text(text, encoding="utf-8")
    records = read_mapped_records(theirs.parent)
    assert not [f for f in records.findings if f.severity in ("error", "warning")]
    assert records.raw["mishap"][["event_date", "sig_wave_height_m"]].to_numpy().tolist() == [
        ["2015-12-03", "3.048"]
    ]
    assert records.occupant["age_band"].astype(object).fillna("").tolist() == ["40_to_44", ""]


def test_every_sheet_of_a_workbook_is_looked_at(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "Accidents"
    for row in (["Case", "Date", "POB"], ["1", "2015-12-03", 2]):
        book.active.append(row)
    people = book.create_sheet('People "A"')
    for row in (["Case", "Person", "Sex", "Fate"], ["1", "a", "M", "survived"]):
        people.append(row)
    remarks = book.create_sheet("Remarks")
    for row in (["What"], ["nothing"]):
        remarks.append(row)
    book.save(tmp_path / "theirs.xlsx")
    text = propose_mapping(tmp_path / "theirs.xlsx")
    proposed = tomllib.loads(text)
    assert (proposed["mishap"]["sheet"], proposed["occupant"]["sheet"]) == ("Accidents", 'People "A"')
    assert proposed["occupant"]["fields"]["sex"]["codes"] == {"M": ""}
    assert '# Nothing was recognised in the sheet "Remarks".' in text


def test_a_file_that_tells_nothing_still_gives_a_draft(tmp_path):
    (tmp_path / "x.csv").write_text("a,b\n1,2\n")
    text = propose_mapping(tmp_path / "x.csv")
    assert tomllib.loads(text)["occupant"]["file"] == "x.csv"
    assert "# No column tells of the mishap table" in text


@pytest.mark.parametrize(
    ("column", "table", "fields"),
    [
        ("Accident No.", "mishap", ("mishap_id",)),
        ("WAVE_HEIGHT_FT", "mishap", ("sig_wave_height_m",)),
        ("Escape time (s)", "occupant", ("egress_lo_s", "egress_hi_s")),
        ("water temp °F", "mishap", ("water_temp_c",)),
        ("Surname", "occupant", ()),
    ],
)
def test_names_of_the_trade(column, table, fields):
    assert fields_named(column, table) == fields


def test_units_and_words():
    assert [unit_named(name) for name in ("Wave height (ft)", "wind kts", "s", "Depth")] == [
        "ft",
        "kt",
        "",
        "",
    ]
    assert same_word("Dusk / Dawn", ("day", "dusk_dawn")) == "dusk_dawn"
    assert same_word("", ("", "unknown")) == ""


def test_a_missing_file_is_told_in_a_sentence(tmp_path):
    with pytest.raises(RecordsError):
        propose_mapping(tmp_path / "none.csv")


def test_every_draft_says_what_was_read_and_how_to_say_so(tmp_path):
    (tmp_path / "x.csv").write_text(
        "Ref no;Date;Local time;Wave ht (m);Killed;Person\n"
        "1;03/12/2015;14:00;2,5;no;a\n2;13/12/2015;15:00;1,5;yes;b\n",
        encoding="utf-8",
    )
    text = propose_mapping(tmp_path / "x.csv")
    lines = text.splitlines()
    day = lines.index('column = "Date"')
    assert lines[day + 1].startswith('# dates = "DD/MM/YYYY"  # 03/12/2015 was read as 2015-12-03')
    assert '# decimal = ","  # such as "2,5"' in lines
    assert '# time_column = "Local time"' in lines
    finished = re.sub(r'^# (dates = "|decimal = ")', r"\1", text, flags=re.MULTILINE)
    fields = tomllib.loads(finished)["mishap"]["fields"]
    assert fields["event_date"]["dates"] == "DD/MM/YYYY"
    assert fields["sig_wave_height_m"]["decimal"] == ","
    assert fields["mishap_id"]["column"] == "Ref no"
    assert tomllib.loads(text)["occupant"]["fields"]["outcome"]["codes"] == {"no": "", "yes": ""}


def test_dates_that_read_two_ways_are_offered_both_ways(tmp_path):
    (tmp_path / "x.csv").write_text("Ref no,Date\n1,03/12/2015\n2,04/11/2015\n", encoding="utf-8")
    text = propose_mapping(tmp_path / "x.csv")
    assert '# dates = "DD/MM/YYYY"  # or "MM/DD/YYYY": ' in text


def test_a_sheet_that_is_no_table_is_named_with_the_reason(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "Accidents"
    for row in (["Case", "Date", "POB"], ["1", "2015-12-03", 2], ["2", "2016-12-03", "=1+2"]):
        book.active.append(row)
    for row in (["a", "a"], ["1", "2"]):
        if "Twice" not in book.sheetnames:
            book.create_sheet("Twice")
        book["Twice"].append(row)
    book.save(tmp_path / "theirs.xlsx")
    lines = propose_mapping(tmp_path / "theirs.xlsx").splitlines()
    left_out = [line for line in lines if line.startswith('# The sheet "Twice" was left out: ')]
    assert len(left_out) == 1
    assert "twice" in left_out[0]
    people = lines.index('column = "POB"')
    assert any(line.startswith("# row 3: ") for line in lines[people : people + 3])


def test_whether_any_column_was_recognised(tmp_path):
    (tmp_path / "x.csv").write_text("a,b\n1,2\n")
    (tmp_path / "y.csv").write_text("Ref no,b\n1,2\n")
    assert not names_columns(propose_mapping(tmp_path / "x.csv"))
    assert names_columns(propose_mapping(tmp_path / "y.csv"))
