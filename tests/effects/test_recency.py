"""Do the bands hold the right people, and is each difference that of a slow road?"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm
from faded_world import COVARIATES, banded, faded_world
from scipy.special import expit, stdtrit

import survstats
from survstats.effects.exact_table import clopper_pearson
from survstats.effects.recency import groups_of, hands_on_status
from survstats.records.cohort import build_cohort
from survstats.records.deriving import derive


def people(*rows: tuple[object, ...]) -> pd.DataFrame:
    """Mishap, status, months, survived."""
    return pd.DataFrame(rows, columns=["mishap", "status", "months", "survived"])


def counted(found) -> list[tuple[int, int]]:
    return [(band.occupants, band.survived) for band in found]


def test_a_band_begins_after_its_lower_edge_and_holds_its_upper_one():
    months = [0, 12, 12.01, 24, 24.01, 48, 48.01, 300]
    rows = [(k % 3, "current", month, k % 2) for k, month in enumerate(months)]
    found = banded(people(*rows, (0, "none", np.nan, 1), (1, "none", np.nan, 0)), covariates=())
    assert counted(found) == [(2, 1)] * 4
    assert [(band.from_months, band.to_months) for band in found] == [(0, 12), (12, 24), (24, 48), (48, None)]
    assert (found.never, found.never_survived) == (2, 1)


def test_who_is_briefed_or_unknown_is_out_and_who_has_no_date_is_counted():
    frame = faded_world(1, 30, size=1.0)
    extra = people(
        (0, "briefing_or_dry_only", np.nan, 1), (0, "unknown", np.nan, 0), (1, "undated", np.nan, 0)
    )
    plain, more = banded(frame), banded(pd.concat([frame, extra.assign(crew=0, far=0, rough=0.0)]))
    assert more.unknown_date == 1
    assert plain.unknown_date == 0
    assert plain.bands == more.bands


def test_without_covariates_a_difference_is_that_of_two_shares():
    # by hand: a saturated model predicts each group's own share
    frame = faded_world(2, 40, size=1.5)
    found = banded(frame, covariates=())
    never = frame[frame["status"] == "none"]["survived"].mean()
    for band, low, high in zip(found, (-1, 12, 24, 48), (12, 24, 48, 1e9), strict=True):
        share = frame[(frame["months"] > low) & (frame["months"] <= high)]["survived"].mean()
        assert band.difference.value == pytest.approx(share - never, abs=1e-9)


def slow_differences(frame: pd.DataFrame) -> list[float]:
    """Band differences by statsmodels' GLM and prediction row by row."""
    place = pd.cut(frame["months"], [-1, 12, 24, 48, 1e9], labels=False)
    design = np.column_stack(
        [np.ones(len(frame)), *(place == band for band in range(4)), *(frame[name] for name in COVARIATES)]
    ).astype(float)
    fitted = sm.GLM(frame["survived"], design, family=sm.families.Binomial()).fit(tol=1e-12).params.to_numpy()
    without = design.copy()
    without[:, 1:5] = 0
    risks = [expit(without @ fitted + shift).mean() for shift in (0.0, *fitted[1:5])]
    return [risk - risks[0] for risk in risks[1:]]


def test_differences_and_limits_are_those_of_a_loop_over_mishaps():
    frame = faded_world(3, 25, size=1.0)
    found = banded(frame)
    whole = np.array(slow_differences(frame))
    left_out = np.array([slow_differences(frame[frame["mishap"] != mishap]) for mishap in range(25)])
    reach = stdtrit(24, 0.975) * np.sqrt(24 / 25 * ((left_out - whole) ** 2).sum(axis=0))
    assert [band.difference.value for band in found] == pytest.approx(whole, abs=1e-8)
    assert [band.difference.low for band in found] == pytest.approx(whole - reach, abs=1e-7)
    assert [band.difference.high for band in found] == pytest.approx(whole + reach, abs=1e-7)


def test_an_empty_band_has_a_reason_and_the_others_their_numbers():
    frame = faded_world(4, 30, size=1.0, longest=40.0)
    found = banded(frame).bands
    assert (found[3].occupants, found[3].difference, found[3].reason) == (0, None, "empty_band")
    assert all(band.difference is not None and band.reason is None for band in found[:3])


def test_a_band_found_in_one_mishap_only_has_a_reason_and_the_others_their_numbers():
    frame = faded_world(5, 30, size=1.0, longest=40.0)
    late = frame.index[(frame["mishap"] == 3) & (frame["status"] == "current")]
    frame.loc[late, "months"] = 60.0
    found = banded(frame).bands
    assert found[3].occupants == len(late) > 0
    assert (found[3].difference, found[3].reason) == (None, "arm_in_one_mishap")
    assert all(band.difference is not None for band in found[:3])


def test_a_band_of_whom_all_lived_has_finite_limits_no_narrower_than_its_counts_allow():
    frame = faded_world(6, 40, size=1.0)
    frame.loc[frame["months"] <= 12, "survived"] = 1
    first = banded(frame).bands[0]
    assert first.survived == first.occupants
    assert first.difference.method == "standardised_firth_flic"
    bottom, _ = clopper_pearson(first.survived, first.occupants)
    never = frame[frame["status"] == "none"]["survived"].mean()
    assert -1 < first.difference.low < first.difference.value < first.difference.high <= 1
    assert first.difference.low < first.difference.value - 0.9 * (1 - bottom)
    assert first.difference.value == pytest.approx(1 - never, abs=0.08)


@pytest.mark.parametrize(
    ("spoil", "reason"),
    [
        (lambda frame: frame[frame["status"] == "current"], "one_arm"),
        (lambda frame: frame.assign(survived=1), "one_outcome"),
        (lambda frame: frame.assign(mishap=0), "one_mishap"),
        (lambda frame: frame.assign(survived=(np.arange(len(frame)) < 5).astype(int)), "too_many_fields"),
    ],
)
def test_where_nothing_can_be_compared_counts_stay_and_every_band_says_why(spoil, reason):
    found = banded(spoil(faded_world(7, 20, size=1.0)))
    assert {band.reason for band in found} == {reason}
    assert all(band.occupants > 0 and band.difference is None for band in found)


def test_nobody_at_all_gives_empty_bands():
    found = banded(faded_world(7, 20, size=1.0).iloc[:0])
    assert [band.reason for band in found] == ["empty_band"] * 4
    assert (found.never, found.unknown_date) == (0, 0)


def test_order_of_rows_names_of_mishaps_and_the_unit_of_time_do_not_matter():
    frame = faded_world(8, 30, size=1.0)
    other = frame.sample(frac=1, random_state=1).assign(
        mishap=lambda f: "m" + (97 - f["mishap"]).astype(str), months=lambda f: f["months"] / 12
    )
    plain, moved = banded(frame), banded(other, edges=(0, 1, 2, 4))
    assert counted(plain) == counted(moved)
    for one, two in zip(plain, moved, strict=True):
        assert two.difference.value == pytest.approx(one.difference.value, abs=1e-9)
        assert two.difference.low == pytest.approx(one.difference.low, abs=1e-9)


def test_taking_every_row_twice_in_its_mishap_does_not_narrow_the_limits():
    frame = faded_world(9, 30, size=1.0)
    once, twice = banded(frame), banded(pd.concat([frame, frame]))
    for one, two in zip(once, twice, strict=True):
        assert (two.difference.low, two.difference.high) == pytest.approx(
            (one.difference.low, one.difference.high), abs=1e-9
        )


def test_the_demo_study_is_counted_as_a_cross_table_counts_it():
    study = survstats.read_study(survstats.demo_folder("demo_main"))
    records = survstats.read_records(study)
    frame = build_cohort(derive(records, currency_months=24), records, population="P1").frame
    frame = frame.assign(
        mishap=frame["mishap_id"], months=frame["months_since"], status=hands_on_status(frame)
    )
    found = banded(frame, covariates=tuple(study.plan.model.covariates))
    assert sum(band.occupants for band in found) == int(
        frame["trained_status"].isin(["current", "lapsed"]).sum()
    )
    assert sum(band.occupants for band in found.bands[:2]) == int(frame["trained_status"].eq("current").sum())
    assert found.never == int(frame["trained_status"].eq("none").sum())
    assert all(math.isfinite(band.difference.value) for band in found)


def test_a_hands_on_course_without_a_date_is_undated_not_unknown():
    frame = pd.DataFrame(
        {
            "trained_status": ["unknown", "unknown", "unknown", "none", "current"],
            "training_ever": ["yes", "yes", "unknown", "no", "yes"],
            "training_type": [
                "underwater_escape",
                "unknown",
                "underwater_escape",
                "none",
                "underwater_escape",
            ],
            "training_last_date": [pd.NaT] * 4 + [pd.Timestamp("2020-01-01")],
            "months_since": [np.nan] * 4 + [3.0],
        }
    )
    frame["status"] = hands_on_status(frame)
    assert list(frame["status"]) == ["undated", "unknown", "unknown", "none", "current"]
    groups = groups_of(frame, status="status", months="months_since")
    assert [int(mask.sum()) for mask in (groups.never, groups.dated, groups.undated)] == [1, 1, 1]
