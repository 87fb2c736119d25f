import pandas as pd
import pytest

from survstats.describe.tallies import tally
from survstats.records.deriving import TRAINED_STATUS


def frame(rows):
    status, survived, documented, mishap = zip(*rows, strict=True) if rows else ((), (), (), ())
    return pd.DataFrame(
        {
            "trained_status": pd.Categorical(status, categories=TRAINED_STATUS),
            "survived": pd.Series(survived, dtype=int),
            "documented": pd.Series(documented, dtype=bool),
            "mishap_id": pd.Series(mishap, dtype=object),
        }
    )


ROWS = [
    ("current", 1, True, "a"),
    ("current", 1, False, "a"),
    ("current", 0, True, "b"),
    ("none", 1, True, "b"),
    ("none", 0, False, "b"),
    ("none", 0, True, "c"),
    ("unknown", 0, False, "c"),
    ("lapsed", 1, True, "c"),
]


def test_counts_and_shares():
    counted = tally(frame(ROWS))
    assert counted.survived == {"current": 2, "lapsed": 1, "none": 1, "briefing_or_dry_only": 0, "unknown": 0}
    assert counted.died == {"current": 1, "lapsed": 0, "none": 2, "briefing_or_dry_only": 0, "unknown": 1}
    assert (counted.n_survived, counted.n_died, counted.occupants, counted.mishaps) == (4, 4, 8, 3)
    assert counted.share_of_survivors_trained == pytest.approx(2 / 3)
    assert counted.share_of_dead_trained == pytest.approx(1 / 3)
    assert counted.survival_trained == pytest.approx(2 / 3)
    assert counted.survival_untrained == pytest.approx(1 / 3)
    assert counted.share_of_dead_unknown == pytest.approx(1 / 4)
    assert counted.share_of_survivors_unknown == 0
    assert counted.share_of_dead_documented == pytest.approx(1 / 2)
    assert counted.share_of_survivors_documented == pytest.approx(3 / 4)


def test_no_share_without_people():
    counted = tally(frame([]))
    assert counted.occupants == 0
    assert counted.share_of_survivors_trained is None
    assert counted.survival_trained is None
    assert tally(frame(ROWS[:2])).share_of_dead_trained is None


def test_row_order_does_not_matter():
    assert tally(frame(ROWS)) == tally(frame(ROWS[::-1]))
