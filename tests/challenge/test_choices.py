"""Does each listed choice give what a plain road gives that filters, recodes and fits by hand?

The roads here are the package's own estimators on frames made by hand; these have outside checks of their own
(weighting: test_weighting.py).
"""

from __future__ import annotations

import dataclasses
import tomllib

import numpy as np
import pandas as pd
import pytest
from thin import THIN, thin_study

from survstats.challenge import choice_list, choice_people
from survstats.challenge.choices import (
    CHOICES_FILE,
    Choice,
    Tried,
    choices_hash,
    different,
    inside,
    inside_range,
    listed_choices,
    same_sign,
    same_sign_range,
    try_choices,
)
from survstats.effects.augmented import augmented
from survstats.effects.imputation import ImputationPlan, impute
from survstats.effects.imputed_effect import imputed_effect
from survstats.effects.question import AFTER_TRAINING
from survstats.effects.risk_model import penalise, prepare
from survstats.effects.standardise import standardise
from survstats.groundwork.errors import NotEstimable, SurvstatsError
from survstats.groundwork.resampling import stream
from survstats.records.demo import demo_folder
from survstats.study.beside import perhaps_survivable
from survstats.study.everybody import everybody, in_fixed_order
from survstats.study.graph_told import held_equal
from survstats.study.plan import read_study
from survstats.study.steps import read_records

DRAWS = 4
NAMES = {"outcome": "survived", "exposure": "trained", "cluster": "mishap_id"}
NEAR = {"rel": 0, "abs": 1e-8}  # a penalised fit may end a replicate 4e-9 from its maximum


def inputs_of(folder):
    study = read_study(folder)
    people = everybody(study, read_records(study))
    primary, listed = people.primary.frame, tuple(study.covariates)
    added = perhaps_survivable(people.derived)
    populations = {
        "P1": primary,
        "passengers": people.passengers.frame,
        "unknown_survivability": pd.concat([primary, added], ignore_index=True) if len(added) else primary,
        "P2": people.everyone.frame,
    }
    covariates = {
        "P1": listed,
        "passengers": tuple(name for name in listed if name != "role"),
        "unknown_survivability": listed,
        "P2": held_equal(listed, population="P2"),
    }
    plan = ImputationPlan(covariates=listed, draws=DRAWS, iterations=2, currency_months=24)
    try:
        drawn = impute(
            in_fixed_order(primary) if len(primary) else primary, plan=plan, rng=stream(1, "imputation")
        )
    except NotEstimable as fault:
        drawn = fault
    return {"populations": populations, "covariates": covariates, "imputed": drawn, "cluster": "mishap_id"}


def tried(given, *, intervals=False, **changes):
    settings = {**given, **changes}
    return try_choices(settings.pop("populations"), **settings, intervals=intervals)


@pytest.fixture(scope="module")
def main():
    return inputs_of(demo_folder("demo_main"))


@pytest.fixture(scope="module")
def found(main):
    return {one.choice.number: one for one in tried(main, intervals=True)}


def plain_group(frame, trained, against):
    status = frame["trained_status"].astype(object)
    group = pd.Series(np.nan, index=frame.index)
    group[status.isin(trained)] = 1.0
    group[status.isin(against)] = 0.0
    return frame.assign(trained=group)[group.notna()]


CURRENT, EVER, NEVER = ["current"], ["current", "lapsed"], ["none"]


def plain(main, population, trained=CURRENT, against=NEVER, held=None):
    people = plain_group(main["populations"][population], trained, against)
    held = main["covariates"][population] if held is None else held
    return standardise(prepare(people, covariates=held, **NAMES)).difference


def assert_same(one, expected):
    assert one.reason is None
    assert [one.value, one.low, one.high] == pytest.approx(
        [expected.value, expected.low, expected.high], **NEAR
    )
    assert one.wobble == 0


def test_24_choices_are_listed_in_order_and_no_two_are_the_same():
    listed = listed_choices()
    assert [one.number for one in listed] == list(range(1, 25))
    assert len({dataclasses.astuple(one)[2:] for one in listed}) == 24
    assert listed[0] == Choice(1, "main", "P1", "current_v_never", "study", "as_coded", "standardised")


def test_a_family_departs_from_the_main_choice_in_its_own_part_and_a_combined_one_in_two():
    main, *others = listed_choices()
    parts = ("population", "exposure", "covariates", "missing", "estimator")
    for one in others:
        apart = [part for part in parts if getattr(one, part) != getattr(main, part)]
        assert len(apart) == 2 if one.family == "combined" else apart == [one.family]
    sizes = pd.Series([one.family for one in others]).value_counts().to_dict()
    assert sizes == {
        "population": 3,
        "exposure": 3,
        "covariates": 5,
        "missing": 2,
        "estimator": 4,
        "combined": 6,
    }


def test_unknown_training_is_never_read_as_none_and_nothing_that_training_moves_is_held_equal():
    for trained, against in choice_people.EXPOSURES.values():
        assert "unknown" not in (*trained, *against)
        assert not set(trained) & set(against)
    for make in choice_people.HELD.values():
        assert not set(make(("role", "far_seat", "ebs_issued"))) & set(AFTER_TRAINING)


def test_the_file_holds_codes_only_and_its_hash_moves_with_it(tmp_path, monkeypatch):
    rows = tomllib.loads(CHOICES_FILE.read_text(encoding="utf-8"))
    assert set(rows) == {"choice"}
    assert all(isinstance(v, int) or " " not in v for row in rows["choice"] for v in row.values())
    before = choices_hash()
    other = tmp_path / "choices.toml"
    other.write_text(CHOICES_FILE.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    monkeypatch.setattr("survstats.challenge.choice_list.CHOICES_FILE", other)
    assert len(before) == 64
    assert choices_hash() == before  # of the list as it was read
    choice_list.choices_bytes.cache_clear()
    assert choices_hash() != before
    choice_list.choices_bytes.cache_clear()


def test_the_first_choice_is_the_main_analysis(main, found):
    frame = main["populations"]["P1"]
    people = frame[frame["trained"].notna()]
    expected = standardise(prepare(people, covariates=main["covariates"]["P1"], **NAMES)).difference
    one = found[1]
    assert [one.value, one.low, one.high] == pytest.approx(
        [expected.value, expected.low, expected.high], rel=0, abs=1e-12
    )


@pytest.mark.parametrize(
    ("number", "population"), [(2, "unknown_survivability"), (3, "P2"), (4, "passengers")]
)
def test_other_people(main, found, number, population):
    assert_same(found[number], plain(main, population))


@pytest.mark.parametrize(
    ("number", "population", "trained", "against"),
    [
        (5, "P1", EVER, NEVER),
        (6, "P1", CURRENT, ["none", "briefing_or_dry_only"]),
        (7, "P1", CURRENT, ["none", "briefing_or_dry_only", "lapsed"]),
        (19, "passengers", EVER, NEVER),
        (21, "P2", EVER, NEVER),
    ],
)
def test_another_reading_of_trained(main, found, number, population, trained, against):
    assert_same(found[number], plain(main, population, trained, against))


LISTED = ["role", "operator_code", "aircraft_class", "far_seat", "sig_wave_height_m", "water_temp_c", "light"]


@pytest.mark.parametrize(
    ("number", "held"),
    [
        (8, []),
        (9, ["role", "operator_code"]),
        (10, [name for name in LISTED if name != "far_seat"]),
        (11, [*LISTED, "coverage_others"]),
        (12, [*LISTED, "era"]),
    ],
)
def test_other_things_held_equal(main, found, number, held):
    assert list(main["covariates"]["P1"]) == LISTED
    assert_same(found[number], plain(main, "P1", held=held))


def test_only_people_with_every_listed_field_known(main, found):
    people = plain_group(main["populations"]["P1"], CURRENT, NEVER)
    known = people[LISTED].apply(lambda column: column.notna() & (column.astype(object) != "unknown"))
    complete = people[known.all(axis=1)]
    assert 0 < len(complete) < len(people)
    assert_same(found[13], standardise(prepare(complete, covariates=LISTED, **NAMES)).difference)


def with_frames(drawn, make):
    return dataclasses.replace(drawn, frames=tuple(make(frame) for frame in drawn.frames))


@pytest.mark.parametrize(
    ("number", "make", "population"),
    [
        (14, lambda frame: frame, "P1"),
        (
            23,
            lambda frame: frame.assign(
                trained=frame["trained_status"]
                .astype(object)
                .map({"current": 1.0, "lapsed": 1.0, "none": 0.0})
            ),
            "P1",
        ),
        (24, lambda frame: frame[frame["role"] == "passenger"], "passengers"),
    ],
)
def test_drawn_training(main, found, number, make, population):
    frames = with_frames(main["imputed"], make)
    held = main["covariates"][population]
    expected = imputed_effect(frames, covariates=held, **NAMES).difference
    one = found[number]
    assert [one.value, one.low, one.high] == pytest.approx(
        [expected.value, expected.low, expected.high], **NEAR
    )
    each = [
        standardise(prepare(frame[frame["trained"].notna()], covariates=held, **NAMES)).difference.value
        for frame in frames.frames
    ]
    assert one.value == pytest.approx(np.mean(each), **NEAR)
    assert one.wobble == pytest.approx(np.std(each, ddof=1) / np.sqrt(DRAWS), **NEAR)


@pytest.mark.parametrize(("number", "population"), [(15, "P1"), (20, "passengers"), (22, "P2")])
def test_both_models(main, found, number, population):
    people = plain_group(main["populations"][population], CURRENT, NEVER)
    assert_same(
        found[number], augmented(people, covariates=main["covariates"][population], **NAMES).difference
    )


def test_mishap_average_and_penalised_fits(main, found):
    model = prepare(plain_group(main["populations"]["P1"], CURRENT, NEVER), covariates=LISTED, **NAMES)
    assert not model.penalised
    assert_same(found[17], standardise(model, weighting="mishaps").difference)
    assert_same(found[18], standardise(penalise(model)).difference)


def test_values_do_not_hang_on_whether_intervals_are_made(main, found):
    for one in tried(main):
        other = found[one.choice.number]
        assert one.value == pytest.approx(other.value, **NEAR)
        assert (one.low, one.high, one.reason, one.wobble) == (None, None, other.reason, other.wobble)


def test_order_of_rows_and_names_of_mishaps_move_nothing(main, found):
    rng = np.random.default_rng(5)

    def shuffled(frame):
        frame = frame.sample(frac=1, random_state=rng)
        return frame.assign(mishap_id=frame["mishap_id"].astype(str).map(lambda name: f"z{name[::-1]}"))

    moved = tried(
        main,
        intervals=True,
        populations={name: shuffled(frame) for name, frame in main["populations"].items()},
    )
    for one in moved:
        other = found[one.choice.number]
        assert [one.value, one.low, one.high] == pytest.approx([other.value, other.low, other.high], **NEAR)


def test_trained_and_untrained_changed_about_turns_every_sign(main, found, monkeypatch):
    turned = {name: (against, trained) for name, (trained, against) in choice_people.EXPOSURES.items()}
    monkeypatch.setattr(choice_people, "EXPOSURES", turned)
    for one in tried(main, intervals=True):
        other = found[one.choice.number]
        assert [one.value, one.low, one.high] == pytest.approx(
            [-other.value, -other.high, -other.low], **NEAR
        )


def test_without_draws_the_drawn_choices_have_the_reason_given(main):
    drawn = (14, 23, 24)
    for given, reason in ((None, "not_imputed"), (NotEstimable("not_converged", "No fit."), "not_converged")):
        by_number = {one.choice.number: one for one in tried(main, imputed=given)}
        assert {by_number[n].reason for n in drawn} == {reason}
        assert {by_number[n].value for n in drawn} == {None}


def test_where_every_status_is_known_nothing_needs_to_be_drawn(main):
    known = {name: frame[frame["trained_status"] != "unknown"] for name, frame in main["populations"].items()}
    by_number = {
        one.choice.number: one for one in tried(main, populations=known, imputed=None, intervals=True)
    }
    for drawn, plain_twin in ((14, 1), (23, 5), (24, 4)):
        one, twin = by_number[drawn], by_number[plain_twin]
        assert [one.value, one.low, one.high] == pytest.approx([twin.value, twin.low, twin.high], **NEAR)
        assert one.wobble == 0


def test_a_study_of_passengers_alone_has_24_rows(main):
    passengers = {name: frame[frame["role"] == "passenger"] for name, frame in main["populations"].items()}
    drawn = with_frames(main["imputed"], lambda frame: frame[frame["role"] == "passenger"])
    rows = tried(main, populations=passengers, imputed=drawn)
    assert [one.choice.number for one in rows] == list(range(1, 25))
    by_number = {one.choice.number: one.value for one in rows}
    assert by_number[1] == pytest.approx(by_number[4], **NEAR)
    assert by_number[14] == pytest.approx(by_number[24], **NEAR)


def test_where_nobody_is_a_passenger_those_choices_alone_have_no_value(main):
    crew = {name: frame[frame["role"] != "passenger"] for name, frame in main["populations"].items()}
    drawn = with_frames(main["imputed"], lambda frame: frame[frame["role"] != "passenger"])
    reasons = {one.choice.number: one.reason for one in tried(main, populations=crew, imputed=drawn)}
    assert {reasons[number] for number in (4, 19, 20, 24)} == {"no_rows"}
    assert reasons[8] is None


OFTEN = ("everyone_trained", "nobody_died", "nobody_alive_at_flooding", "one_occupant")


@pytest.mark.parametrize(
    "name", [name if name in OFTEN else pytest.param(name, marks=pytest.mark.slow) for name in sorted(THIN)]
)
def test_thin_studies_raise_nothing_and_every_choice_has_a_value_or_a_reason(tmp_path, name):
    for one in tried(inputs_of(thin_study(name, tmp_path / name)), intervals=True):
        assert (one.value is None) == (one.reason is not None)
        if one.value is not None and one.low is not None:
            assert -1 <= one.low <= one.value <= one.high <= 1


def test_below_the_fewest_mishaps_of_a_model_there_is_no_value(main):
    first = sorted(main["populations"]["P1"]["mishap_id"].unique())[:7]
    few = {name: frame[frame["mishap_id"].isin(first)] for name, frame in main["populations"].items()}
    reasons = {one.reason for one in tried(main, populations=few, imputed=None) if one.choice.number < 14}
    assert reasons == {"few_mishaps"}


def made(*values, wobble=0.0):
    return [Tried(listed_choices()[at], value, wobble=wobble) for at, value in enumerate(values)]


def test_a_choice_without_a_value_and_one_of_exactly_zero_do_not_agree():
    assert same_sign(made(0.1, -0.1, 0.0, None), 1.0) == 1
    assert same_sign(made(0.1, -0.1, 0.0, None), -0.2) == 1
    assert inside(made(0.049, -0.049, 0.05, None), 0.05) == 2


def test_choices_that_are_one_analysis_by_whatever_road_are_counted_once():
    assert different(made(0.1, 0.1 + 1e-12, 0.2, None, None)) == 2
    assert different(made(0.1, 0.1001)) == 2


def test_counts_with_other_draws_reach_three_errors_either_way():
    far, near = made(0.31, 0.29, -0.29, -0.31, None, wobble=0.1), made(0.05, -0.05)
    assert same_sign_range(far, 1.0) == (1, 3)
    assert same_sign_range(far, -1.0) == (1, 3)
    assert same_sign_range(near, 1.0) == (1, 1)
    assert inside_range(made(0.1, 0.3, 0.8, wobble=0.1), 0.45) == (1, 2)
    assert inside_range(near, 0.06) == (2, 2)


def test_how_many_errors_a_draw_may_be_off_stands_in_the_file_of_thresholds(monkeypatch):
    one = made(0.05, 0.5, wobble=0.1)
    assert same_sign_range(one, 1.0) == (1, 2)
    assert inside_range(one, 0.1) == (0, 1)
    rule = choice_list.thresholds()
    monkeypatch.setattr(
        choice_list, "thresholds", lambda: {**rule, "borderline": {"monte_carlo_errors": 0.2}}
    )
    assert same_sign_range(one, 1.0) == (2, 2)
    assert inside_range(one, 0.1) == (1, 1)


def test_a_list_of_another_length_than_the_thresholds_say_is_refused(monkeypatch):
    rule = choice_list.thresholds()
    listed_choices.cache_clear()
    monkeypatch.setattr(choice_list, "thresholds", lambda: {**rule, "choices": {"listed": 25}})
    with pytest.raises(SurvstatsError) as fault:
        listed_choices()
    assert fault.value.reason == "other_choices"
