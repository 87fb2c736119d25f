"""Other people's tables, brought in by a mapping."""

from __future__ import annotations

import datetime
import os
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.groundwork.errors import StudyFileError, SurvstatsError
from survstats.records.checking import check_records
from survstats.records.loading import Records, read_records, typed_records
from survstats.records.mapping.bring_in import mapped_tables, read_mapped_records, read_mapping
from survstats.records.mapping.faults import parse_mapping

CHECKED = 'checked_by = "A. Coder"\n'
MISHAP = {
    "mishap_id": '{ column = "Case" }',
    "event_date": '{ always = "2015-06-20" }',
    "aircraft_class": '{ always = "B" }',
    "n_crew": "{ counted = true }",
    "n_pax": "{ counted = true }",
    "n_aboard": "{ counted = true }",
    "impact_survivability": '{ always = "survivable" }',
    "status_ascertained_by": '{ always = "roster_all" }',
}
OCCUPANT = {
    "mishap_id": '{ column = "Case" }',
    "occupant_id": "{ numbered = true }",
    "role": '{ column = "Role", codes = { C = "flight_crew", P = "passenger", "?" = "unknown" } }',
    "outcome": '{ column = "Lived", codes = { Y = "survived", N = "died" } }',
}
NOT_ASKED = [
    "training_ever",
    "training_type",
    "training_last_date",
    "training_evidence",
    "alive_at_immersion",
]


def mapping_text(
    mishap: dict[str, str] | None = None,
    occupant: dict[str, str] | None = None,
    *,
    file: str = "wide.csv",
    extra: str = "",
    ignore: str = "",
) -> str:
    """A mapping of one wide sheet; fields given here replace or add to the usual ones."""

    def fields(usual: dict[str, str], given: dict[str, str] | None) -> str:
        return "\n".join(f"{name} = {how}" for name, how in (usual | (given or {})).items() if how)

    return (
        f'{CHECKED}[mishap]\nfile = "{file}"\n{ignore}\n{extra}\n[mishap.fields]\n{fields(MISHAP, mishap)}\n'
        f'[occupant]\nfile = "{file}"\nnot_collected = {NOT_ASKED}\n[occupant.fields]\n{fields(OCCUPANT, occupant)}\n'
    )


def brought_in(folder: Path, sheet: str, text: str) -> Records:
    (folder / "wide.csv").write_text(sheet, encoding="utf-8")
    (folder / "mapping.toml").write_text(text, encoding="utf-8")
    return read_mapped_records(folder)


def told(records: Records, *rules: str) -> list[tuple[str, int | None, str, str]]:
    return [(f.rule, f.row, f.field, f.seen) for f in records.findings if f.rule in rules]


def errors(records: Records) -> list[tuple[str, int | None, str, str]]:
    return [(f.rule, f.row, f.field, f.seen) for f in records.findings if f.severity == "error"]


SHEET = "Case,Role,Lived\n7,C,Y\n7,P,N\n9,P,Y\n"


def test_one_wide_sheet_gives_both_tables(tmp_path):
    records = brought_in(tmp_path, SHEET, mapping_text())
    assert not errors(records)
    assert records.mishap["mishap_id"].tolist() == ["7", "9"]
    assert records.mishap[["n_crew", "n_pax", "n_aboard"]].to_numpy().tolist() == [[1, 1, 2], [0, 1, 1]]
    assert records.occupant["occupant_id"].tolist() == ["1", "2", "1"]
    assert records.occupant["role"].tolist() == ["flight_crew", "passenger", "passenger"]
    assert records.occupant["outcome"].tolist() == ["survived", "died", "survived"]
    assert records.place("occupant", "outcome", 1) == ("wide.csv", 3, "Lived", "N")
    assert records.place("mishap", "mishap_id", 1) == ("wide.csv", 4, "Case", "9")
    assert not [f for f in check_records(records, today=datetime.date(2026, 1, 1)) if f.severity == "error"]


def test_an_unmapped_code_is_a_finding_and_never_a_guess(tmp_path):
    records = brought_in(tmp_path, SHEET.replace("9,P,Y", "9,passenger,"), mapping_text())
    # 'passenger' is our word, not one that the mapping lists; the blank outcome stays blank, and must be there
    assert errors(records) == [("M2", 4, "role (Role)", "passenger"), ("F4", 4, "outcome (Lived)", "")]
    (finding,) = [f for f in records.findings if f.rule == "M2"]
    assert finding.file == "wide.csv"
    assert "[occupant.fields.role]" in finding.remedy
    assert "flight_crew" in finding.remedy
    assert records.occupant["role"].isna().tolist() == [False, False, True]


def test_an_unmapped_code_of_a_field_that_must_be_there_is_told_once(tmp_path):
    records = brought_in(tmp_path, SHEET.replace("9,P,Y", "9,P,maybe"), mapping_text())
    assert errors(records) == [("M2", 4, "outcome (Lived)", "maybe")]


def test_a_blank_cell_stays_blank_unless_it_is_mapped(tmp_path):
    sheet = "Case,Role,Lived,Suit\n7,C,Y,\n7,P,N,x\n"
    left = {"suit_worn": '{ column = "Suit", codes = { x = "yes" } }'}
    records = brought_in(tmp_path, sheet, mapping_text(occupant=left))
    assert (records.raw["occupant"]["suit_worn"].tolist(), errors(records)) == (["", "yes"], [])
    mapped = {"suit_worn": '{ column = "Suit", codes = { x = "yes", "" = "no" } }'}
    records = brought_in(tmp_path, sheet, mapping_text(occupant=mapped))
    assert records.raw["occupant"]["suit_worn"].tolist() == ["no", "yes"]


def test_a_code_can_stand_for_not_collected(tmp_path):
    sheet = "Case,Role,Lived,Suit\n7,C,Y,-\n7,P,N,x\n"
    how = {"suit_worn": '{ column = "Suit", codes = { x = "yes", "-" = "not_collected" } }'}
    records = brought_in(tmp_path, sheet, mapping_text(occupant=how))
    assert records.raw["occupant"]["suit_worn"].tolist() == ["", "yes"]
    assert records.place("occupant", "suit_worn", 0)[3] == "-"


def test_roles_that_nobody_knows_leave_crew_and_passengers_unknown(tmp_path):
    records = brought_in(tmp_path, SHEET.replace("7,P", "7,?"), mapping_text())
    assert records.raw["mishap"][["n_crew", "n_pax", "n_aboard"]].to_numpy().tolist() == [
        ["unknown", "unknown", "2"],
        ["0", "1", "1"],
    ]


@pytest.mark.parametrize(
    ("field", "how", "cell", "expected"),
    [
        ("sig_wave_height_m", 'unit = "ft"', "10", "3.048"),
        ("wind_kt", 'unit = "m/s"', "10", "19.4384"),
        ("water_temp_c", 'unit = "degF"', "50", "10"),
        (
            "water_temp_c",
            'unit = "degF"',
            "28",
            "-2",
        ),  # 27.5 to 28.5 degF reach the limit of -2 degrees Celsius
        ("water_temp_c", 'unit = "degF"', "27", "-2.77778"),  # 27.5 degF are -2.5: beyond it
        ("water_temp_c", 'unit = "degF"', "28.0", "-2.22222"),  # 28.05 degF are -2.19
        ("water_temp_c", 'decimal = ","', "9,5", "9.5"),
        ("water_temp_c", 'unit = "degF", decimal = ","', "50,9", "10.5"),
        ("rescue_first_asset_min", 'unit = "h"', "1.5", "90"),
        ("t_sink_hi_s", 'unit = "min"', "inf", "inf"),
        ("water_temp_c", 'unit = "degF"', "unknown", "unknown"),  # no codes: our words are our words
        ("water_temp_c", 'codes = { "n/k" = "unknown" }', "n/k", "unknown"),
        ("sea_state_wmo", 'codes = { smooth = "2" }', "smooth", "2"),
        ("coding_date", 'dates = "DD/MM/YYYY"', "3/12/2015", "2015-12-03"),
        ("coding_date", 'dates = "MM/DD/YYYY"', "3/12/2015", "2015-03-12"),
        ("coding_date", 'dates = "DD MMM YYYY"', "3 Dec 2015", "2015-12-03"),
        ("coding_date", 'dates = "YYYYMMDD"', "20151203", "2015-12-03"),
        ("coding_date", 'dates = "DD/MM/YYYY"', "2015-12-03", "2015-12-03"),  # a true date of a workbook
        ("t_capsize_lo_s", "interval = true", "10 to 20 s", "10"),
        ("t_capsize_hi_s", "interval = true", "10 to 20 s", "20"),
        ("t_capsize_hi_s", "interval = true", "between 10 and 20 sec", "20"),
        ("t_capsize_hi_s", "interval = true", "10–20", "20"),
        ("t_capsize_lo_s", "interval = true", "about 15 s", "10"),
        ("t_capsize_hi_s", "interval = true", "about 15 s", "22.5"),
        ("t_capsize_lo_s", "interval = true", "ca. 20", "13.3333"),
        ("t_capsize_lo_s", "interval = true", "15", "15"),
        ("t_capsize_hi_s", "interval = true", "15", "15"),
        ("t_capsize_lo_s", "interval = true", "<20", "0"),
        ("t_capsize_hi_s", "interval = true", "less than 20 seconds", "20"),
        ("t_capsize_lo_s", "interval = true", "> 60", "60"),
        ("t_capsize_hi_s", "interval = true", "60+", "inf"),
        ("t_capsize_hi_s", 'interval = true, unit = "min"', "2", "120"),
        ("t_capsize_hi_s", "interval = true", "1 to 2 min", "120"),
        ("t_capsize_lo_s", 'interval = true, decimal = ","', "1,5", "1.5"),
    ],
)
def test_cells_in_our_units_and_forms(tmp_path, field, how, cell, expected):
    text = mapping_text({field: f'{{ column = "X", {how} }}'})
    records = brought_in(tmp_path, f'Case,Role,Lived,X\n7,C,Y,"{cell}"\n', text)
    assert (records.raw["mishap"][field].tolist(), errors(records)) == ([expected], [])
    assert records.place("mishap", field, 0) == ("wide.csv", 2, "X", cell)


@pytest.mark.parametrize(
    ("field", "how", "cell", "rule"),
    [
        ("sig_wave_height_m", 'unit = "ft"', "10 ft", "M4"),
        ("sig_wave_height_m", 'unit = "ft"', "1,250", "M4"),
        ("water_temp_c", 'decimal = ","', "9.5", "M4"),
        ("water_temp_c", 'unit = "degF", codes = { x = "unknown" }', "na", "M2"),  # theirs may mean anything
        ("coding_date", 'dates = "DD/MM/YYYY"', "31/02/2015", "M4"),
        ("coding_date", 'dates = "DD/MM/YYYY"', "3/12/15", "M4"),
        ("coding_date", 'dates = "DD MMM YYYY"', "3 Dez 2015", "M4"),
        ("coding_date", 'dates = "YYYYMMDD"', "2015123", "M4"),
        ("t_capsize_lo_s", "interval = true", "20 to 10", "M4"),
        ("t_capsize_lo_s", "interval = true", "about 10 to 20", "M4"),
        ("t_capsize_lo_s", "interval = true", "15 m", "M4"),
        ("t_capsize_lo_s", "interval = true", "1:30", "M4"),
        ("t_capsize_lo_s", "interval = true", "quickly", "M4"),
        ("t_capsize_lo_s", "interval = true", "-5", "M4"),
        ("light", 'codes = { D = "day" }', "night", "M2"),
        ("light", 'unit = "m"', "night", None),
        ("operator_code", 'codes = { Acme = "op1" }', "Other", "M2"),
        ("region_code", "", "unknown", ""),
    ],
)
def test_cells_that_the_mapping_does_not_cover(tmp_path, field, how, cell, rule):
    text = mapping_text({field: f'{{ column = "X"{", " if how else ""}{how} }}'})
    sheet = f'Case,Role,Lived,X\n7,C,Y,"{cell}"\n'
    if rule is None:
        with pytest.raises(StudyFileError):
            brought_in(tmp_path, sheet, text)
        return
    records = brought_in(tmp_path, sheet, text)
    assert errors(records) == ([(rule, 2, f"{field} (X)", cell)] if rule else [])
    assert records.raw["mishap"][field].tolist() == ["" if rule else cell]


def test_texts_stay_as_they_are_where_only_gaps_are_coded(tmp_path):
    how = {"operator_code": '{ column = "X", codes = { "n/k" = "unknown" } }'}
    records = brought_in(tmp_path, "Case,Role,Lived,X\n7,C,Y,n/k\n9,P,Y,Acme\n", mapping_text(how))
    assert (records.raw["mishap"]["operator_code"].tolist(), errors(records)) == (["unknown", "Acme"], [])


@pytest.mark.parametrize(
    ("age", "band"),
    [("0.17", "0_to_4"), ("4.99", "0_to_4"), ("5", "5_to_9"), ("79", "75_to_79"), ("94", "80_plus")],
)
def test_ages_become_bands(tmp_path, age, band):
    how = {"age_band": '{ column = "Age", bands = true }'}
    records = brought_in(tmp_path, f"Case,Role,Lived,Age\n7,C,Y,{age}\n", mapping_text(occupant=how))
    assert (records.occupant["age_band"].tolist(), errors(records)) == ([band], [])


@pytest.mark.parametrize("age", ["-1", "130", "adult"])
def test_what_is_no_age_is_no_band(tmp_path, age):
    how = {"age_band": '{ column = "Age", bands = true }'}
    records = brought_in(tmp_path, f"Case,Role,Lived,Age\n7,C,Y,{age}\n", mapping_text(occupant=how))
    assert errors(records) == [("M4", 2, "age_band (Age)", age)]


def test_rows_of_one_mishap_that_contradict_each_other(tmp_path):
    how = {"light": '{ column = "Light", codes = { D = "day", N = "night" } }'}
    sheet = "Case,Role,Lived,Light\n7,C,Y,\n7,P,N,D\n7,P,N,N\n7,P,Y,N\n9,P,Y,N\n"
    records = brought_in(tmp_path, sheet, mapping_text(how))
    (finding,) = [f for f in records.findings if f.severity == "error"]
    assert (finding.rule, finding.row, finding.field, finding.seen) == ("M3", 4, "light (Light)", "N")
    assert "D, as row 3" in finding.expected
    assert records.place("mishap", "light", 0) == ("wide.csv", 3, "Light", "D")  # where it is first written


@pytest.mark.parametrize(
    ("date", "time", "zone", "expected"),
    [
        # clocks went forward at 02:00 on 29 March 2015 and back at 03:00 on 25 October 2015 (EU directive 2000/84/EC)
        ("2015-06-20", "14:30", "Europe/Oslo", ("2015-06-20", "12:30")),
        ("2015-01-20", "0:15", "Europe/Oslo", ("2015-01-19", "23:15")),
        ("2015-01-20", "0030", "Asia/Tokyo", ("2015-01-19", "15:30")),
        ("2015-06-20", "14:30:20", "UTC", ("2015-06-20", "14:30:20")),
        ("2015-03-29", "02:30", "Europe/Oslo", "skipped"),
        ("2015-10-25", "02:30", "Europe/Oslo", "twice"),
        ("2015-10-25", "02:30", "Europe/Nowhere", "IANA"),
        ("2015-10-25", "02:30", "..", "IANA"),
        ("2015-10-25", "25:30", "Europe/Oslo", "HH:MM"),
        ("2015-10-25", "930", "Europe/Oslo", "HH:MM"),
        ("2015-13-25", "02:30", "Europe/Oslo", "YYYY-MM-DD"),
    ],
)
def test_local_time(tmp_path, date, time, zone, expected):
    local = '[mishap.local_time]\ndate_column = "Day"\ntime_column = "Time"\nzone_column = "Zone"\n'
    text = mapping_text({"event_date": ""}, extra=local)
    records = brought_in(tmp_path, f"Case,Role,Lived,Day,Time,Zone\n7,C,Y,{date},{time},{zone}\n", text)
    if isinstance(expected, tuple):
        assert not errors(records)
        assert records.raw["mishap"][["event_date", "event_time_utc"]].to_numpy().tolist() == [list(expected)]
        assert records.place("mishap", "event_time_utc", 0) == ("wide.csv", 2, "Time", time)
        return
    (finding,) = [f for f in records.findings if f.severity == "error"]
    assert (finding.rule, finding.row) == ("M4", 2)
    assert expected in finding.expected


def test_without_a_time_the_local_day_stands_and_is_said(tmp_path):
    local = '[mishap.local_time]\ndate_column = "Day"\ntime_column = "Time"\nzone = "Asia/Tokyo"\n'
    local += 'dates = "DD.MM.YYYY"\n'
    text = mapping_text({"event_date": ""}, extra=local)
    records = brought_in(tmp_path, "Case,Role,Lived,Day,Time\n7,C,Y,20.1.2015,\n", text)
    assert not errors(records)
    assert records.raw["mishap"][["event_date", "event_time_utc"]].to_numpy().tolist() == [["2015-01-20", ""]]
    assert told(records, "M6") == [("M6", None, "Time", "1 of 1 rows without a time")]


def test_a_date_known_to_the_month_lies_in_its_middle(tmp_path):
    how = {
        "training_last_date": '{ column = "Course", dates = "MM/YYYY" }',
        "training_date_precision": '{ always = "month" }',
        "training_ever": '{ always = "yes" }',
    }
    text = mapping_text(occupant=how).replace("'training_ever', ", "").replace("'training_last_date', ", "")
    records = brought_in(tmp_path, "Case,Role,Lived,Course\n7,C,Y,5/2014\n", text)
    assert (records.raw["occupant"]["training_last_date"].tolist(), errors(records)) == (["2014-05-15"], [])


def test_a_column_that_nobody_mentions_is_told_once(tmp_path):
    sheet = "Case,Role,Lived,Remarks,Extra\n7,C,Y,a,b\n"
    records = brought_in(tmp_path, sheet, mapping_text(ignore='ignore = ["Remarks"]'))
    assert told(records, "M1") == [("M1", 1, "Extra", "a column named Extra")]


def test_later_findings_name_their_file_row_column_and_text(tmp_path):
    how = {"water_temp_c": '{ column = "Water (F)", unit = "degF" }'}
    records = brought_in(tmp_path, 'Case,Role,Lived,"Water (F)"\n\n7,C,Y,212\n', mapping_text(how))
    (finding,) = [f for f in check_records(records, today=datetime.date(2026, 1, 1)) if f.severity == "error"]
    assert (finding.rule, finding.file, finding.row, finding.field) == (
        "R8",
        "wide.csv",
        3,
        "water_temp_c (Water (F))",
    )
    assert finding.seen == "212"


def test_a_table_in_our_own_form_stands_beside_a_mapped_one(tmp_path, study):
    study.records([study.mishap("7")], study.people("7"))
    sheet = "Case,Role,Lived\n7,C,Y\n7,P,N\n7,P,Y\n"
    text = mapping_text()
    text = text[: text.index("[mishap]")] + text[text.index("[occupant]") :]
    (tmp_path / "wide.csv").write_text(sheet, encoding="utf-8")
    (tmp_path / "mapping.toml").write_text(text, encoding="utf-8")
    records = read_mapped_records(tmp_path, others={"mishap": study.mishap_path})
    assert (records.files, errors(records)) == ({"occupant": "wide.csv", "mishap": "mishap.csv"}, [])
    assert records.mishap["n_aboard"].tolist() == [3]
    with pytest.raises(StudyFileError, match=r"does not speak of the mishap table"):
        read_mapped_records(tmp_path)


def test_trainer_runs_are_mapped_too(tmp_path):
    runs = (
        '[training_run]\nfile = "runs.csv"\nfields.person_code = { column = "Who" }\n'
        'fields.run_date = { column = "Day", dates = "DD.MM.YYYY" }\nfields.run_no = { numbered = true }\n'
        'fields.course = { always = "initial" }\nfields.result = { column = "OK", codes = { j = "passed" } }\n'
        'fields.time_out_s = { column = "t", unit = "min", decimal = "," }\n'
    )
    (tmp_path / "runs.csv").write_text("Who;Day;OK;t\na;1.2.2020;j;0,5\na;1.2.2020;j;0,25\nb;1.2.2020;j;1\n")
    records = brought_in(tmp_path, SHEET, mapping_text() + runs)
    assert not errors(records)
    assert records.training_run["run_no"].tolist() == [1, 2, 1]
    assert records.training_run["time_out_s"].tolist() == [30, 15, 60]


def test_our_own_files_come_through_a_mapping_unchanged():
    folder = Path(__file__).parents[3] / "data" / "demo_small"
    parts = [CHECKED]
    for table in ("mishap", "occupant"):
        header = (folder / f"{table}.csv").read_text(encoding="utf-8").splitlines()[0].split(",")
        parts.append(f'[{table}]\nfile = "{table}.csv"\n[{table}.fields]')
        parts += [f'{name} = {{ column = "{name}" }}' for name in header]
    mapped = typed_records(mapped_tables(parse_mapping("\n".join(parts).encode()), folder))
    plain = read_records(folder / "mishap.csv", folder / "occupant.csv")
    for table in ("mishap", "occupant"):
        assert mapped.raw[table].equals(plain.raw[table])
        assert mapped.table(table).equals(plain.table(table))


@settings(max_examples=30, deadline=None)
@given(
    cells=st.lists(
        st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=6), min_size=1, max_size=5
    )
)
def test_whatever_stands_in_a_cell_is_mapped_or_found(tmp_path_factory, cells):
    folder = tmp_path_factory.mktemp("cells")
    lines = ["Case,Role,Lived,X"] + [
        f'{i},C,Y,"{cell.replace(chr(34), chr(34) * 2)}"' for i, cell in enumerate(cells)
    ]
    how = {"light": '{ column = "X", codes = { D = "day", N = "night" } }'}
    records = brought_in(folder, "\n".join(lines) + "\n", mapping_text(how))
    said = {"D": "day", "N": "night", "": ""}
    bad = [(i + 2, cell.strip()) for i, cell in enumerate(cells) if cell.strip() not in said]
    assert [(row, seen) for _, row, _, seen in errors(records)] == bad
    assert records.raw["mishap"]["light"].tolist() == [said.get(cell.strip(), "") for cell in cells]


def test_a_mapping_that_is_not_there_is_no_mapping(tmp_path):
    with pytest.raises(StudyFileError) as fault:
        read_mapping(tmp_path / "mapping.toml")
    assert fault.value.reason == "missing_file"


@pytest.mark.parametrize(
    ("code", "feet", "agrees"),
    [
        ("4", "4", True),  # 3.5 to 4.5 ft are 1.07 to 1.37 m; code 4 begins above 1.25 m
        ("3", "4", True),
        ("4", "3", False),  # 3.5 ft are 1.07 m
        ("4", "4.0", False),  # 4.05 ft are 1.234 m
        ("5", "4", False),
    ],
)
def test_a_height_in_feet_is_held_against_the_sea_state_as_it_was_rounded(tmp_path, code, feet, agrees):
    sheet = f"Case,Role,Lived,Waves,Sea\n7,C,Y,{feet},{code}\n7,P,N,{feet},{code}\n"
    how = {
        "sig_wave_height_m": '{ column = "Waves", unit = "ft" }',
        "sea_state_wmo": '{ column = "Sea" }',
    }
    records = brought_in(tmp_path, sheet, mapping_text(how))
    found = [f.rule for f in check_records(records, today=datetime.date(2026, 1, 1))]
    assert ("R7" not in found) == agrees


@pytest.mark.parametrize("make", [str, Path.mkdir])
def test_a_file_that_the_mapping_names_and_that_is_not_there(tmp_path, make):
    (tmp_path / "mapping.toml").write_text(mapping_text(), encoding="utf-8")
    make(tmp_path / "wide.csv")
    with pytest.raises(StudyFileError) as fault:
        read_mapped_records(tmp_path)
    assert fault.value.line == 3
    assert str(fault.value).startswith("mapping.toml, line 3: ")
    assert "wide.csv" in str(fault.value)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda path: path.symlink_to("gone.toml"), "a link to a file that is not there"),
        (os.mkfifo, "a pipe or a device"),
        (lambda path: path.mkdir(), "a folder"),
    ],
)
def test_a_mapping_that_is_no_ordinary_file(tmp_path, make, words):
    make(tmp_path / "mapping.toml")
    with pytest.raises(StudyFileError) as fault:
        read_mapping(tmp_path / "mapping.toml")
    assert words in str(fault.value)


def test_sheets_of_a_workbook_with_true_dates_and_numbers(tmp_path):
    book = openpyxl.Workbook()
    book.active.title = "Accidents"
    for row in (["Case", "Day", "Waves"], [7, datetime.date(2015, 12, 3), 10], [9, "4/12/2015", None]):
        book.active.append(row)
    people = book.create_sheet("People")
    for row in (["Case", "Role", "Lived"], [7, "C", "Y"], [9, "P", "N"]):
        people.append(row)
    book.save(tmp_path / "theirs.xlsx")
    how = {
        "event_date": '{ column = "Day", dates = "DD/MM/YYYY" }',
        "sig_wave_height_m": '{ column = "Waves", unit = "ft" }',
    }
    text = mapping_text(how, file="theirs.xlsx", extra='sheet = "Accidents"')
    text = text.replace(
        '[occupant]\nfile = "theirs.xlsx"', '[occupant]\nfile = "theirs.xlsx"\nsheet = "People"'
    )
    (tmp_path / "mapping.toml").write_text(text, encoding="utf-8")
    records = read_mapped_records(tmp_path)
    assert not errors(records)
    assert records.raw["mishap"][["mishap_id", "event_date", "sig_wave_height_m"]].to_numpy().tolist() == [
        ["7", "2015-12-03", "3.048"],
        ["9", "2015-12-04", ""],
    ]
    assert records.place("mishap", "event_date", 1)[:3] == ("theirs.xlsx, sheet Accidents", 3, "Day")


@pytest.mark.parametrize("encoding", ["hex", "rot13", "no such", "undefined"])
def test_an_encoding_that_is_none_is_refused(tmp_path, encoding):
    text = mapping_text(extra=f'encoding = "{encoding}"')
    with pytest.raises(SurvstatsError):
        brought_in(tmp_path, SHEET, text.replace("[occupant]", f'[occupant]\nencoding = "{encoding}"', 1))


def test_an_encoding_and_a_separator_that_are_given_are_used(tmp_path):
    how = 'encoding = "cp437"\ndelimiter = "|"'
    (tmp_path / "wide.csv").write_bytes("Case|Role|Lived|Ort\n7|C|Y|Ålesund\n".encode("cp437"))
    text = mapping_text({"region_code": '{ column = "Ort" }'}, extra=how)
    (tmp_path / "mapping.toml").write_text(
        text.replace("[occupant]", f"[occupant]\n{how}", 1), encoding="utf-8"
    )
    assert read_mapped_records(tmp_path).raw["mishap"]["region_code"].tolist() == ["Ålesund"]
