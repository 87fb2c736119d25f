import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.records.codebook import load_codebook
from survstats.records.reading.grid import Grid
from survstats.records.reading.written_forms import DATE_FORMS, decimal_comma, iso_date, settle

FIELDS = load_codebook().mishap


def settled(**columns):
    length = len(next(iter(columns.values())))
    return settle(Grid("t.csv", columns, tuple(range(2, length + 2))), FIELDS)


@pytest.mark.parametrize(
    ("texts", "comma"),
    [
        (["2,5", "3"], True),
        (["2,5", "1,250"], True),
        (["1,250"], False),
        (["1,250", "30"], False),
        (["2,5", "2.5"], False),
        (["2,5", "1.250"], False),
        (["1.250,5", "2,5"], True),
        (["unknown", ""], False),
        ([], False),
    ],
)
def test_a_comma_is_a_decimal_sign_only_where_it_can_be_nothing_else(texts, comma):
    assert decimal_comma(texts) is comma


def test_where_thousands_have_points_the_cell_is_left_to_be_an_error():
    assert list(settled(water_temp_c=["2,5", "1.250,5"]).columns["water_temp_c"]) == ["2.5", "1.250,5"]


def test_between_commas_no_comma_is_a_decimal_sign():
    grid = Grid("t.csv", {"water_temp_c": ["2,5"]}, (2,), comma_separated=True)
    assert settle(grid, FIELDS).columns["water_temp_c"] == ["2,5"]


def test_texts_are_never_touched():
    columns = {"report_source": ["2,5", "03.04.2015"], "water_temp_c": ["2,5", "3"], "other": ["1,5", "x"]}
    read = settled(**columns)
    assert read.changed == {"water_temp_c"}
    assert {name: list(read.columns[name]) for name in columns} == {**columns, "water_temp_c": ["2.5", "3"]}


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2015-03-04", "2015-03-04"),
        ("04.03.2015", "2015-03-04"),
        ("4.3.2015", "2015-03-04"),
        ("2015/03/04", "2015-03-04"),
        ("4 Mar 2015", "2015-03-04"),
        ("4-march-2015", "2015-03-04"),
        ("12 Sept 2015", "2015-09-12"),
        ("2015-03-04 00:00:00", "2015-03-04"),
        ("03/03/2015", "2015-03-03"),
        ("25/03/2015", "2015-03-25"),
        ("03/25/2015", "2015-03-25"),
        ("31.02.2015", "31.02.2015"),
        ("04.03.15", "04.03.15"),
        ("4 Mär 2015", "4 Mär 2015"),
        ("4 Marc 2015", "4 Marc 2015"),
        ("4-Mar 2015", "4-Mar 2015"),
        ("2015-03-04 10:30", "2015-03-04 10:30"),
        ("04032015", "04032015"),
        ("42067", "42067"),
        ("unknown", "unknown"),
    ],
)
def test_forms_of_dates(text, day):
    read = settled(event_date=[text])
    assert list(read.columns["event_date"]) == [day]
    assert [f.rule for f in read.findings] == ([] if day == text else ["F11"])


@pytest.mark.parametrize(
    ("texts", "wrong"),
    [
        (["03/04/2015"], [2]),
        (["03/04/2015", "05/05/2015", "2015-01-31"], [2]),
        (["25/04/2015", "04/25/2015", "03/04/2015"], [2, 3, 4]),
        (["13/13/2015", "03/04/2015"], [3]),
    ],
)
def test_a_date_that_reads_two_ways_is_an_error(texts, wrong):
    errors = [f for f in settled(event_date=texts).findings if f.severity == "error"]
    assert [(f.rule, f.row) for f in errors] == [("F3", row) for row in wrong]
    assert all("month/day" in f.expected and "YYYY-MM-DD" in f.remedy for f in errors)


def test_one_cell_above_twelve_settles_its_column_and_no_other():
    read = settled(event_date=["25/04/2015", "03/04/2015"], coding_date=["03/04/2015", "04/25/2015"])
    assert list(read.columns["event_date"]) == ["2015-04-25", "2015-04-03"]
    assert list(read.columns["coding_date"]) == ["2015-03-04", "2015-04-25"]
    assert [(f.rule, f.field) for f in read.findings] == [("F11", "event_date"), ("F11", "coding_date")]
    assert "was read as" in read.findings[0].remedy


@settings(max_examples=200, deadline=None, derandomize=True, database=None)
@given(day=st.dates(datetime.date(1900, 1, 1), datetime.date(2100, 1, 1)), form=st.sampled_from(DATE_FORMS))
def test_every_form_gives_back_the_day(day, form):
    pattern = form.replace("YYYY", "%Y").replace("DD", "%d").replace("MM", "%m")
    pattern = pattern.replace("D Month", "%d %B")
    assert iso_date(day.strftime(pattern), form) == day.isoformat()
