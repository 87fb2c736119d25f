"""Do trainer runs become bands of time rightly, and do exercises and fading come out as independent roads say?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from pool_school import one_run_each, school
from scipy.optimize import minimize
from scipy.stats import norm

from survstats.effects.run_rows import COURSE, PRACTICE, band_months, run_rows
from survstats.effects.runs_fading import runs_fading
from survstats.effects.trainer_runs import exercises_design, runs_model
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.resampling import stream
from survstats.models.logistic import fit_logistic


@pytest.fixture(scope="module")
def runs():
    return school(60, "small")


@pytest.fixture(scope="module")
def rows(runs):
    return run_rows(runs)


@pytest.fixture(scope="module")
def clear():
    """A school whose fading can be told: hardly any spread between people, a third of the runs."""
    runs = school(150, "clear")
    rng = stream(260611, "clear")
    held = np.where(runs["course"].eq("refresher"), 2.0 ** (-runs["months_since_last"] / 18), 0.0)
    own = pd.Series(rng.normal(0, 0.05, 150), index=sorted(runs["person_code"].unique()))
    log_time = 2.5 - 0.5 * np.nan_to_num(held, nan=0.4) + runs["person_code"].map(own)
    times = np.exp(log_time + rng.normal(0, 0.1, len(runs)))
    runs = runs.assign(time_out_s=times, result="passed", time_out_precision_s=0.1)
    return run_rows(runs[runs["run_no"] <= 2])


@pytest.fixture(scope="module")
def clear_fading(clear):
    return runs_fading(clear)


# ---- what a row says -----------------------------------------------------------------------------


def test_a_time_holds_to_half_a_step_of_its_clock_and_an_end_inside_has_no_upper_limit(runs):
    rows = run_rows(runs.sample(frac=1, random_state=3))
    frame, step = rows.frame, rows.frame["time_out_precision_s"].to_numpy()
    out = frame["ended"].eq(0).to_numpy()
    assert np.allclose(rows.hi[out] - rows.lo[out], step[out])
    assert np.allclose((rows.hi + rows.lo)[out] / 2, frame["time_out_s"][out])
    assert np.isinf(rows.hi[~out]).all()
    assert np.allclose(rows.lo[~out], (frame["time_out_s"] - frame["time_out_precision_s"] / 2)[~out])
    assert (~out).sum() > 10


def test_without_a_recorded_step_a_time_is_exact(runs):
    rows = run_rows(runs.assign(time_out_precision_s=np.nan))
    out = np.isfinite(rows.hi)
    assert (rows.lo[out] == rows.hi[out]).all()


def test_every_run_is_in_the_model_or_counted_as_left_out(runs, rows):
    assert rows.runs + rows.left_out == len(runs)
    assert rows.out + rows.stopped == rows.runs == len(rows.frame) == len(rows.lo)
    assert rows.left_out >= runs["time_out_s"].isna().sum() > 0


def test_timed_runs_stand_for_those_that_ended_alike_without_a_time(runs):
    rows = run_rows(runs)
    ended = runs["result"].isin(["stopped", "failed"])
    assert rows.people == runs["person_code"].nunique()
    kept = rows.frame["ended"].eq(2).to_numpy()
    assert rows.weights[0][rows.codes][kept].sum() == pytest.approx(ended.sum())
    assert rows.weights[0][rows.codes][kept].min() > 1.3
    without = rows.weights[1 + 4][rows.codes]
    gone = without == 0
    assert set(rows.frame["person"][gone]) == {sorted(rows.frame["person"].unique())[4]}


def test_a_kind_of_run_that_few_were_out_of_is_left_out_and_a_thin_band_joins_its_neighbour(runs):
    few = runs["person_code"].isin(sorted(runs["person_code"].unique())[:1])
    rows = run_rows(runs.assign(posture=np.where(few & (runs["run_no"] == 1), "partial", runs["posture"])))
    assert "partial" not in set(rows.frame["posture"])
    assert rows.left_out > run_rows(runs).left_out
    assert set(rows.kinds_left_out) - set(run_rows(runs).kinds_left_out) == {"posture.partial"}
    late = runs.assign(months_since_last=runs["months_since_last"].clip(upper=47.0))
    codes = set(run_rows(late).frame[COURSE]) - {"initial", "unknown"}
    spans = sorted(filter(None, map(band_months, codes)))
    assert spans[-1][1] is None
    assert len(codes) == len(spans) < 4
    assert len(run_rows(late).frame) == len(run_rows(runs).frame)


def test_few_runs_are_refused(runs):
    for thin, reason in ((runs.iloc[:0], "not_recorded"), (runs.iloc[:9], "few_runs")):
        with pytest.raises(NotEstimable) as fault:
            run_rows(thin)
        assert fault.value.reason == reason
    with pytest.raises(NotEstimable) as fault:
        runs_model(replace(run_rows(runs), out=20))
    assert fault.value.reason == "few_runs"


# ---- time ratios ---------------------------------------------------------------------------------


def test_exact_times_of_one_run_each_are_least_squares_of_logs_with_the_plain_jackknife():
    """Closed form: without bands and limits the lognormal model is the linear model of log times."""
    rows = run_rows(one_run_each(60, "exact"))
    design = exercises_design(rows, (COURSE,))
    logs = np.log(rows.lo)

    def fitted(kept):
        return np.linalg.lstsq(design.matrix[kept], logs[kept], rcond=None)[0]

    everybody = np.ones(len(logs), dtype=bool)
    at = design.columns.index("posture[inverted]")
    whole = fitted(everybody)[at]
    without = np.array([fitted(np.arange(len(logs)) != row)[at] for row in range(len(logs))])
    error = np.sqrt((len(logs) - 1) / len(logs) * np.sum((without - whole) ** 2))
    found = next(one for one in runs_model(rows).levels if one.level == "inverted")
    assert np.log(found.ratio.value) == pytest.approx(whole, abs=1e-8)
    assert found.ratio.se == pytest.approx(error, rel=1e-6)
    assert found.ratio.df == len(logs) - 1


def test_a_slow_twin_finds_the_same_ratios(rows):
    """The likelihood of bands and lower limits written out, maximised by a general optimiser."""
    design = exercises_design(rows, (COURSE,))
    weights = rows.weights[0][rows.codes]

    def loss(at):
        middle, scale = design.matrix @ at[:-1], np.exp(at[-1])
        above, below = (np.log(rows.lo) - middle) / scale, (np.log(rows.hi) - middle) / scale
        return -np.sum(weights * np.log(np.maximum(norm.sf(above) - norm.sf(below), 1e-300)))

    start = np.append(np.linalg.lstsq(design.matrix, np.log(rows.lo), rcond=None)[0], -1.0)
    twin = minimize(loss, start, method="BFGS", options={"gtol": 1e-4})
    found = {f"{one.term}[{one.level}]": one.ratio for one in runs_model(rows).levels}
    for at, name in enumerate(design.columns):
        if name in found:
            assert np.log(found[name].value) == pytest.approx(twin.x[at], abs=2e-4)


def ratios(runs):
    model = runs_model(run_rows(runs))
    return [
        (one.ratio.value, one.ratio.low, one.ratio.high)
        for one in (*model.levels, *model.bands)
        if one.ratio is not None
    ]


def test_order_of_rows_names_of_people_and_the_unit_of_time_do_not_matter(runs):
    told = ratios(runs)
    renamed = runs.assign(person_code="x" + runs["person_code"].str[::-1])
    minutes = runs.assign(
        time_out_s=runs["time_out_s"] / 60, time_out_precision_s=runs["time_out_precision_s"] / 60
    )
    for other in (runs.sample(frac=1, random_state=5), renamed, minutes):
        assert np.allclose(ratios(other), told, rtol=1e-7)


def test_runs_written_down_twice_make_nothing_surer(runs):
    assert np.allclose(ratios(pd.concat([runs, runs])), ratios(runs), rtol=1e-7)


def test_with_many_people_they_are_left_out_in_groups():
    rows = run_rows(school(260, "many").query("run_no <= 2"))
    assert rows.people > 240
    assert rows.weights.shape == (61, 180)
    assert all(one.ratio.df == 59 for one in runs_model(rows).levels if one.ratio)


def test_practice_is_told_for_each_doubling_of_the_run_number(runs):
    found = next(one for one in runs_model(run_rows(runs)).levels if one.term == PRACTICE)
    assert found.ratio.value < 1
    assert found.people == run_rows(runs).people


# ---- fading --------------------------------------------------------------------------------------


def test_a_school_whose_courses_give_nothing_tells_no_half_life_and_says_why(runs):
    months = stream(260611, "shuffled").permutation(sorted(runs["person_code"].unique()))
    beginners = runs["person_code"].isin(months[:25])
    since = runs["person_code"].map(dict(zip(months, np.linspace(-34, 60, 60), strict=True)))
    found = runs_fading(
        run_rows(
            runs.assign(
                course=np.where(beginners, "initial", "refresher"),
                months_since_last=since.mask(beginners),
            )
        )
    )
    assert found.half_life_months is None
    assert found.to_restore is None
    assert found.reason == "no_gain_shown"
    assert len(found.curve) == 25


def test_a_school_with_alike_people_tells_the_half_life_it_was_made_with(clear_fading):
    half = clear_fading.half_life_months
    assert half.low < 18 < half.high
    assert half.high < 40
    assert clear_fading.curve[0][1].low < np.exp(-0.5 * 2 ** (-clear_fading.first_month / 18)) < 1
    assert not clear_fading.apart.excludes(1.0)


def test_what_is_told_of_fading_hangs_together(clear_fading):
    half = clear_fading.half_life_months.value
    first, size = clear_fading.first_month, -np.log(clear_fading.curve[0][1].value)
    size *= 2 ** (first / half)
    for month, ratio in clear_fading.curve:
        assert np.log(ratio.value) == pytest.approx(-size * 2 ** (-month / half), rel=1e-3)
    for month, ratio in clear_fading.lost:
        lost = size * (2 ** (-first / half) - 2 ** (-month / half))
        assert np.log(ratio.value) == pytest.approx(lost, rel=1e-3)
    gone = clear_fading.to_restore
    assert gone.value == pytest.approx(1 - 2 ** (-clear_fading.middle_month / half))
    assert 0 <= gone.low < gone.value < gone.high <= 1


def test_runs_written_down_twice_make_a_half_life_no_surer(clear, clear_fading):
    twice = replace(
        clear,
        frame=pd.concat([clear.frame] * 2, ignore_index=True),
        **{name: np.tile(getattr(clear, name), 2) for name in ("lo", "hi", "codes")},
    )
    once, again = clear_fading.half_life_months, runs_fading(twice).half_life_months
    assert again.value == pytest.approx(once.value, rel=1e-6)
    assert (again.low, again.high) == pytest.approx((once.low, once.high), rel=0.03)


def test_nothing_is_told_outside_the_months_observed(clear):
    later = clear.frame["months"].lt(20).to_numpy()
    dates = clear.frame["months"].where(~later, 20.0)
    found = runs_fading(replace(clear, frame=clear.frame.assign(months=dates)))
    assert [month for month, _ in found.lost] == [24.0, 48.0]
    assert found.first_month == 20
    assert min(month for month, _ in found.curve) == 20


def test_the_profile_is_that_of_single_fits_and_its_top_lies_at_the_half_life(clear, clear_fading):
    """A slow twin: the likelihood maximised anew at rates around the best one."""
    from survstats.models.times.interval_time import fit_time

    held = (~clear.frame[COURSE].isin(["initial", "unknown"])).to_numpy()
    unknown = clear.frame[COURSE].eq("unknown").to_numpy(float)
    others = exercises_design(clear).matrix
    best = np.log(2) / clear_fading.half_life_months.value

    def height(rate):
        left = np.where(held, np.exp(-rate * np.nan_to_num(clear.frame["months"])), 0.0)
        matrix = np.column_stack([others, left, unknown])
        weights = clear.weights[0][clear.codes]
        return fit_time(matrix, clear.lo, clear.hi, distribution="lognormal", weights=weights).log_likelihood

    top = height(best)
    assert top > max(height(best * 0.97), height(best * 1.03))


def test_refreshers_of_unknown_months_stay_in_the_model(runs):
    rows = run_rows(runs.assign(months_since_last=runs["months_since_last"].mask(runs.index % 7 == 0)))
    assert rows.frame[COURSE].eq("unknown").sum() > 10
    assert rows.runs == run_rows(runs).runs


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (lambda runs: runs[runs["course"] == "refresher"], "one_arm"),
        (lambda runs: runs[runs["course"] == "initial"], "too_few_dated"),
        (lambda runs: runs.assign(months_since_last=30.0), "no_spread_of_months"),
    ],
)
def test_schools_that_cannot_show_fading_are_refused(runs, change, reason):
    with pytest.raises(NotEstimable) as fault:
        runs_fading(run_rows(change(runs)))
    assert fault.value.reason == reason


# ---- a published table of training dose ----------------------------------------------------------


def test_the_published_table_of_training_dose():
    """Out of the trainer unaided half a year after one, two or five exercises: Kozey 2006, as quoted in Coleshaw 2006
    (report to OPITO); counts read there, odds ratios computed in R.
    """
    table = np.array([[28, 24], [38, 9], [52, 2]])
    dose = np.repeat(["one", "two", "five"], table.sum(axis=1))
    passed = np.concatenate([np.repeat([1, 0], row) for row in table])
    frame = pd.DataFrame({"dose": dose, "passed": passed, "person": np.arange(len(passed))})
    frame["dose"] = pd.Categorical(frame["dose"], categories=["one", "two", "five"])
    fitted = fit_logistic(frame, "passed", ["dose"], cluster="person")
    ratios = [np.exp(one.estimate) for one in fitted.table.rows[1:]]
    assert ratios == pytest.approx([3.6190, 22.2857], abs=5e-5)
