"""A mapping file is checked as strictly as the data."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.groundwork.errors import StudyFileError
from survstats.records.codebook import Field, load_codebook
from survstats.records.mapping.bring_in import mapped_tables
from survstats.records.mapping.faults import parse_mapping
from survstats.records.rules.cell import wrong_text

GOOD = """checked_by = "A. Coder"

[training_run]
file = "runs.csv"
not_collected = ["course"]
ignore = ["Remarks"]

[training_run.fields]
person_code = { column = "Who" }
run_date = { column = "Day", dates = "DD.MM.YYYY" }
run_no = { numbered = true }
result = { column = "OK", codes = { j = "passed", n = "failed" } }
time_out_s = { column = "t", unit = "min", decimal = "," }
"""


def is_refused(field: Field, value: str) -> bool:
    """Whether a mapping may not say that a field always has this value."""
    said = f'[{field.table}.fields]\n{field.name} = {{ always = "{value}" }}\n'
    text = f'checked_by = "A. Coder"\n[{field.table}]\nfile = "x.csv"\n{said}'
    try:
        parse_mapping(text.encode())
    except StudyFileError as fault:
        return fault.reason == "wrong_value"
    return False


def fault_of(text: str) -> StudyFileError:
    with pytest.raises(StudyFileError) as fault:
        parse_mapping(text.encode())
    assert str(fault.value).startswith("mapping.toml")
    return fault.value


def test_a_good_mapping_is_taken():
    assert parse_mapping(GOOD.encode()).plan.checked_by == "A. Coder"


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('"A. Coder"', '""', 1, "nobody has finished this mapping"),
        ('"A. Coder"', '"  "', 1, "some text"),
        ('checked_by = "A. Coder"', "", None, "'checked_by' is missing"),
        ("person_code =", "person_cod =", 9, "Did you mean 'person_code'?"),
        ("ignore =", "ignor =", 6, "Did you mean 'ignore'?"),
        ('"Who" }', '"Who", unitt = "m" }', 9, "Did you mean 'unit'?"),
        ('"Who" }', '"Who", always = "x" }', 9, "comes from column and always"),
        ('{ column = "Who" }', "{ }", 9, "comes from nowhere"),
        ('column = "OK", ', "", 12, "comes from nowhere"),
        ("numbered = true", 'always = "1.5"', 11, "Write a number."),
        ("numbered = true", 'always = "unknown"', 11, "Write a number."),
        ("numbered = true", "counted = true", 11, "Only n_aboard, n_crew, n_pax can be counted."),
        ("numbered = true", "numbered = false", 11, "Write true."),
        ('"Who" }', '"Who", bands = true }', 9, "Only age_band is made from ages."),
        ('"Who" }', '"Who", interval = true }', 9, "Only the low and high end of a time"),
        ('"Who" }', '"Who", decimal = "," }', 9, "Only numbers have a decimal sign."),
        ('"Who" }', '"Who", dates = "YYYY-MM-DD" }', 9, "Only days are written so."),
        ('"Who" }', '"Who", unit = "m" }', 9, "It has no unit"),
        ('unit = "min"', 'unit = "ft"', 13, "Write one of s, min, h"),
        ('unit = "min"', 'unit = "fathom"', 13, "Write one of s, min, h"),
        ('"DD.MM.YYYY"', '"DD.MM.YY"', 10, "Write it with YYYY"),
        ('"DD.MM.YYYY"', '"DD.DD.YYYY"', 10, "Write it with YYYY"),
        ('"DD.MM.YYYY"', '"MM.YYYY"', 10, "Write it with YYYY"),
        (
            'j = "passed"',
            'j = "pass"',
            12,
            "the code 'j' of 'result' stands for 'pass', which is none of ours",
        ),
        ('j = "passed"', 'j = ""', 12, "stands for ''"),
        ('j = "passed"', "j = 1", 12, 'Write text in "quotes"'),
        ('["course"]', "[]", 3, "nothing says where training_run field 'course' comes from"),
        ('["course"]', '["course", "nonsense"]', 5, "has no field 'nonsense'"),
        ('["course"]', '["course", "run_no"]', 5, "'run_no' must be known in every row"),
        ('["course"]', '["course", "time_out_s"]', 5, "'time_out_s' is mapped and said not to be collected"),
        ("file =", 'delimiter = ":"\nfile =', 4, "one of ','"),
        ('"runs.csv"', '"a\\u0000.csv"', 4, "without control characters"),
        ('["Remarks"]', '["Remarks", "Who"]', 6, "'Who' is mapped and ignored"),
    ],
)
def test_each_fault_is_told_with_its_line(old, new, line, words):
    assert GOOD.count(old) == 1
    fault = fault_of(GOOD.replace(old, new))
    assert (fault.exit_code, fault.line) == (2, line)
    assert words in str(fault)


LOCAL = """checked_by = "A. Coder"
[mishap]
file = "m.csv"
not_collected = ["n_crew", "n_pax", "status_ascertained_by", "aircraft_class"]
fields.mishap_id = { column = "No" }
fields.n_aboard = { counted = true }
fields.impact_survivability = { always = "unknown" }
[mishap.local_time]
date_column = "Day"
time_column = "Time"
zone = "Europe/Oslo"
"""


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('"Europe/Oslo"', '"Europe/Nowhere"', 11, "there is no time zone 'Europe/Nowhere'"),
        ('"Europe/Oslo"', '"../etc"', 11, "there is no time zone"),
        ('"Europe/Oslo"', '"Europe"', 11, "there is no time zone"),
        ('zone = "Europe/Oslo"', "", 8, "needs a zone or a zone_column"),
        ('zone = "Europe/Oslo"', 'zone = "UTC"\nzone_column = "Z"', 8, "needs a zone or a zone_column"),
        ('"Time"', '"Time"\ndates = "MM/YYYY"', 11, "tells no day"),
        (
            "fields.n_aboard",
            'fields.event_date = { always = "2015-06-20" }\nfields.n_aboard',
            6,
            "also follows from",
        ),
    ],
)
def test_local_time_is_checked(old, new, line, words):
    parse_mapping(LOCAL.encode())
    fault = fault_of(LOCAL.replace(old, new))
    assert fault.line == line
    assert words in str(fault)


def test_a_day_known_to_the_month_must_say_so():
    fault = fault_of(
        'checked_by = "x"\n[occupant]\nfile = "o.csv"\n'
        'not_collected = ["role", "training_ever", "training_type", "training_evidence", "alive_at_immersion"]\n'
        '[occupant.fields]\nmishap_id = { column = "a" }\noccupant_id = { column = "b" }\n'
        'training_last_date = { column = "c", dates = "YYYY" }\noutcome = { column = "d" }\n'
    )
    assert (fault.reason, fault.line) == ("precision", 8)


@pytest.mark.parametrize("text", ['checked_by = "x"\n', 'checked_by = "x"\n[mishaps]\nfile = "a"\n'])
def test_a_mapping_of_nothing_is_refused(text):
    fault_of(text)


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ('"Who"', '"Whoo"', 9, "runs.csv has no column 'Whoo'. Did you mean 'Who'?"),
        ('["Remarks"]', '["Zzz"]', 6, "It has: Who, Day, OK, t, Remarks."),
    ],
)
def test_a_column_that_is_not_there_is_told_with_its_line(tmp_path, old, new, line, words):
    (tmp_path / "runs.csv").write_text("Who,Day,OK,t,Remarks\na,1.2.2020,j,1,\n")
    with pytest.raises(StudyFileError) as fault:
        mapped_tables(parse_mapping(GOOD.replace(old, new).encode()), tmp_path)
    assert fault.value.line == line
    assert words in str(fault.value)


@pytest.mark.parametrize(
    "field",
    [f for t in ("mishap", "occupant", "training_run") for f in load_codebook().table(t)],
    ids=lambda f: f.name,
)
def test_only_values_of_ours_can_stand_for_a_code(field):
    for value in (
        *field.values,
        *field.missing,
        "unknown",
        "na",
        "1",
        "1.5",
        "-3",
        "2015-06-20",
        "12:30",
        "inf",
        "x",
    ):
        if value != "":
            assert is_refused(field, value) == (wrong_text(field, value) is not None), value
    assert is_refused(field, "not_collected") == field.required


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_a_spoilt_mapping_is_told_in_one_sentence_or_taken(data):
    raw = bytearray(GOOD.encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(raw) - 1))
        raw[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    said = "mapping.toml"
    try:
        parse_mapping(bytes(raw))
    except StudyFileError as fault:
        said = str(fault)
    assert said.startswith("mapping.toml")
    assert "\n" not in said
