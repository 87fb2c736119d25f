"""Do results survive the way to JSON and back, infinite numbers too?"""

from __future__ import annotations

import json
import math
import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from survstats.groundwork.errors import CallError
from survstats.groundwork.estimate import Estimate
from survstats.records.demo import DEMO_NAMES
from survstats.study.results import (
    SCHEMA_VERSION,
    Number,
    StudyResults,
    Table,
    read_results,
    row_ranges,
    rows_in,
)
from survstats.study.results_builder import ResultsBuilder


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_a_whole_study_comes_back_equal(demo_results, name):
    first = demo_results[name].to_json()
    again = StudyResults.from_json(first)
    assert again.to_json() == first
    assert dict(again.numbers) == dict(demo_results[name].numbers)
    assert dict(again.rows) == {key: list(rows) for key, rows in demo_results[name].rows.items()}


def built() -> StudyResults:
    out = ResultsBuilder()
    out.estimate(
        "one", Estimate(2.0, 0.0, math.inf, math.nan, 0.95, math.nan, "log", "odds_ratio", "exact", 3, 9)
    )
    out.figure("two", -math.inf, unit="ratio", method="m")
    out.count("three", 7)
    out.texts["title"] = 'näm </script> "x" \u202e \U0001f681'
    out.tables["t"] = Table(("a", "b"), ((1, None), (0.5, "infinite")))
    out.notices.append(("code", {"n": 3}))
    out.lists["l"] = ["p", "q"]
    return out.finish()


def test_infinite_limits_come_back_and_the_text_is_strict_json():
    text = built().to_json()
    json.loads(text, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))
    back = StudyResults.from_json(text)
    assert back.numbers["one"] == Number(2.0, "odds_ratio", "exact", 0.0, math.inf, 0.95, None, 3, 9)
    assert back.numbers["two"].value == -math.inf
    assert back.texts == built().texts
    assert back.to_json() == text


def test_a_table_comes_back_with_its_gaps_and_texts():
    assert StudyResults.from_json(built().to_json()).tables["t"] == built().tables["t"]


@pytest.mark.parametrize(
    "text",
    [
        *("", "{}", "[]", "3", "not json", '{"schema_version": 99}', '{"schema_version": null}'),
        '{"schema_version": [[]]}',
        "[" * 100_000,
    ],
)
def test_other_text_is_refused(text):
    with pytest.raises(CallError) as caught:
        StudyResults.from_json(text)
    assert caught.value.reason == "not_results"


def test_json_of_the_right_version_but_without_its_parts_is_refused():
    with pytest.raises(CallError) as caught:
        StudyResults.from_json('{"schema_version": 1}')
    assert caught.value.reason == "not_results"


@pytest.mark.parametrize(("version", "newer"), [(SCHEMA_VERSION + 1, True), (SCHEMA_VERSION - 1, False)])
def test_results_of_another_version_say_which_side_is_too_old(version, newer):
    with pytest.raises(CallError) as caught:
        StudyResults.from_json(json.dumps({"schema_version": version}))
    assert ("newer survstats" in caught.value.remedy) == newer
    assert str(version) in caught.value.plain


@pytest.mark.skipif(os.name != "posix", reason="needs pipes and devices")
def test_a_pipe_or_a_device_is_not_opened(tmp_path):
    os.mkfifo(tmp_path / "results.json")
    (tmp_path / "zero").symlink_to("/dev/zero")
    for place in (tmp_path, tmp_path / "results.json", tmp_path / "zero"):
        with pytest.raises(CallError, match="pipe or a device") as caught:
            read_results(place)
        assert caught.value.reason == "no_results"


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (["numbers", "one", "value"], "much"),
        (["numbers", "one", "unit"], 3),
        (["numbers", "one", "mishaps"], [3]),
        (["numbers", "one"], [1, 2]),
        (["numbers"], []),
        (["codes"], []),
        (["codes", "x"], 7),
        (["texts", "title"], None),
        (["absent"], "none"),
        (["lists", "l"], "pq"),
        (["lists", "l"], [1]),
        (["tables", "t", "columns"], "ab"),
        (["tables", "t", "rows"], [[1, 2, 3]]),
        (["tables", "t", "rows"], [[1, {}]]),
        (["rows", "p1"], [["a", "b"]]),
        (["rows", "p1"], [["a", "b", "c"]]),
        (["notices"], [["code"]]),
        (["notices"], [[1, {}]]),
        (["provenance", "seed"], 1.5),
        (["rests_on", "one"], "three"),
        (["rests_on", "one"], [3]),
        (["people", "three"], [2, 3]),
        (["people", "three"], "2-"),
        (["people", "three"], "2--3"),
        (["people", "three"], " 2"),
        (["mishaps", "three"], {"M1": 1}),
    ],
)
def test_a_part_of_another_type_is_refused(path, value):
    data = json.loads(built().to_json())
    *folder, last = path
    part = data
    for step in folder:
        part = part[step]
    part[last] = value
    with pytest.raises(CallError) as caught:
        StudyResults.from_json(json.dumps(data))
    assert caught.value.reason == "not_results"


def test_a_file_of_other_bytes_is_refused(tmp_path):
    (tmp_path / "results.json").write_bytes(b"\xff\xfe{}")
    with pytest.raises(CallError) as caught:
        read_results(tmp_path)
    assert caught.value.reason == "not_results"
    with pytest.raises(CallError) as caught:
        read_results(tmp_path / ("x" * 300))
    assert caught.value.reason == "no_results"


def test_read_from_a_folder_or_a_file(tmp_path):
    (tmp_path / "results.json").write_text(built().to_json(), encoding="utf-8")
    assert read_results(tmp_path) == read_results(tmp_path / "results.json")
    with pytest.raises(CallError) as caught:
        read_results(tmp_path / "other.json")
    assert caught.value.reason == "no_results"


@given(st.frozensets(st.integers(min_value=0, max_value=60)))
def test_ranges_of_rows_come_back(rows):
    assert rows_in(row_ranges(rows)) == rows


def test_ranges_are_short_and_leave_out_who_has_no_row():
    assert row_ranges([14, 2, 3, 5, 4, 9, 12, 13, -1, -7]) == "2-5 9 12-14"
    assert row_ranges([]) == ""
