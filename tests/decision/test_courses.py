"""Are the courses a year those of people who join, come back in turn, and leave?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.decision.courses import first_courses, refreshers
from survstats.groundwork.errors import CallError

YEARS = st.floats(0.01, 80)


def test_the_designs_courses_a_year():
    # the design's section 6: leaving .15 a year, every second year: .579; .15 / (1 - exp(-.3)) in full
    assert first_courses(0.15) + refreshers(2, 0.15) == pytest.approx(0.5787443870265123, rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(YEARS, st.floats(1e-6, 3))
def test_every_joiner_takes_the_courses_until_leaving(interval, leaving):
    times = np.arange(1, 20_000) * interval
    after_the_first = np.exp(-leaving * times).sum() + np.exp(-leaving * times[-1]) / np.expm1(
        leaving * interval
    )
    assert refreshers(interval, leaving) == pytest.approx(leaving * after_the_first, rel=1e-7, abs=1e-300)


@settings(max_examples=40, deadline=None)
@given(YEARS, st.floats(0, 3), st.floats(1, 5))
def test_fewer_refreshers_with_longer_intervals_and_more_leavers(interval, leaving, more):
    found = float(refreshers(interval, leaving))
    assert 0 <= found <= 1 / interval * (1 + 1e-12)
    assert refreshers(interval * more, leaving) <= found * (1 + 1e-12)
    assert refreshers(interval, leaving + more) <= found * (1 + 1e-12)


def test_nobody_leaves_and_nobody_comes_back():
    assert refreshers([1.0, 4.0], 0.0) == pytest.approx([1.0, 0.25])
    assert refreshers(4.0, 1e-14) == pytest.approx(0.25)
    assert refreshers(np.inf, [0.0, 0.2]).tolist() == [0.0, 0.0]
    assert refreshers(5e3, 1.0) == 0.0  # far too long to be there


def test_what_is_no_rate_is_refused():
    for call in (lambda: first_courses(-0.1), lambda: refreshers(1.0, -0.1)):
        with pytest.raises(CallError) as caught:
            call()
        assert caught.value.reason == "rate_negative"
    with pytest.raises(CallError) as caught:
        refreshers(-1.0, 0.1)
    assert caught.value.reason == "interval_not_positive"
