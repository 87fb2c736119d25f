"""More mishaps: the printed half-width where it is, the formulae against simulation, and the design's own table."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import chi2, norm, t

from survstats.decision.precision import (
    CHANCE_AIMED,
    Observed,
    chance_shown,
    half_width,
    mishaps_for_width,
    mishaps_to_show,
)
from survstats.effects.risk_model import prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import CallError, NotEstimable
from survstats.groundwork.resampling import stream
from survstats.records.invented.worlds import simulate_logistic

OBSERVED = Observed(0.10938327, 14)  # the golden jackknife error of the 90 occupants


def test_with_the_mishaps_in_hand_it_is_the_printed_interval(occupants_90):
    model = prepare(
        occupants_90, outcome="y", exposure="trained", covariates=["crew", "seat_far"], cluster="mishap"
    )
    found = standardise(model).difference
    half = half_width(Observed(found.se, found.mishaps), found.mishaps)
    assert half == pytest.approx((found.high - found.low) / 2, rel=1e-12)


def test_four_times_the_mishaps_halve_the_error_but_for_the_t():
    now, later = half_width(OBSERVED, 14), half_width(OBSERVED, 56)
    assert later / now == pytest.approx(t.ppf(0.975, 55) / t.ppf(0.975, 13) / 2)


def test_the_fewest_mishaps_are_the_fewest():
    for half in (0.2, 0.1, 0.05, 0.02):
        fewest = mishaps_for_width(OBSERVED, half)
        assert half_width(OBSERVED, fewest) <= half < half_width(OBSERVED, fewest - 1)
    for difference in (0.3, 0.17, -0.17, 0.05):
        fewest = mishaps_to_show(OBSERVED, difference)
        assert chance_shown(OBSERVED, fewest, difference) >= CHANCE_AIMED
        assert chance_shown(OBSERVED, fewest - 1, difference) < CHANCE_AIMED


@pytest.mark.parametrize(
    ("mishaps", "difference"), [(5, 0.3), (14, 0.17), (60, 0.1), (300, 0.05), (2000, 0.02)]
)
def test_the_chance_is_the_integral_over_how_the_error_falls_out(mishaps, difference):
    """Own slow check: normal estimate, its error a root of chi squared over its degrees of freedom."""
    df, away = mishaps - 1, difference / OBSERVED.error(mishaps)
    bar = t.ppf(0.975, df)
    low, high = chi2.ppf([1e-13, 1 - 1e-13], df)
    found = quad(
        lambda x: chi2.pdf(x, df) * norm.sf(bar * math.sqrt(x / df) - away),
        low,
        high,
        epsabs=1e-11,
        limit=200,
    )[0]
    assert chance_shown(OBSERVED, mishaps, difference) == pytest.approx(found, abs=1e-7)


def test_the_chance_rises_with_mishaps_and_with_the_difference_and_has_no_step():
    sizes = [2, 3, 5, 9, 20, 50, 120, 500, 1999, 2000, 2001, 5000, 90_000]
    chances = [chance_shown(OBSERVED, size, 0.05) for size in sizes]
    assert chances == sorted(chances)
    far = [chance_shown(Observed(1 / away, 3), 3, 1.0) for away in (29.0, 29.99, 30.01, 31.0)]
    assert far == sorted(far)
    assert far[2] - far[1] < 2e-4
    assert chance_shown(OBSERVED, 60, 0.0) == pytest.approx(0.025)
    assert chance_shown(OBSERVED, 60, -0.2) == chance_shown(OBSERVED, 60, 0.2)


def test_what_no_number_of_mishaps_would_show_is_refused():
    with pytest.raises(NotEstimable) as caught:
        mishaps_to_show(OBSERVED, 1e-5)
    assert caught.value.reason == "too_many_mishaps"
    with pytest.raises(NotEstimable):
        mishaps_for_width(OBSERVED, 0.0)
    with pytest.raises(CallError):
        half_width(OBSERVED, 1)


def test_a_difference_as_plain_as_day_needs_two_mishaps():
    assert mishaps_to_show(Observed(1e-9, 14), 0.5) == 2


# ---- the design's table --------------------------------------------------------------------------

COVARIATES = ("crew", "far", "operator_south", "aircraft_class", "sea_state", "cold", "inverted")
RUNS = 160


@pytest.mark.parametrize(
    ("mishaps", "away", "level"), [(2, 31.0, 0.99), (2, 60.0, 0.99), (3, 40.0, 0.999), (4, 35.0, 0.9999)]
)
def test_where_the_difference_is_far_beyond_its_error_the_spread_of_the_error_decides(mishaps, away, level):
    """Against the chance that a normal estimate beats its bar, integrated over the chi-square law of its error."""
    df = mishaps - 1
    bar = t.ppf(0.5 + level / 2, df)
    observed = Observed(0.01, mishaps)
    found = chance_shown(observed, mishaps, away * 0.01, level=level)
    shown, _ = quad(lambda x: norm.cdf(away - bar * math.sqrt(x / df)) * chi2.pdf(x, df), 0, 60, limit=400)
    assert 0.05 < shown < 0.999
    assert found == pytest.approx(shown, abs=2e-3)


def drawn(mishaps, run, *, shared=0.0):
    """Interval of the difference in one draw of the logistic world, training adding 17 points; None where none is had.

    ``shared`` is the standard deviation, in log odds, of what people of a mishap have in common in whether they are
    trained.
    """
    rng = stream(20261126, f"precision/{mishaps}/{shared}/{run}")
    people = simulate_logistic(mishaps, rng, effect=0.9)
    if shared:
        people = with_shared_training(people, shared, rng)
    people = people[people["impact_death"] == 0]
    try:
        model = prepare(
            people, outcome="survived", exposure="trained", covariates=COVARIATES, cluster="mishap"
        )
        return standardise(model).difference
    except NotEstimable:
        return None


def with_shared_training(people, shared, rng):
    """The same people, trained again with something in common within a mishap; everybody's fate follows that."""
    common = rng.normal(0, shared, people["mishap"].max() + 1)[people["mishap"]]
    log_odds = (
        -0.9
        + 2.2 * people["crew"]
        + 0.9 * people["operator_south"]
        + 0.4 * (people["aircraft_class"] == "C_heavy_3c16p")
        - 0.3 * people["far"]
        + common
    )
    trained = rng.random(len(people)) < 1 / (1 + np.exp(-log_odds))
    survived = np.where(trained, people["survived_if_trained"], people["survived_if_untrained"])
    return people.assign(trained=trained.astype(int), survived=survived.astype(int))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("mishaps", "shared", "half", "shown"),
    [(15, 0.0, 0.25, 0.31), (30, 0.0, 0.16, 0.59), (60, 0.0, 0.11, 0.84), (15, 2.5, 0.34, None)],
)
def test_half_widths_and_chances_in_invented_worlds_are_those_of_the_design(mishaps, shared, half, shown):
    """The design, section 8: median half-width, and how often 17 points are shown; within four Monte Carlo errors."""
    found = [one for run in range(RUNS) if (one := drawn(mishaps, run, shared=shared)) is not None]
    assert len(found) > 0.9 * RUNS
    halves = np.array([(one.high - one.low) / 2 for one in found])
    error = 1.25 * halves.std() / math.sqrt(len(halves))
    assert np.median(halves) == pytest.approx(half, abs=0.015 + 4 * error)
    if shown is not None:
        share = np.mean([one.low > 0 for one in found])
        assert share == pytest.approx(shown, abs=4 * math.sqrt(shown * (1 - shown) / len(found)))


@pytest.mark.slow
def test_from_thirty_mishaps_it_is_foretold_what_sixty_will_show():
    """The rule of the root against worlds of twice the size: half-width and chance, on average over draws."""
    small = [one for run in range(RUNS) if (one := drawn(30, run)) is not None]
    large = [one for run in range(RUNS) if (one := drawn(60, run)) is not None]
    foretold = np.median([half_width(Observed(one.se, 30), 60) for one in small])
    assert foretold == pytest.approx(np.median([(one.high - one.low) / 2 for one in large]), rel=0.1)
    chance = np.mean([chance_shown(Observed(one.se, 30), 60, 0.172) for one in small])
    assert chance == pytest.approx(np.mean([one.low > 0 for one in large]), abs=0.12)
