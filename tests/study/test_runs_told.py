"""Are the trainer's runs and the race stored whole, honestly refused, and moved by what they should be?"""

from __future__ import annotations

import numpy as np
import pytest

from survstats.effects.race import share_out
from survstats.records.demo import demo_folder
from survstats.study import runs_told
from survstats.study.everybody import everybody
from survstats.study.lock import lock
from survstats.study.plan import parse_plan, read_study
from survstats.study.results import Number
from survstats.study.results_builder import ResultsBuilder
from survstats.study.steps import read_records

OBSERVED, RATIO = Number(0.3, "difference", "x", 0.05, 0.5), Number(0.7, "ratio", "x", 0.6, 0.8)


@pytest.fixture(scope="module")
def study():
    return read_study(demo_folder("demo_main"))


@pytest.fixture(scope="module")
def records(study):
    return read_records(study, lock(study))


@pytest.fixture(scope="module")
def people(study, records):
    return everybody(study, records)


@pytest.fixture(scope="module")
def told(study, records, people):
    out = ResultsBuilder()
    runs_told.store_runs_model(out, study, records, people)
    return out


def test_every_id_is_a_number_a_table_or_absent_with_a_reason(told, study):
    out = raced(told, study)
    for name in (*runs_told.IDS, *runs_told.RACE_IDS):
        assert name in out.numbers or name in out.tables or name in out.absent, name


def test_counts_of_runs_add_up_to_the_table(told, records):
    counts = {
        name: told.numbers[f"runs_model.{name}"].value for name in ("runs", "out", "stopped", "left_out")
    }
    assert counts["out"] + counts["stopped"] == counts["runs"]
    assert counts["runs"] + counts["left_out"] == len(records.training_run)
    table = told.tables["runs_model"]
    at = table.columns.index
    bands = [row for row in table.rows if row[at("term")] == "since_last"]
    assert [row[at("from_months")] for row in bands] == [0, 12, 24, 48, None]
    courses = sum(row[1] for row in told.tables["runs_fading_months"].rows)
    assert courses == told.numbers["runs_model.returned"].value


def test_numbers_of_the_pool_count_neither_mishaps_nor_occupants(told):
    for name, number in told.numbers.items():
        if name.startswith("runs_model.") or name == "race.pool_median":
            assert number.mishaps is None
            assert number.occupants is None


def test_a_half_life_that_cannot_be_told_is_absent_and_so_is_what_hangs_on_it(told):
    assert told.absent["runs_model.half_life"] == "no_gain_shown"
    assert told.absent["runs_model.refresher_restores"] == "no_gain_shown"
    assert "runs_fading_curve" in told.tables


def test_without_runs_only_the_mishap_side_of_the_race_is_there(study, records, people):
    from dataclasses import replace

    out = ResultsBuilder()
    none = replace(records, training_run=records.training_run.iloc[:0])
    runs_told.store_runs_model(out, study, none, people)
    pool = ("race.pool_median", "race.pool_people", "race.ratio")
    assert {out.absent[name] for name in (*runs_told.IDS, *pool)} == {"not_recorded"}
    assert "race.mishap_median" in out.numbers


# ---- the race ------------------------------------------------------------------------------------


def raced(told, study, **numbers):
    """The race from what is stored, with some numbers put in its place."""
    given = {"egress.time_ratio": RATIO} | {f"race.{name}": number for name, number in numbers.items()}
    out = ResultsBuilder(numbers=told.numbers | given, absent=dict(told.absent), tables=told.tables)
    out.rests_on = {**told.rests_on, "egress.time_ratio": ("egress_people/0/timed",)}
    out.codes = dict(told.codes)
    runs_told.store_race(out, study)
    return out


@pytest.mark.parametrize(
    ("low", "high", "finding"),
    [(0.5, 0.9, "larger"), (-0.4, -0.1, "smaller"), (0.01, 0.5, "of_the_size"), (-0.1, 0.5, "open")],
)
def test_the_finding_follows_from_where_the_intervals_lie(told, study, low, high, finding):
    observed = Number((low + high) / 2, "difference", "x", low, high)
    out = raced(told, study, observed=observed)
    assert 0 < out.numbers["race.gap_least"].value < out.numbers["race.gap_most"].value < 0.45
    assert out.codes["race.finding"] == finding


@pytest.mark.parametrize(
    ("observed", "gaps", "finding"),
    [
        ((-0.6, -0.3), (-0.21, -0.05), "larger"),  # more harm than slower ways out make
        ((-0.04, -0.01), (-0.21, -0.05), "smaller"),
        ((-0.3, -0.1), (-0.21, -0.05), "of_the_size"),
        ((-0.5, 0.1), (-0.21, -0.05), "open"),
        ((-0.3, -0.03), (-0.21, 0.01), "unsettled"),
        ((0.03, 0.3), (-0.01, 0.21), "unsettled"),
        ((-0.6, -0.3), (-0.21, 0.01), "larger"),
        ((0.05, 0.3), (-0.21, 0.01), "larger"),
        ((-0.6, -0.3), (0.05, 0.21), "smaller"),
    ],
)
def test_slower_ways_out_are_read_in_mirror_image(observed, gaps, finding):
    from survstats.study.race_told import _finding

    assert _finding(observed, gaps) == finding
    mirrored = [(-high, -low) for low, high in (observed, gaps)]
    assert _finding(*mirrored) == finding


def test_ways_out_are_counted_on_both_sides_of_the_capsize(told, people):
    """Counted again from the rows, one by one."""
    frame = people.primary.frame
    before, after = 0, 0
    for row in frame[frame["capsized"].eq("yes") & frame["out"].eq(1)].itertuples():
        before += row.egress_hi_s <= row.t_capsize_lo_s
        after += row.egress_lo_s >= row.t_capsize_hi_s
    numbers = told.numbers
    assert (numbers["race.before_capsize"].value, numbers["race.after_capsize"].value) == (before, after)
    assert 0 < before + after < numbers["race.mishap_median"].occupants


def test_without_a_time_ratio_there_is_no_gap_and_no_finding(told, study):
    out = ResultsBuilder(numbers=dict(told.numbers), absent={"egress.time_ratio": "few_timed"})
    runs_told.store_race(out, study)
    assert out.absent["race.gap_least"] == out.absent["race.gap_most"] == "few_timed"
    assert out.codes["race.finding"] == "not_estimated"


def test_a_shorter_breath_lets_fewer_out_and_moves_no_gap(told, study):
    from dataclasses import replace

    text = (demo_folder("demo_main") / "study.toml").read_text(encoding="utf-8")
    colder = replace(study, plan=parse_plan((text + "\n[breath]\nmultiplier = 0.6\n").encode()))
    warm, cold = raced(told, study), raced(told, colder)
    assert (warm.codes["race.multiplier"], cold.codes["race.multiplier"]) == ("default", "given")
    assert cold.numbers["race.breath_median"].value == pytest.approx(0.6 * 37)
    cold_share, warm_share = cold.numbers["race.share"], warm.numbers["race.share"]
    assert cold_share.high < warm_share.value - 0.05
    assert cold_share.low < warm_share.low - 0.05
    assert cold.numbers["race.gap_most"] == warm.numbers["race.gap_most"]
    assert colder.analysis_hash != study.analysis_hash


def test_the_share_the_race_gives_is_that_of_its_own_unseen_times(told, study):
    from survstats.effects.race import breath_hold, unseen_from_breath

    out, anchor = raced(told, study), breath_hold()
    median, spread = (out.numbers[f"race.untrained_{name}"] for name in ("median", "spread"))
    shares = out.numbers["race.share"]
    ends = [
        unseen_from_breath(at, spread.value, anchor.median_s, width).share
        for at in (median.low, median.high)
        for width in (anchor.spread_least, anchor.spread_most)
    ]
    assert (shares.low, shares.high) == (min(ends), max(ends))
    race = unseen_from_breath(median.low, spread.value, anchor.median_s, anchor.spread_least)
    assert race.share in ends
    middle = np.log(anchor.median_s) - race.lead * race.spread
    assert race.share == pytest.approx(
        share_out(np.exp(middle), np.sqrt(race.variance), anchor.median_s, anchor.spread_least)
    )


def test_where_only_survivors_were_asked_no_share_out_is_read(demo_results):
    absent = demo_results["demo_survivor_only"].absent
    assert absent["race.share_seen"] == absent["race.gap_least"] == "one_outcome"


def test_a_breath_that_lasts_no_time_is_refused_with_its_line(study):
    from survstats.groundwork.errors import StudyFileError

    text = (demo_folder("demo_main") / "study.toml").read_text(encoding="utf-8")
    with pytest.raises(StudyFileError) as fault:
        parse_plan((text + "\n[breath]\nmultiplier = 0\n").encode())
    assert fault.value.line
    assert "multiplier" in str(fault.value)
