"""Are the trainer's runs counted, and those who never got out not forgotten in the times?"""

import math

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.describe.training_runs import BY, COLUMNS, runs_by_exercise, runs_counted, times_out
from survstats.records.demo import demo_folder
from survstats.records.loading import read_records

NAMES = ["person_code", *BY, "result", "time_out_s"]
RUNS = [
    ("p1", "inverted", "no", "day", "passed", 10.0),
    ("p1", "inverted", "no", "day", "passed", 20.0),
    ("p2", "inverted", "no", "day", "passed", 40.0),
    ("p2", "inverted", "no", "day", "passed", math.nan),
    ("p3", "inverted", "no", "day", "stopped", 90.0),
    ("p3", "upright", "yes", None, "assisted", 30.0),
    ("p3", "upright", "yes", None, "failed", math.nan),
    ("p4", "unknown", "no", "day", "unknown", math.nan),
]


def frame(rows):
    table = pd.DataFrame(rows, columns=NAMES)
    for name in (*BY, "result"):
        table[name] = table[name].astype("category")
    return table


def test_counts_by_hand():
    counted = runs_counted(frame(RUNS))
    assert (counted.people, counted.runs) == (4, 8)
    assert (counted.passed, counted.assisted, counted.not_out) == (4, 1, 2)
    assert (counted.timed, counted.ended) == (3, 2)  # 90 s is when a run was stopped, 30 s when help came


def test_exercises_by_hand():
    table = runs_by_exercise(frame(RUNS))
    assert list(table.columns) == list(COLUMNS)
    rows = [tuple(row) for row in table.itertuples(index=False)]
    assert rows[0][:7] == ("inverted", "no", "day", 5, 3, 4, 3)
    assert rows[1][:7] == ("unknown", "no", "day", 1, 1, 0, 0)
    assert rows[2][:7] == ("upright", "yes", "not_collected", 2, 1, 0, 0)
    assert all(math.isnan(cell) for row in rows for cell in row[7:])  # of three times no quartile is taken


def test_who_never_got_out_is_slower_than_everyone_who_did():
    times = np.arange(1.0, 13.0)  # 12 runs out after 1, 2, ... 12 s
    assert times_out(times, passed=12, not_out=0) == [3, 6, 9]
    assert times_out(times, passed=12, not_out=4) == [
        4,
        8,
        12,
    ]  # 16 runs: 4, 8 and 12 of them were out by then
    assert times_out(times, passed=12, not_out=12) == [6, 12, math.inf]  # half were ever out
    assert times_out(times, passed=12, not_out=37) == [math.inf] * 3
    assert times_out(times, passed=24, not_out=8) == [4, 8, 12]  # as many passed again without a time
    assert all(math.isnan(one) for one in times_out(times[:9], passed=9, not_out=0))


def test_no_runs():
    assert runs_counted(frame([])).runs == 0
    assert list(runs_by_exercise(frame([])).columns) == list(COLUMNS)
    assert len(runs_by_exercise(frame([]))) == 0


run = st.tuples(
    st.sampled_from(["p1", "p2", "p3"]),
    st.sampled_from(["upright", "inverted", "unknown", None]),
    st.sampled_from(["yes", "no", None]),
    st.sampled_from(["day", "night"]),
    st.sampled_from(["passed", "assisted", "stopped", "failed", "unknown", None]),
    st.floats(0, 600) | st.just(math.nan),
)


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(st.lists(run, min_size=1, max_size=30))
def test_any_runs_add_up(rows):
    runs = frame(rows)
    counted, table = runs_counted(runs), runs_by_exercise(runs)
    assert table["runs"].sum() == counted.runs == len(rows)
    assert table["passed"].sum() == counted.passed
    assert table["timed"].sum() == counted.timed <= counted.passed
    assert counted.ended <= counted.assisted + counted.not_out
    assert table["people"].max() <= counted.people
    assert table["time_median"].isna().equals(table["timed"] < 10)


ends = st.tuples(st.sampled_from(["passed", "stopped", "failed", "assisted"]), st.integers(1, 60))


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(st.lists(ends, max_size=60), st.lists(st.integers(1, 60), min_size=10, max_size=20))
def test_quartiles_are_the_first_times_by_which_so_many_of_all_were_out(some, passed):
    rows = [*some, *(("passed", time) for time in passed)]
    times = np.array([float(time) for end, time in rows if end == "passed"])
    found = times_out(times, passed=len(times), not_out=len(rows) - len(times))
    for share, time in zip((0.25, 0.5, 0.75), found, strict=True):
        out_by = [np.mean([end == "passed" and one <= at for end, one in rows]) for at in (*range(61), 1e9)]
        slow = [at for at, reached in zip((*range(61), 1e9), out_by, strict=True) if reached >= share - 1e-12]
        assert time == (slow[0] if slow else math.inf)


def test_a_study_without_the_trainers_table():
    folder = demo_folder("demo_small")
    runs = read_records(folder / "mishap.csv", folder / "occupant.csv").training_run
    assert runs_counted(runs).runs == len(runs_by_exercise(runs)) == 0
