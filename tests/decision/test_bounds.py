"""Are the limits of given figures kept where worlds are drawn, and not only where a study file is read?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from test_draw_worlds import inputs

from survstats.decision.bounds import MOST_FIGURE, Bounds, bounds_of
from survstats.decision.draw_worlds import check_inputs
from survstats.decision.given import Given, sample
from survstats.groundwork.errors import StudyFileError
from survstats.groundwork.resampling import stream


@pytest.mark.parametrize(
    ("name", "value", "reason"),
    [
        ("injuries_per_course", 1.5, "above_ceiling"),
        ("deaths_per_course", -0.1, "below_floor"),
        ("half_life_months", 0.4, "below_floor"),
        ("injury_cost", 2 * MOST_FIGURE, "above_ceiling"),
    ],
)
def test_worlds_are_not_drawn_beyond_them(name, value, reason):
    check_inputs(inputs())
    with pytest.raises(StudyFileError) as caught:
        check_inputs(replace(inputs(), **{name: Given(name, value)}))
    assert caught.value.reason == reason


def test_leavers_of_a_group_keep_the_limit_of_all_leavers():
    one, *others = inputs().groups
    given = replace(inputs(), groups=(replace(one, leavers_a_year=Given("leavers_a_year", 10.5)), *others))
    with pytest.raises(StudyFileError, match="leavers_a_year"):
        check_inputs(given)


def test_no_draw_of_an_unbounded_shape_lies_beyond_them():
    limits = bounds_of("injuries_per_course")
    figure = Given("injuries_per_course", 0.6, 0.2, 1.0, "normal")
    draws = sample(figure, stream(1, "bounds"), 5_000, least=limits.least, most=limits.most)
    assert 0.9 < np.quantile(draws, 0.97) <= draws.max() <= 1.0


def test_a_limit_that_is_not_itself_allowed_is_told_and_kept():
    assert not Bounds(above=True).hold(0.0)
    assert Bounds(above=True).words == "greater than 0"
    assert bounds_of("leavers_a_year.crew").words == "from 0 to 10"
    assert bounds_of("injury_cost").words == "of at least 0"
