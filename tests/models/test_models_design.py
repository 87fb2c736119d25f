"""Design matrices, their recipes, gaps, and separation."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from survstats.groundwork.errors import CallError, NotEstimable
from survstats.models.design import build_design, fill_gaps
from survstats.models.logistic import fit_logistic
from survstats.models.patterns import pattern_codes
from survstats.models.separation import find_separation


@pytest.fixture
def frame():
    return pd.DataFrame(
        {
            "a": [1, 0, 1, 0, 1, 0],
            "role": pd.Categorical(list("ppccfp"), ["p", "x", "c", "f"]),
            "zone": ["near", "far", "far", "near", "far", "mid"],
            "age_y": [30.0, 41.0, 28.0, 55.0, 37.0, 60.0],
            "flag": [True, False, True, True, False, False],
            "mishap": list("bbaacc"),
        }
    )


def test_columns_levels_and_reference(frame):
    design = build_design(frame, ["a", "role", "zone"], cluster="mishap")
    assert design.columns == ("intercept", "a", "role[c]", "role[f]", "zone[mid]", "zone[near]")
    assert design.terms[1].levels == ("p", "c", "f")
    assert design.mishap_labels == ("a", "b", "c")
    assert list(design.mishap_codes) == [1, 1, 0, 0, 2, 2]
    np.testing.assert_array_equal(design.matrix, design.apply(frame))


def test_setting_the_exposure_changes_that_column_only(frame):
    design = build_design(frame, ["a", "role", "flag"])
    one, zero = (design.apply(frame, setting={"a": value}) for value in (1.0, 0.0))
    assert (one[:, 1] == 1).all()
    assert (zero[:, 1] == 0).all()
    np.testing.assert_array_equal(np.delete(one, 1, axis=1), np.delete(design.matrix, 1, axis=1))
    assert list(frame["a"]) == [1, 0, 1, 0, 1, 0]


def test_an_unseen_level_is_named(frame):
    design = build_design(frame.iloc[:4], ["role"])
    with pytest.raises(NotEstimable, match=r"level 'f'.*p, c") as refused:
        design.apply(frame)
    assert refused.value.reason == "unseen_level"


def test_gaps_and_unknown_names_are_refused(frame):
    with pytest.raises(NotEstimable) as refused:
        build_design(frame.assign(age_y=frame["age_y"].where(frame["a"] == 1)), ["age_y"])
    assert refused.value.reason == "missing_value"
    with pytest.raises(CallError):
        build_design(frame, ["weight_kg"])
    with pytest.raises(CallError):
        build_design(frame, ["a"], cluster="flight")
    with pytest.raises(CallError):
        build_design(frame, ["a", "role"]).apply(frame, setting={"role": 1.0})
    with pytest.raises(NotEstimable) as gap:
        build_design(frame.assign(mishap=[None, *frame["mishap"][1:]]), ["a"], cluster="mishap")
    assert gap.value.reason == "missing_value"


def test_later_columns_give_way_to_earlier_ones(frame):
    frame = frame.assign(copy=3 * frame["a"] - 1, constant=7.0)
    design = build_design(frame, ["constant", "a", "copy", "age_y"])
    assert design.dropped == ("constant", "copy")
    assert design.columns == ("intercept", "a", "age_y")
    with pytest.raises(NotEstimable) as refused:
        design.apply(frame, setting={"copy": 1.0})
    assert refused.value.reason == "no_free_column"


def test_a_year_is_not_taken_for_an_intercept(frame):
    design = build_design(frame.assign(year=[1999, 2000, 2001, 2002, 2003, 2004]), ["year"])
    assert design.dropped == ()


@pytest.mark.parametrize("scale", [1e-200, 1e-6, 1e6, 1e200])
def test_no_column_is_dropped_or_kept_for_its_unit(frame, scale):
    frame = frame.assign(age_y=frame["age_y"] * scale, copy=3 * frame["age_y"] * scale, nothing=0.0)
    for terms in (["a", "age_y", "copy", "nothing"], ["age_y", "copy", "nothing", "a"]):
        assert build_design(frame, terms).dropped == ("copy", "nothing")


def test_a_fit_does_not_depend_on_the_unit_of_a_number(infert):
    terms = ["spontaneous", "age"]
    fits = [
        fit_logistic(infert.assign(age=infert["age"] * scale), "case", terms, cluster="stratum")
        for scale in (1.0, 1e6)
    ]
    assert [fit.design.dropped for fit in fits] == [(), ()]
    plain, large = (fit.table for fit in fits)
    for name, scale in (("intercept", 1.0), ("spontaneous", 1.0), ("age", 1e6)):
        assert large[name].estimate * scale == pytest.approx(plain[name].estimate, rel=1e-6)
        assert large[name].low * scale == pytest.approx(plain[name].low, rel=1e-6)


def test_filling_gaps_keeps_every_row(frame):
    gappy = frame.assign(
        age_y=frame["age_y"].where(frame["a"] == 1),
        zone=frame["zone"].where(frame["a"] == 1),
        role=frame["role"].where(frame["a"] == 1),
    )
    filled, terms, gaps = fill_gaps(gappy, ["a", "age_y", "zone", "role"])
    assert terms == ("a", "age_y", "age_y_missing", "zone", "role")
    assert gaps == ("age_y", "zone", "role")
    assert filled["age_y"].tolist() == pytest.approx([30, 95 / 3, 28, 95 / 3, 37, 95 / 3])
    assert filled["age_y_missing"].tolist() == [0, 1, 0, 1, 0, 1]
    assert filled["zone"].tolist()[1] == filled["role"].tolist()[1] == "not_collected"
    assert gappy["zone"].isna().sum() == 3
    assert build_design(filled, terms).matrix.shape[0] == 6
    with pytest.raises(NotEstimable):
        fill_gaps(frame.assign(age_y=np.nan), ["age_y"])
    assert fill_gaps(frame, ["a"]).gaps == ()


def test_filling_takes_nullable_numbers(frame):
    gappy = frame.assign(age_y=pd.array([30, None, 28, 55, 37, 60], dtype="Int64"))
    filled, terms, _ = fill_gaps(gappy, ["age_y"])
    assert filled["age_y"].iloc[1] == 42.0
    assert build_design(filled, terms).columns == ("intercept", "age_y", "age_y_missing")


def test_pattern_codes_are_the_unique_rows():
    rng = np.random.default_rng(0)
    for columns, levels in ((3, 3), (12, 9), (60, 2)):
        matrix = rng.integers(0, levels, (200, columns)).astype(float)
        codes, first = pattern_codes(matrix)
        assert len(first) == len(np.unique(matrix, axis=0))
        np.testing.assert_array_equal(matrix[first][codes], matrix)


def test_separation_kinds_and_directions(endometrial):
    # Heinze & Schemper 2002: NV = 1 only among HG = 1, the rest overlaps
    x = np.column_stack([np.ones(79), endometrial[["NV", "PI", "EH"]].to_numpy(float)])
    found = find_separation(x, endometrial["HG"])
    assert found.kind == "quasi"
    assert found.directions == ("finite", "plus_infinity", "finite", "finite")
    turned = find_separation(x, 1 - endometrial["HG"])
    assert turned.directions[1] == "minus_infinity"
    assert find_separation(x[:, [0, 2, 3]], endometrial["HG"]).kind == "none"


def test_complete_separation():
    x = np.column_stack([np.ones(6), [1.0, 2, 3, 4, 5, 6]])
    assert find_separation(x, [0, 0, 0, 1, 1, 1]).kind == "complete"
    assert find_separation(x, [0, 0, 0, 1, 1, 1]).directions == ("minus_infinity", "plus_infinity")
    assert find_separation(x, [1] * 6).directions == ("plus_infinity", "finite")
    assert find_separation(x, [0, 1, 0, 1, 0, 1]).kind == "none"


def test_separation_does_not_depend_on_units(endometrial):
    x = np.column_stack([np.ones(79), endometrial[["NV", "PI", "EH"]].to_numpy(float)])
    scaled = x * [1, 1e-4, 1e5, 1e-6]
    assert find_separation(scaled, endometrial["HG"]) == find_separation(x, endometrial["HG"])
