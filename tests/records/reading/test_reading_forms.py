import datetime
from dataclasses import replace

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
    read = settled(event_date=["25/04/2015", "03/04/2015"], coding_date=["03/04/2015", "04/05/2015"])
    assert list(read.columns["event_date"]) == ["2015-04-25", "2015-04-03"]
    assert [(f.rule, f.field, f.row) for f in read.findings] == [
        ("F11", "event_date", None),
        ("F3", "coding_date", 2),
        ("F3", "coding_date", 3),
    ]
    assert (
        read.findings[0].remedy == "25/04/2015 was read as 2015-04-25; 1 cell tells the order and 1 follows"
    )


def test_columns_of_one_file_that_contradict_each_other_settle_nothing():
    read = settled(event_date=["25/04/2015", "03/04/2015"], coding_date=["03/04/2015", "04/25/2015"])
    assert not read.changed
    assert [(f.rule, f.severity, f.row) for f in read.findings] == [
        ("F3", "error", row) for row in (2, 3, 2, 3)
    ]
    assert all("day first and columns with the month first" in f.expected for f in read.findings)


@pytest.mark.parametrize(
    ("telling", "follow", "settles"),
    [(1, 10, True), (1, 11, False), (2, 11, False), (3, 11, True), (3, 30, True), (3, 31, False)],
)
def test_few_cells_do_not_decide_for_many(telling, follow, settles):
    read = settled(event_date=["25/04/2015"] * telling + ["03/04/2015"] * follow + ["05/05/2015", "unknown"])
    errors = [f for f in read.findings if f.severity == "error"]
    if settles:
        assert not errors
        assert f"the order and {follow} follow" in read.findings[0].remedy
    else:
        assert len(errors) == telling + follow
        assert f"and {follow} follow" in errors[0].expected
        assert read.columns["event_date"][telling] == "03/04/2015"


@pytest.mark.parametrize(
    ("texts", "rows"),
    [
        (["2015-04-03", "25/04/2015"], [3]),
        (["2015-04-03", "unknown", "25.04.2015"], [4]),
        (["2015-04-03", "2015-04-25", "unknown", "25 Apr 2015"], []),
    ],
)
def test_real_dates_among_texts_of_days_are_an_error(texts, rows):
    grid = Grid(
        "t.xlsx", {"event_date": texts}, tuple(range(2, 2 + len(texts))), real_dates={"event_date": 1}
    )
    errors = [f for f in settle(grid, FIELDS).findings if f.severity == "error"]
    assert [(f.rule, f.row) for f in errors] == [("F3", row) for row in rows]
    assert not [f for f in settle(replace(grid, real_dates={}), FIELDS).findings if f.severity == "error"]


def test_numbers_with_three_decimals_after_a_comma_are_counted_and_the_first_is_shown():
    read = settled(water_temp_c=["2,5", "3", "1,250"], wind_kt=["", "2,125", "1,250"])
    (said,) = read.findings
    assert said.rule == "F10"
    assert said.remedy == (
        "2,5 was read as 2.5; 3 cells with exactly three decimals likewise, the first in row 3, wind_kt: 2,125 as 2.125"
    )
    assert settled(water_temp_c=["2,5"]).findings[0].remedy == "2,5 was read as 2.5"


@settings(max_examples=200, deadline=None, derandomize=True, database=None)
@given(day=st.dates(datetime.date(1900, 1, 1), datetime.date(2100, 1, 1)), form=st.sampled_from(DATE_FORMS))
def test_every_form_gives_back_the_day(day, form):
    pattern = form.replace("YYYY", "%Y").replace("DD", "%d").replace("MM", "%m")
    pattern = pattern.replace("D Month", "%d %B")
    assert iso_date(day.strftime(pattern), form) == day.isoformat()
