"""Planning: it starts from the printed interval, the next mishap is judged as any other, and the list is counted."""

from __future__ import annotations

import pytest
from thin import thin_study

from survstats.challenge.verdict import Interval, Verdict
from survstats.decision import precision
from survstats.groundwork.errors import NotEstimable
from survstats.groundwork.estimate import Estimate
from survstats.records.cohort import build_cohort
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.study import next_mishap, planning_told
from survstats.study.next_mishap import next_mishaps, with_mishaps
from survstats.study.plan import read_study
from survstats.study.steps import read_records

NOW = Verdict("cannot_tell", "not_shown", "no", "none", "none", 8)


@pytest.fixture(scope="module")
def study():
    return read_study(demo_folder("demo_small"))


@pytest.fixture(scope="module")
def records(study):
    return read_records(study)


@pytest.fixture(scope="module")
def like(study, records):
    return next_mishap._like(study, records)


@pytest.fixture(scope="module")
def demo_study_and_records():
    study = read_study(demo_folder("demo_main"))
    return study, read_records(study)


def derived(study, records):
    return derive(records, currency_months=study.plan.question.currency_months, population=study.population)


# ---- how many more -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["demo_main", "demo_separation"])
def test_it_starts_from_the_printed_interval(demo_results, name):
    numbers = demo_results[name].numbers
    effect = numbers["effect.rd"]
    assert numbers["planning.mishaps"].value == effect.mishaps
    assert numbers["planning.half_width"].value == pytest.approx((effect.high - effect.low) / 2, rel=1e-9)


def test_the_numbers_of_mishaps_are_those_of_the_rule_and_the_years_follow_the_rate(demo_results):
    numbers = demo_results["demo_main"].numbers
    now = int(numbers["planning.mishaps"].value)
    se = numbers["planning.half_width"].value / precision.half_width(precision.Observed(1.0, now), now)
    observed, worthwhile = precision.Observed(se, now), numbers["plan.smallest_worthwhile"].value
    total = precision.mishaps_to_show(observed, worthwhile)
    assert numbers["planning.total_to_settle"].value == total
    assert numbers["planning.mishaps_to_settle"].value == total - now > 0
    rate = numbers["exposure.mishaps_a_year"].value
    assert numbers["planning.years_to_settle"].value == pytest.approx((total - now) / rate)
    assert numbers["planning.mishaps_for_precision"].value == precision.mishaps_for_width(
        observed, worthwhile
    )


def test_the_first_line_of_the_table_is_what_is_in_hand_and_chances_rise(demo_results):
    results = demo_results["demo_main"]
    rows = results.tables["planning"].rows
    assert rows[0][0] == results.numbers["planning.mishaps"].value
    assert rows[0][1] == results.numbers["planning.half_width"].value
    for column, falls in ((1, True), (2, False), (3, False)):
        values = [row[column] for row in rows]
        assert values == sorted(values, reverse=falls)


def test_a_widened_interval_counts_as_wide_as_it_is_printed():
    shown = Estimate(0.1, -0.2, 0.4, 0.01, 0.95, 13.0, "identity", "difference", "jackknife", 14, 90)
    observed = planning_told.observed_of(shown)
    assert precision.half_width(observed, 14) == pytest.approx(0.3)
    with pytest.raises(NotEstimable):
        planning_told.observed_of(
            Estimate(1, 1, 1, 0, 0.95, 13.0, "identity", "difference", "jackknife", 14, 90)
        )


# ---- the next mishap -----------------------------------------------------------------------------


def test_the_model_is_the_largest_survivable_mishap(records, like):
    sizes = records.occupant.groupby("mishap_id", observed=True).size()
    survivable = records.mishap["impact_survivability"].isin(["survivable", "partially_survivable"])
    assert sizes[like] == sizes[records.mishap.loc[survivable, "mishap_id"]].max()


@pytest.mark.parametrize("living", next_mishap.LIVING)
@pytest.mark.parametrize("side", ["for", "against"])
def test_everyone_of_a_new_mishap_is_compared_documented_and_told_apart_by_training_alone(
    study, records, like, side, living
):
    more = with_mishaps(records, like, side=side, count=3, living=living)
    before, after = derived(study, records), derived(study, more)
    new = after[~after["mishap_id"].astype(str).isin(set(before["mishap_id"].astype(str)))]
    aboard = int((records.occupant["mishap_id"] == like).sum())
    assert new["mishap_id"].nunique() == 3
    assert len(new) == 3 * aboard
    assert new["in_p1"].all()
    assert new["documented"].all()
    assert set(new["trained_status"]) == {"current", "none"}
    better = new["trained"] == (1 if side == "for" else 0)
    assert (new.loc[better, "survived"] == 1).all()
    for _, worse in new[~better].groupby("mishap_id", observed=True):
        assert worse["survived"].sum() == int(len(worse) * living)
    for _, role in new.groupby(["mishap_id", "role"], observed=True):
        assert abs(2 * role["trained"].sum() - len(role)) <= 1
    cohort = build_cohort(after, more, population="P1", chosen=study.population)
    assert len(cohort.analysed) - len(
        build_cohort(before, records, population="P1", chosen=study.population).analysed
    ) == len(new)


def test_the_old_records_stay_as_they_were(study, records, like):
    more = with_mishaps(records, like, side="for", count=2)
    kept = len(records.occupant)
    assert (
        more.occupant.iloc[:kept].drop(columns="file_row").equals(records.occupant.drop(columns="file_row"))
    )
    assert more.occupant["file_row"].is_unique
    assert more.mishap["mishap_id"].is_unique
    assert not more.mishap["event_date"].iloc[len(records.mishap) :].isin(records.mishap["event_date"]).any()
    assert (more.occupant.dtypes == records.occupant.dtypes).all()


def test_the_first_of_three_added_at_once_are_as_good_as_added_alone(study, records, like):
    three = next_mishap._compared(study, with_mishaps(records, like, side="for", count=3))
    for count in (1, 2):
        alone = next_mishap._compared(study, with_mishaps(records, like, side="for", count=count))
        part = next_mishap._first_of(three, records, count)
        assert list(part["mishap_id"]) == list(alone["mishap_id"])
        assert (part["trained"].to_numpy() == alone["trained"].to_numpy()).all()


def test_with_records_of_one_person_there_is_nothing_to_go_by(tmp_path):
    alone = read_study(thin_study("one_occupant", tmp_path / "study"))
    assert next_mishaps(alone, read_records(alone), NOW) == ()


def test_what_is_said_as_strongly_as_can_be_is_not_tried_further():
    supports = Verdict("supports", "more_than_chance", "as_far_as_seen", "benefit", "at_least_worthwhile", 8)
    assert not next_mishap._may_move(supports, "for")
    assert next_mishap._may_move(supports, "against")
    assert next_mishap._may_move(NOW, "for")


def test_a_word_is_found_as_soon_as_the_judge_says_another(study, records, monkeypatch):
    """The judge replaced: it speaks at the second of two mishaps, for training only; the interval decides nothing."""
    asked = []

    def judged(_study, more, _banners):
        count = len(more.mishap) - len(records.mishap)
        asked.append(count)
        return ("suggests", "benefit") if asked == [1, 1, 2, 2] else ("cannot_tell", "none")

    monkeypatch.setattr(next_mishap, "_judged", judged)
    monkeypatch.setattr(next_mishap, "_interval_of", lambda *_: None)
    best, worst = next_mishaps(study, records, NOW)
    assert (best.word, best.needed, best.needed_word, best.needed_direction) == (
        "cannot_tell",
        2,
        "suggests",
        "benefit",
    )
    assert (worst.needed, worst.needed_word, worst.tried) == (None, "cannot_tell", 3)
    assert asked == [1, 1, 2, 2, 1, 1, 2, 2, 3, 3]


def test_those_nearest_to_a_word_are_judged_first_and_no_others():
    """Limits by hand: half living is furthest beyond 0, then a quarter; the most extreme one is not asked for."""
    about = {
        0.0: Interval(0.01, 0.5, 0.05),
        0.25: Interval(0.02, 0.4, 0.05),
        0.5: Interval(0.03, 0.3, 0.05),
    }
    asked = []

    def judged(living):
        asked.append(living)
        return ("suggests", "benefit")

    said = list(next_mishap._words(about, "for", judged))
    assert (asked, said) == ([0.5, 0.25], [("suggests", "benefit")] * 2)
    asked.clear()
    about[0.25] = Interval(-0.01, 0.4, 0.05)  # holds 0, so that no word can come of it
    assert list(next_mishap._words(about, "for", judged))[-1] == ("cannot_tell", "none")
    assert asked == [0.5, 0.0]
    turned = {living: Interval(-one.high, -one.low, 0.05) for living, one in about.items()}
    asked.clear()
    list(next_mishap._words(turned, "against", judged))
    assert asked == [0.5, 0.0]


def test_a_milder_mishap_may_reach_further_than_the_most_extreme_one(demo_study_and_records):
    """One in which half of the untrained live moves the lower limit further than one in which all of them die."""
    study, records = demo_study_and_records
    like = next_mishap._like(study, records)
    low = [
        next_mishap._interval_of(
            study,
            next_mishap._compared(study, with_mishaps(records, like, side="for", count=1, living=living)),
        ).low
        for living in (0.0, 0.5)
    ]
    assert low[1] > low[0]


@pytest.mark.slow
def test_where_the_interval_alone_says_no_word_the_whole_judge_says_none_either(study, records, like):
    tried = 0
    for side in ("for", "against"):
        more = with_mishaps(records, like, side=side, count=1)
        about = next_mishap._interval_of(study, next_mishap._compared(study, more))
        if next_mishap._no_word_by_interval(about):
            tried += 1
            assert next_mishap._judged(study, more, ()) == ("cannot_tell", "none")
    assert tried


# ---- the list ------------------------------------------------------------------------------------


def test_without_a_decision_no_mishap_is_made_up(demo_results):
    results = demo_results["demo_survivor_only"]
    assert results.codes["planning.next"] == "not_asked"
    assert "planning.next_word_best" not in results.codes
    assert results.absent["planning.mishaps_to_settle"] == results.absent["effect.rd"]


def test_the_list_counts_people_whom_it_concerns(demo_results):
    results = demo_results["demo_main"]
    table = results.tables["next_record"]
    assert {row[0] for row in table.rows} == set(planning_told.RECORD)
    whole = [results.numbers[f"gaps.{fate}"].value for fate in ("died", "survived")]
    for field, of_died, known_died, of_survived, known_survived in table.rows:
        assert 0 <= known_died <= of_died <= whole[0], field
        assert 0 <= known_survived <= of_survived <= whole[1], field
    papers = next(row for row in table.rows if row[0] == "training_papers")
    gaps = results.numbers
    assert papers[2] == gaps["gaps.training_papers.known_died"].value
