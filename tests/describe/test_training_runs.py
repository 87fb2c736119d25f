"""Are the trainer's runs counted, and their times taken from those who passed alone?"""

import math

import numpy as np
import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.describe.training_runs import BY, COLUMNS, runs_by_exercise, runs_counted
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
    assert (counted.people, counted.runs, counted.timed) == (4, 8, 5)
    assert (counted.passed, counted.assisted, counted.not_out) == (4, 1, 2)


def test_exercises_by_hand():
    table = runs_by_exercise(frame(RUNS))
    assert list(table.columns) == list(COLUMNS)
    rows = [tuple(row) for row in table.itertuples(index=False)]
    assert rows[0] == ("inverted", "no", "day", 5, 3, 4, 15.0, 20.0, 30.0)  # quartiles of 10, 20, 40
    assert rows[1][:6] == ("unknown", "no", "day", 1, 1, 0)
    assert rows[2][:6] == ("upright", "yes", "not_collected", 2, 1, 0)
    assert all(math.isnan(cell) for row in rows[1:] for cell in row[6:])


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
    assert table["people"].max() <= counted.people
    timed = table.dropna(subset="time_median")
    passed = runs.loc[runs["result"] == "passed", "time_out_s"].dropna()
    assert (len(timed) > 0) == (len(passed) > 0)
    for name in ("time_quartile_1", "time_median", "time_quartile_3"):
        assert timed[name].between(passed.min() - 1e-6, passed.max() + 1e-6).all()
    assert (np.diff(timed[["time_quartile_1", "time_median", "time_quartile_3"]].to_numpy()) >= 0).all()


def test_a_study_without_the_trainers_table():
    folder = demo_folder("demo_small")
    runs = read_records(folder / "mishap.csv", folder / "occupant.csv").training_run
    assert runs_counted(runs).runs == len(runs_by_exercise(runs)) == 0
