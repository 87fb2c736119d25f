"""Is the interval that is worth most the one that a plain search finds, and does it move as it must?"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar

from survstats.decision.refresher import NEVER, best_interval
from survstats.groundwork.errors import CallError

HALF_LIFE_TWO_YEARS = np.log(2) / 2
money = st.floats(0.01, 1e6)
rate = st.floats(0.01, 3.0)
leavers = st.one_of(st.just(0.0), st.floats(1e-6, 2.0))


def plain_worth(years: float, benefit: float, cost: float, fading: float, leaving: float) -> float:
    """Written apart from the package: mean effect over the months since a course, less refreshers by a long sum."""
    months = np.linspace(0.0, years, 4001)
    there = np.exp(-leaving * months)
    held = np.trapezoid(np.exp(-fading * months) * there, months) / np.trapezoid(there, months)
    renewals = 1 / years if leaving == 0 else leaving * np.exp(-leaving * years * np.arange(1, 4000)).sum()
    return benefit * held - cost * renewals


@pytest.mark.parametrize(
    ("share", "x"),
    [(1 - 2 / np.e, 1.0), (0.1, 0.53181161)],  # the first exact, the second checked by putting it in
)
def test_golden_intervals_at_a_half_life_of_two_years(share, x):
    """Where c lam / b is the share, 1 - (1 + x) exp(-x) is too, with x = lam r; 2.8854 and 1.5345 years."""
    assert 1 - (1 + x) * np.exp(-x) == pytest.approx(share, rel=1e-7)
    years = best_interval(1.0, share / HALF_LIFE_TWO_YEARS, HALF_LIFE_TWO_YEARS)
    assert years == pytest.approx(x / HALF_LIFE_TWO_YEARS, rel=1e-7)


def test_the_best_interval_falls_then_rises_with_fading():
    assert best_interval(1.0, 1.0, [0.1, 0.5, 0.9]) == pytest.approx([5.318116, 3.356694, 4.321911], rel=1e-6)
    years = best_interval(1.0, 1.0, np.linspace(0.02, 0.999, 200))
    turn = int(np.argmin(years))
    assert 0 < turn < 199
    assert np.all(np.diff(years[: turn + 1]) < 0)
    assert np.all(np.diff(years[turn:]) > 0)


@pytest.mark.parametrize(
    ("benefit", "cost", "fading", "leaving"),
    [
        (1.0, 1.0, 1.0, 0.0),
        (1.0, 2.0, 0.8, 0.0),
        (1.0, 1.0, 0.6, 0.4),
        (1.0, 1.0, 0.0, 0.1),
        (-1.0, 1.0, 0.3, 0.1),
    ],
)
def test_no_refresher_pays_where_it_costs_more_than_it_can_ever_hold(benefit, cost, fading, leaving):
    assert best_interval(benefit, cost, fading, leaving=leaving) == NEVER
    assert best_interval(benefit, cost, fading, leaving=leaving, longest=3.0) == 3.0
    worth = [plain_worth(years, benefit, cost, fading, leaving) for years in (2.0, 8.0, 30.0)]
    assert worth == sorted(worth)


@pytest.mark.parametrize("leaving", [0.0, 0.05, 0.15, 0.6])
@pytest.mark.parametrize(("cost", "fading"), [(0.3, 0.35), (0.02, 0.35), (0.5, 1.1)])
def test_a_plain_search_finds_the_same_interval(leaving, cost, fading):
    years = float(best_interval(1.0, cost, fading, leaving=leaving))
    search = minimize_scalar(
        lambda at: -plain_worth(at, 1.0, cost, fading, leaving), bounds=(0.05, 40.0), method="bounded"
    )
    assert years == pytest.approx(search.x, rel=2e-3)
    assert plain_worth(years, 1.0, cost, fading, leaving) == pytest.approx(-search.fun, abs=1e-5)


def test_few_leavers_come_to_the_same_as_none():
    assert best_interval(1.0, 0.3, 0.35, leaving=1e-9) == pytest.approx(
        best_interval(1.0, 0.3, 0.35), rel=1e-7
    )


@given(benefit=money, cost=money, fading=rate, leaving=leavers, more=st.floats(1.0, 10.0))
@settings(max_examples=50, deadline=None)
def test_a_dearer_refresher_never_shortens_and_a_greater_benefit_never_lengthens(
    benefit, cost, fading, leaving, more
):
    years, dearer, better = best_interval(
        [benefit, benefit, benefit * more], [cost, cost * more, cost], fading, leaving=leaving
    )
    assert dearer >= years * (1 - 1e-9)
    assert better <= years * (1 + 1e-9)


@given(benefit=money, cost=money, fading=rate, leaving=leavers, scale=st.floats(0.01, 100.0))
@settings(max_examples=50, deadline=None)
def test_units_of_money_and_of_time_do_not_matter(benefit, cost, fading, leaving, scale):
    years = best_interval(benefit, cost, fading, leaving=leaving)
    assert best_interval(benefit * scale, cost * scale, fading, leaving=leaving) == pytest.approx(
        years, rel=1e-6
    )
    in_other_time = best_interval(benefit / scale, cost, fading / scale, leaving=leaving / scale)
    assert in_other_time == pytest.approx(years * scale, rel=1e-6)


@given(benefit=money, cost=money, fading=rate, leaving=leavers, longest=st.floats(0.1, 10.0))
@settings(max_examples=40, deadline=None)
def test_never_more_than_law_or_contract_allows(benefit, cost, fading, leaving, longest):
    assert best_interval(benefit, cost, fading, leaving=leaving, longest=longest) <= longest


@pytest.mark.parametrize(
    ("reason", "words"),
    [
        ("not_a_cost", {"cost": 0.0}),
        ("not_a_cost", {"cost": float("nan")}),
        ("not_a_rate", {"fading": -0.1}),
        ("not_a_rate", {"leaving": -0.1}),
        ("not_an_interval", {"longest": 0.0}),
    ],
)
def test_what_makes_no_sense_is_refused(reason, words):
    asked = {"benefit": 1.0, "cost": 1.0, "fading": 0.3} | words
    first = (asked.pop("benefit"), asked.pop("cost"), asked.pop("fading"))
    with pytest.raises(CallError) as fault:
        best_interval(*first, **asked)
    assert fault.value.reason == reason
