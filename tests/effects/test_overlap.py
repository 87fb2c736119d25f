"""Is the overlap of the two groups what one counts by hand?"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from survstats.effects.overlap import empty_cells, era_positivity, overlap


def found(frame, covariates=("kind",)):
    return overlap(frame, exposure="trained", covariates=covariates, cluster="mishap", era="era")


def people(cells, eras=None):
    """Rows from (kind, trained, how many), spread over four mishaps."""
    rows = [(kind, trained) for kind, trained, many in cells for _ in range(many)]
    frame = pd.DataFrame(rows, columns=["kind", "trained"])
    return frame.assign(mishap=np.arange(len(frame)) % 4, era=eras if eras is not None else "one")


def test_equal_groups_overlap_whole():
    even = found(people([("a", 1, 10), ("a", 0, 10), ("b", 1, 10), ("b", 0, 10)]))
    assert (even.inside_trained, even.inside_untrained) == (1.0, 1.0)
    assert (even.effective_trained, even.effective_untrained) == pytest.approx((1.0, 1.0), abs=1e-9)
    assert even.empty_eras == ()


def test_shares_and_effective_sizes_by_hand():
    # one covariate of two kinds: Firth with the intercept refitted keeps each kind's odds near (n1 + .5) / (n0 + .5)
    cells = [("a", 1, 30), ("a", 0, 10), ("b", 1, 0), ("b", 0, 40)]
    result = found(people(cells))
    a_slope = np.log((30.5 / 10.5) / (0.5 / 40.5))
    low, high = -20.0, 20.0  # the intercept at which 30 trained are expected
    for _ in range(200):
        middle = (low + high) / 2
        expected = 40 / (1 + np.exp(-(middle + a_slope))) + 40 / (1 + np.exp(-middle))
        low, high = (middle, high) if expected < 30 else (low, middle)
    p_a, p_b = 1 / (1 + np.exp(-(low + a_slope))), 1 / (1 + np.exp(-low))
    assert 0.05 < p_a < 0.95
    assert p_b < 0.05
    assert (result.inside_trained, result.inside_untrained) == pytest.approx((1.0, 10 / 50))
    weights = np.r_[np.full(10, 1 / (1 - p_a)), np.full(40, 1 / (1 - p_b))]
    assert result.effective_untrained == pytest.approx(weights.sum() ** 2 / np.sum(weights**2) / 50, rel=1e-6)
    assert (result.smallest_inside, result.smallest_effective) == (
        result.inside_untrained,
        min(result.effective_trained, result.effective_untrained),
    )


def test_kinds_that_settle_training_have_no_counterpart():
    apart = found(people([("a", 1, 60), ("b", 0, 60)]))
    assert (apart.inside_trained, apart.inside_untrained) == (0.0, 0.0)


def test_an_era_in_which_all_or_none_were_trained_is_named():
    cells = [("a", 1, 10), ("a", 0, 10), ("b", 1, 10), ("b", 0, 10)]
    eras = ["early"] * 5 + ["late"] * 5 + ["late"] * 20 + ["late"] * 10
    assert found(people(cells, eras)).empty_eras == ("early",)


def aboard(*rows):
    """People from (trained, role, class, era, how many)."""
    people = [row[:4] for row in rows for _ in range(row[4])]
    return pd.DataFrame(people, columns=["trained", "role", "aircraft_class", "era"])


NAN = float("nan")
ABOARD = aboard(
    (1, "passenger", "light", "1990s", 4),
    (0, "passenger", "light", "1990s", 3),
    (1, "passenger", "light", "2000s", 5),
    (NAN, "passenger", "light", "2000s", 7),
    (0, "flight_crew", "heavy", "1990s", 2),
    (NAN, "flight_crew", "heavy", "1980s", 2),
    (1, "flight_crew", None, "2000s", 1),
)


def test_trained_and_untrained_are_counted_by_era():
    counted = era_positivity(ABOARD, "trained", "era")
    assert counted.to_dict("records") == [
        {"era": "1990s", "trained": 4, "untrained": 5},
        {"era": "2000s", "trained": 6, "untrained": 0},  # whoever is in neither group is not counted
    ]


def test_cells_with_one_group_alone_are_listed():
    cells = empty_cells(ABOARD, exposure="trained", role="role", aircraft_class="aircraft_class", era="era")
    assert [tuple(row) for row in cells.itertuples(index=False)] == [
        ("flight_crew", "heavy", "1990s", 0, 2),
        ("flight_crew", "unknown", "2000s", 1, 0),
        ("passenger", "light", "2000s", 5, 0),
    ]
    assert list(cells.columns) == ["role", "aircraft_class", "era", "trained", "untrained"]


def test_where_both_groups_are_everywhere_no_cell_is_empty():
    both = aboard((1, "passenger", "light", "1990s", 1), (0, "passenger", "light", "1990s", 1))
    found = empty_cells(both, exposure="trained", role="role", aircraft_class="aircraft_class", era="era")
    assert found.empty
