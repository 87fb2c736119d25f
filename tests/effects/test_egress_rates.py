"""Are the times drawn where they may lie, and is the ratio of rates that of a fit with the times known?

Golden values: computed twice by independent code (R packages and separate NumPy) for the invented 90 occupants.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from survstats.effects.egress_rates import DRAWS, DrawnTimes, draw_times, rates
from survstats.effects.intervals import jackknife_error, t_quantile
from survstats.effects.time_model import fit_times
from survstats.effects.time_rows import bands, time_rows
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream
from survstats.models.times.cox import fit_cox

COVARIATES = ("crew", "seat_far")


def frame_of(occupants_90: pd.DataFrame, *, exact: bool = False) -> pd.DataFrame:
    out = (occupants_90["ev"] == 1).astype(float)
    low, high = ("tm", "tm") if exact else ("lo", "hi")
    return occupants_90.assign(
        out=out,
        egress_lo_s=occupants_90[low].where(out == 1).astype(float),
        egress_hi_s=occupants_90[high].where(out == 1).astype(float),
    )


def rows_of(frame: pd.DataFrame, covariates: tuple[str, ...] = COVARIATES):
    return time_rows(frame, exposure="trained", covariates=covariates, cluster="mishap")


def drawn_of(frame: pd.DataFrame, covariates: tuple[str, ...] = COVARIATES, seed: int = 1) -> DrawnTimes:
    return draw_times(
        fit_times(rows_of(frame, covariates), distribution="lognormal"), stream(seed, "times_out")
    )


def test_times_are_drawn_inside_their_bands_and_the_dead_never_leave(occupants_90):
    frame = frame_of(occupants_90)
    frame.loc[frame.index[frame["out"] == 1][:8], ["egress_lo_s", "egress_hi_s"]] = np.nan
    rows, drawn = rows_of(frame), drawn_of(frame)
    low, high = bands(rows.known)
    out = rows.known.ever == 1
    assert drawn.time.shape == (DRAWS, len(frame))
    assert (drawn.time[:, out] >= low[out]).all()
    assert (drawn.time[:, out] <= high[out]).all()
    assert (drawn.time > 0).all()
    assert (drawn.time[:, ~out] > drawn.time[:, out].max()).all()
    assert list(drawn.out) == list(out.astype(float))
    assert (drawn.time[:, out].std(axis=0) > 0).all()


def test_times_nobody_knows_vary_as_the_mishaps_let_the_model_vary(occupants_90):
    frame = frame_of(occupants_90)
    who = int(frame.index[frame["out"] == 1][0])
    frame.loc[who, ["egress_lo_s", "egress_hi_s"]] = np.nan
    model = fit_times(rows_of(frame), distribution="lognormal")
    row = model.rows.design.apply(model.rows.filled.loc[[who]])[0]
    moved = model.coefficients[0] + 8 * (
        model.coefficients - model.coefficients[0]
    )  # as if mishaps differed more
    wide = replace(model, coefficients=moved, scale=np.full_like(model.scale, model.scale[0]))
    centres = moved @ row
    error = jackknife_error(centres[0], centres[1:])
    drawn = np.log(draw_times(wide, stream(1, "times_out"), draws=6000).time[:, who])
    assert drawn.var() == pytest.approx(error**2 + model.scale[0] ** 2, rel=0.08)
    assert error > 1.5 * model.scale[0]
    spread = jackknife_error(math.log(model.scale[0]), np.log(model.scale[1:]))
    assert np.linalg.norm(model.pulls[:, -1]) == pytest.approx(spread, rel=1e-12)


def test_the_same_seed_gives_the_same_times_and_another_gives_others(occupants_90):
    frame = frame_of(occupants_90)
    assert (drawn_of(frame).time == drawn_of(frame).time).all()
    assert (drawn_of(frame).time != drawn_of(frame, seed=2).time).any()


def test_who_was_last_seen_inside_leaves_the_count_at_that_second(occupants_90):
    frame = frame_of(occupants_90)
    seen = frame[:2].assign(out=np.nan, egress_lo_s=33.0, egress_hi_s=np.nan)
    drawn = drawn_of(pd.concat([frame, seen], ignore_index=True))
    assert (drawn.time[:, -2:] == 33.0).all()
    assert list(drawn.out[-2:]) == [0.0, 0.0]


def test_golden_ratio_where_every_time_is_known(occupants_90):
    # with nobody lost from sight the sub-distribution's rates are those of a Cox fit with the dead kept at risk
    frame = frame_of(occupants_90, exact=True)
    found = rates(rows_of(frame), drawn_of(frame), within=False).ratio
    assert math.log(found.value) == pytest.approx(0.26724380, rel=1e-5)
    assert found.se == pytest.approx(0.32958695 * math.sqrt(14 / 13), rel=1e-5)
    # no time was drawn, so what is left of Barnard and Rubin's degrees of freedom is those of the mishaps alone
    assert found.df == pytest.approx(13 * 14 / 16)
    assert math.log(found.high) == pytest.approx(0.26724380 + t_quantile(0.95, found.df) * found.se, rel=1e-5)
    assert (found.mishaps, found.occupants, found.method) == (14, 90, "cox")


def test_within_mishaps_what_is_the_same_for_all_of_one_changes_nothing(occupants_90):
    frame = frame_of(occupants_90, exact=True).assign(wave=lambda f: np.sqrt(f["mishap"]) * 0.37)
    plain = rates(rows_of(frame), drawn_of(frame), within=True).ratio
    with_wave = (*COVARIATES, "wave")
    held = rates(rows_of(frame, with_wave), drawn_of(frame, with_wave), within=True).ratio
    assert held.value == pytest.approx(plain.value, rel=1e-9)
    by_hand = fit_cox(
        frame[["trained", *COVARIATES]],
        frame["tm"].mask(frame["out"] == 0, 1000.0),
        frame["out"],
        strata=frame["mishap"],
    )
    assert math.log(plain.value) == pytest.approx(by_hand.coefficients[0], rel=1e-6)
    both = frame[frame["out"] == 1].groupby("mishap").size().index
    varies = frame[frame["mishap"].isin(both)].groupby("mishap")["trained"].nunique() > 1
    assert plain.mishaps == int(varies.sum()) < 14
    assert plain.method == "cox_within"


def test_drawing_adds_to_the_error_and_never_takes_from_it(occupants_90):
    frame = frame_of(occupants_90)
    drawn = drawn_of(frame)
    found = rates(rows_of(frame), drawn, within=False).ratio
    one = replace(drawn, time=np.vstack([drawn.time[:1]] * 2))
    alone = rates(rows_of(frame), one, within=False).ratio
    assert found.df < alone.df
    exact = rates(
        rows_of(frame_of(occupants_90, exact=True)),
        drawn_of(frame_of(occupants_90, exact=True)),
        within=False,
    )
    assert abs(math.log(found.value) - math.log(exact.ratio.value)) < 0.1


def in_proportion(rng: np.random.Generator, trained: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Whether and when people get out where the share out by t is 1 - (1 - .8 (1 - e^(-t / 20)))^exp(.6 trained)."""
    rank = rng.random(len(trained))
    out = rank > 0.2 ** np.exp(0.6 * trained)
    gone = (1 - np.where(out, rank, 1.0) ** np.exp(-0.6 * trained)) / 0.8
    return out, -20 * np.log1p(-gone)


def finding(seed: int, *, turning: bool) -> str:
    """Whether one ratio for all seconds can stand, in a world where it does or does not."""
    rng = np.random.default_rng([2026, 6, 3, seed])
    trained = (np.arange(300) % 2).astype(float)
    out, seconds = in_proportion(rng, trained)
    if turning:  # all of the trained at about twenty seconds, the untrained from the first on
        seconds = np.where(trained == 1, rng.uniform(18, 22, 300), rng.exponential(20, 300))
    told = pd.DataFrame({"trained": trained, "mishap": np.arange(300) // 2 % 20, "out": out.astype(float)})
    told["egress_lo_s"] = told["egress_hi_s"] = np.where(out, np.maximum(seconds, 0.1), np.nan)
    rows = rows_of(told, ())
    drawn = draw_times(fit_times(rows, distribution="lognormal"), stream(1, "times_out"), draws=2)
    assert rates(rows, drawn, within=False, check=False).proportional == "not_checked"
    return rates(rows, drawn, within=False).proportional


def test_a_ratio_that_turns_over_time_is_doubted_and_a_constant_one_seldom():
    assert [finding(seed, turning=True) for seed in range(8)] == ["doubtful"] * 8
    assert [finding(seed, turning=False) for seed in range(20)].count("kept") >= 17


def refused(call, *arguments, **settings):
    with pytest.raises(NotEstimable) as fault:
        call(*arguments, **settings)
    return fault.value.reason


def test_where_rates_say_nothing_a_reason_stands_instead(occupants_90):
    frame = frame_of(occupants_90)
    survivors = frame[frame["out"] == 1]
    assert refused(rates, rows_of(survivors), drawn_of(survivors), within=False) == "one_outcome"
    apart = frame.assign(mishap=frame["mishap"] * 2 + frame["trained"])
    assert refused(rates, rows_of(apart), drawn_of(apart), within=True) == "few_mishaps"


@pytest.mark.slow
def test_a_constant_ratio_is_found_again_from_bands_and_silence():
    # 100 worlds of 40 mishaps, seeds [2026, 6, 4, 0..99]: the true ratio of the sub-distribution's rates is e^0.6
    held, logs = 0, []
    for seed in range(100):
        rng = np.random.default_rng([2026, 6, 4, seed])
        n = 240
        trained = (rng.random(n) < 0.45).astype(float)
        out, seconds = in_proportion(rng, trained)
        low = np.floor(seconds / 10) * 10
        silent = rng.random(n) < 0.2
        frame = pd.DataFrame(
            {
                "trained": trained,
                "mishap": rng.integers(0, 40, n),
                "out": out.astype(float),
                "egress_lo_s": np.where(out & ~silent, low, np.nan),
                "egress_hi_s": np.where(out & ~silent, low + 10, np.nan),
            }
        )
        found = rates(rows_of(frame, ()), drawn_of(frame, ()), within=False, check=False).ratio
        logs.append(math.log(found.value))
        held += math.log(found.low) <= 0.6 <= math.log(found.high)
    assert abs(np.mean(logs) - 0.6) < 0.05
    assert held / 100 >= 0.91
