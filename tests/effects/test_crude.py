"""Is the unadjusted difference what one counts by hand?"""

from __future__ import annotations

import math

import pandas as pd
import pytest

from survstats.effects.crude import crude_difference
from survstats.groundwork.errors import NotEstimable


def crude(rows):
    frame = pd.DataFrame(rows, columns=["mishap", "trained", "y"])
    return crude_difference(frame, outcome="y", exposure="trained", cluster="mishap")


THREE = [
    *[("A", 1, 1), ("A", 1, 0), ("A", 0, 1), ("A", 0, 0)],
    *[("B", 1, 1), ("B", 0, 0)],
    *[("C", 1, 1), ("C", 1, 1), ("C", 0, 1), ("C", 0, 0), ("C", 0, 0)],
]


def test_value_and_error_by_hand():
    found = crude(THREE)
    point = 4 / 5 - 2 / 6
    parts = [3 / 3 - 1 / 4, 3 / 4 - 2 / 5, 2 / 3 - 1 / 3]
    assert found.value == pytest.approx(point, rel=1e-12)
    assert found.se == pytest.approx(math.sqrt(2 / 3 * sum((part - point) ** 2 for part in parts)), rel=1e-12)
    assert (found.mishaps, found.occupants, found.df, found.method) == (3, 11, 2.0, "crude")


def test_order_of_rows_does_not_matter():
    assert crude(THREE[::-1]) == crude(THREE)


@pytest.mark.parametrize(
    ("rows", "reason"),
    [
        ([], "no_rows"),
        ([("A", 1, 1), ("B", 0, 1)], "one_outcome"),
        ([("A", 1, 1), ("A", 0, 0)], "one_mishap"),
        ([("A", 1, 1), ("B", 1, 0)], "one_arm"),
        ([("A", 1, 1), ("A", 0, 0), ("B", 0, 0), ("C", 0, 1)], "one_arm"),
    ],
)
def test_too_little_is_said_not_guessed(rows, reason):
    with pytest.raises(NotEstimable) as caught:
        crude(rows)
    assert caught.value.reason == reason
