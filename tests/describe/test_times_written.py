"""Are the forms in which times were written counted as a person would count them?"""

import math

import pandas as pd

from survstats.describe.times import times_written

INF, GONE = math.inf, math.nan
PEOPLE = [
    # mishap, low, high, source, survived: what holds
    ("a", 10.0, 10.0, "witness", 1, {"given", "of_survivors", "points", "multiple_of_five"}),
    ("a", 12.0, 12.0, "video", 1, {"given", "of_survivors", "points"}),
    ("a", 10.0, 20.0, "self_estimate", 1, {"given", "of_survivors", "bands", "guesses"}),
    ("b", 60.0, INF, "witness", 0, {"given", "bands"}),
    ("b", 0.0, 30.0, "unknown", 1, {"given", "of_survivors", "bands"}),
    ("b", GONE, 15.0, None, 1, {"given", "of_survivors", "bands"}),
    ("c", 0.0, INF, "self_estimate", 1, set()),
    ("c", GONE, GONE, "self_estimate", 0, set()),
    ("c", 7.5, 7.5, "self_estimate", 0, {"given", "points", "guesses"}),
]


def frame(rows):
    names = ["mishap_id", "egress_lo_s", "egress_hi_s", "egress_time_source", "survived"]
    table = pd.DataFrame([row[:5] for row in rows], columns=names)
    return table.astype({"egress_lo_s": float, "egress_hi_s": float})


def test_each_form_by_hand():
    written = times_written(frame(PEOPLE))
    for at, row in enumerate(PEOPLE):
        assert set(written.columns[written.iloc[at]]) == row[5], row
    assert (written["points"] | written["bands"]).equals(written["given"])
    assert not (written["points"] & written["bands"]).any()


def test_nobody():
    assert times_written(frame([])).sum().sum() == 0
