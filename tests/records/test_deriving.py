import numpy as np
import pytest

from survstats.records.deriving import derive, died, survived
from survstats.records.population import PopulationFilter, studied_mishaps


def of_first(study, mishap=None, **changes):
    records = study.records([study.mishap(**(mishap or {}))], study.people("M1", changes))
    return derive(records, currency_months=24).iloc[0]


HANDS_ON = {"training_ever": "yes", "training_type": "underwater_escape_with_breathing_set"}


@pytest.mark.parametrize(
    ("changes", "status", "trained"),
    [
        ({}, "current", 1),
        (HANDS_ON, "current", 1),
        ({"training_last_date": "2013-06-20"}, "current", 1),  # 730 days: 23.98 months
        ({"training_last_date": "2013-06-19"}, "lapsed", np.nan),  # 731 days: 24.02 months
        ({"training_last_date": "unknown"}, "unknown", np.nan),
        ({"training_last_date": "", "training_date_precision": ""}, "unknown", np.nan),
        ({"training_type": "briefing_only"}, "briefing_or_dry_only", np.nan),
        ({"training_type": "dry_only", "training_last_date": ""}, "briefing_or_dry_only", np.nan),
        ({"training_type": "unknown"}, "unknown", np.nan),
        ({"training_ever": "unknown"}, "unknown", np.nan),
        ({"training_ever": ""}, "unknown", np.nan),
        ({"training_ever": "no", "training_type": "none", "training_last_date": ""}, "none", 0),
        # after the mishap of 2015-06-20 nobody is trained, nor known to be untrained, whatever is accepted
        ({"training_last_date": "2015-06-20"}, "current", 1),
        ({"training_last_date": "2015-06-21"}, "unknown", np.nan),
        ({"training_last_date": "2016-01-01", "training_date_precision": "year"}, "unknown", np.nan),
        ({"training_last_date": "2015-07-01", "training_date_precision": "month"}, "unknown", np.nan),
        ({"training_type": "dry_only", "training_last_date": "2015-06-21"}, "unknown", np.nan),
        ({"training_ever": "no", "training_last_date": "2015-06-21"}, "unknown", np.nan),
    ],
)
def test_training(study, changes, status, trained):
    row = of_first(study, **changes)
    assert row["trained_status"] == status
    assert row["trained"] == pytest.approx(trained, nan_ok=True)
    assert row["documented"] == (status != "unknown")


@pytest.mark.parametrize(("evidence", "documented"), [("roster", True), ("self_report", False), ("", False)])
def test_documented_by_certificate_or_roster_only(study, evidence, documented):
    assert of_first(study, training_evidence=evidence)["documented"] == documented


@pytest.mark.parametrize(
    ("date", "precision", "days", "ambiguous"),
    [
        ("2013-05-02", "day", 779, False),
        ("2014-05-02", "month", 401, False),  # 15 May 2014
        ("2013-06-03", "month", 735, True),  # 15 June; 1 to 30 June straddles 24 months
        ("2013-02-03", "year", 719, True),  # 1 July 2013
        ("2013-02-03", "unknown", 719, True),
        ("2010-02-03", "year", 1815, False),
        ("2015-01-01", "year", 0, False),  # 1 July is after the mishap: never below nothing
    ],
)
def test_months_since_at_the_precision_of_the_date(study, date, precision, days, ambiguous):
    row = of_first(study, training_last_date=date, training_date_precision=precision)
    assert row["months_since"] == pytest.approx(days / 30.4375)
    assert row["recency_ambiguous"] == ambiguous


@pytest.mark.parametrize(
    ("date", "precision", "ambiguous"),
    [
        ("2015-06-02", "month", True),
        ("2015-05-31", "month", False),
        ("2015-01-01", "year", True),
        ("2015-01-01", "unknown", True),
        ("2014-12-31", "year", False),
        ("2015-06-20", "day", False),
        ("2016-01-01", "year", False),  # certainly after it: unknown
    ],
)
def test_a_month_or_year_that_reaches_past_the_mishap_is_counted_and_changes_nothing(
    study, date, precision, ambiguous
):
    row = of_first(study, training_last_date=date, training_date_precision=precision)
    assert row["order_ambiguous"] == ambiguous
    assert (row["trained_status"] == "unknown") == (date > "2015-12-31")


@pytest.mark.parametrize(
    ("changes", "survived", "out"),
    [
        ({}, 1, 1),
        ({"egress_outcome": "not_egressed", "rescued_inside": "yes"}, 1, 1),
        ({"days_to_death": "30"}, 0, 1),
        ({"days_to_death": "31"}, 1, 1),
        ({"outcome": "died", "egress_outcome": "not_egressed"}, 0, 0),
        ({"outcome": "died", "egress_outcome": "assisted"}, 0, 1),
        ({"outcome": "died", "egress_outcome": "washed_out", "cause_of_death": "hypothermia_cold"}, 0, 1),
        ({"outcome": "died", "egress_outcome": "washed_out", "cause_of_death": "undetermined"}, 0, np.nan),
        ({"outcome": "died", "egress_outcome": "unknown", "body_location": "inside"}, 0, 0),
        ({"outcome": "died", "egress_outcome": "self", "body_location": "inside"}, 0, 0),
        (
            {"outcome": "died", "egress_outcome": "self", "body_location": "inside", "re_entered": "yes"},
            0,
            1,
        ),
        (
            {"outcome": "died", "egress_outcome": "self", "body_location": "inside", "re_entered": "unknown"},
            0,
            np.nan,
        ),
        (
            {"outcome": "died", "egress_outcome": "not_egressed", "re_entered": "unknown"},
            0,
            0,
        ),
        ({"outcome": "died", "alive_at_immersion": "no"}, 0, 0),
        ({"outcome": "missing_presumed_dead", "egress_outcome": "unknown"}, 0, np.nan),
    ],
)
def test_outcome(study, changes, survived, out):
    row = of_first(study, **changes)
    assert row["survived"] == survived
    assert row["out"] == pytest.approx(out, nan_ok=True)


@pytest.mark.parametrize(
    ("seats", "beside", "far"),
    [
        ("0", "", "no"),
        ("1", "", "yes"),
        ("", "yes", "no"),
        ("", "no", "yes"),
        ("", "", "unknown"),
        ("unknown", "unknown", "unknown"),
        ("0", "no", "no"),
    ],
)
def test_far_seat(study, seats, beside, far):
    assert of_first(study, seats_to_exit=seats, adjacent_exit=beside)["far_seat"] == far


@pytest.mark.parametrize(("water", "cold"), [("14.9", "yes"), ("15", "no"), ("unknown", "unknown")])
def test_cold_and_era(study, water, cold):
    row = of_first(study, {"water_temp_c": water})
    assert row["cold"] == cold
    assert row["era"] == "2010s"


@pytest.mark.parametrize(
    ("impact", "alive", "in_p1"),
    [
        ("survivable", "yes", True),
        ("partially_survivable", "yes", True),
        ("none", "yes", False),
        ("unknown", "yes", False),
        ("", "yes", False),
        ("survivable", "no", False),
        ("survivable", "unknown", True),  # who lived was alive then
        ("survivable", "na", True),
    ],
)
def test_population_flags(study, impact, alive, in_p1):
    row = of_first(study, {"impact_survivability": impact}, alive_at_immersion=alive)
    assert row["in_p1"] == in_p1
    assert row["in_p2"]


def test_a_dead_person_of_whom_nobody_knows_whether_alive_at_immersion_is_not_in_p1(study):
    row = of_first(
        study, {"impact_survivability": "survivable"}, alive_at_immersion="unknown", outcome="died"
    )
    assert not row["in_p1"]
    assert row["in_p2"]


def test_coverage_counts_the_others_and_only_the_known(study):
    records = study.records([study.mishap()], study.people("M1", {}, {"training_ever": "unknown"}))
    derived = derive(records, currency_months=24)
    # one trained, one unknown, one untrained
    assert derived["coverage_others"].tolist() == pytest.approx([0.0, 0.5, 1.0])
    assert derived["n_rows"].tolist() == [3, 3, 3]
    alone = derive(study.records([study.mishap()], study.people()[:1]), currency_months=24)
    assert alone["coverage_others"].isna().all()


def sources(study, *rows):
    """Records of one mishap told by several sources: (id, report_quality) in the order of the file."""
    mishaps = [study.mishap(name, aircraft_class="B", report_quality=quality) for name, quality in rows]
    return study.records(mishaps, [person for name, _ in rows for person in study.people(name)])


@pytest.mark.parametrize(
    ("rows", "stays"),
    [
        ([("M1", "A"), ("M2", "B")], "M1"),
        ([("M1", "B"), ("M2", "A")], "M2"),
        ([("M1", "C"), ("M2", "C")], "M1"),
        ([("M1", "unknown"), ("M2", "D")], "M2"),
        ([("M1", ""), ("M2", "")], "M1"),
        ([("M3", "B"), ("M1", "D"), ("M2", "B")], "M2"),
    ],
)
def test_of_several_sources_the_better_stays_whatever_the_order(study, rows, stays):
    for order in (rows, rows[::-1]):
        derived = derive(sources(study, *order), currency_months=24)
        assert set(derived.loc[~derived["second_source"], "mishap_id"]) == {stays}
        assert derived.loc[derived["mishap_id"] == stays, "in_p2"].all()
        assert not derived.loc[derived["second_source"], ["in_p1", "in_p2"]].any().any()


def test_the_rows_of_the_source_left_out_keep_their_places(study):
    derived = derive(sources(study, ("M2", "B"), ("M1", "B")), currency_months=24)
    assert derived["second_source"].tolist() == [True] * 3 + [False] * 3
    assert derived["mishap_file_row"].tolist() == [2] * 3 + [3] * 3


def test_the_same_day_in_another_class_or_of_unknown_class_is_another_mishap(study):
    for changes in ({"aircraft_class": "C"}, {"aircraft_class": "unknown"}, {"n_aboard": "4"}):
        rows = [
            study.mishap("M1", aircraft_class="B"),
            study.mishap("M2", **{"aircraft_class": "B"} | changes),
        ]
        if changes == {"aircraft_class": "unknown"}:
            rows[0]["aircraft_class"] = "unknown"
        records = study.records(rows, study.people("M1") + study.people("M2"))
        assert not derive(records, currency_months=24)["second_source"].any()


def test_mishaps_that_the_study_file_says_are_two_both_stay(study):
    records = sources(study, ("M1", "A"), ("M2", "B"))
    kept = derive(records, currency_months=24, population=PopulationFilter(alike_kept=True))
    assert not kept["second_source"].any()
    assert kept["in_p2"].all()
    assert studied_mishaps(records.mishap, PopulationFilter(alike_kept=True)).all()
    assert studied_mishaps(records.mishap, PopulationFilter()).tolist() == [True, False]


def test_who_has_no_outcome_neither_died_nor_lived(study):
    people = study.people("M1", {"outcome": ""}, {"days_to_death": "30"}, {"days_to_death": "31"})
    people[2]["outcome"] = "survived"
    occupant = study.records([study.mishap()], people).occupant
    assert survived(occupant).tolist() == [False, False, True]
    assert died(occupant).tolist() == [False, True, False]


def test_capsized_or_sunk_is_yes_upright_is_no_and_the_rest_is_unknown(study):
    kinds = {"capsized_afloat": "yes", "sank": "yes", "upright_afloat": "no", "partial": "unknown"}
    kinds |= {"unknown": "unknown", "": "unknown"}
    mishaps = [study.mishap(f"M{at}", immersion_type=kind) for at, kind in enumerate(kinds)]
    people = [person for at in range(len(kinds)) for person in study.people(f"M{at}")]
    derived = derive(study.records(mishaps, people), currency_months=24)
    first = derived.drop_duplicates("mishap_id")
    assert first["capsized"].tolist() == list(kinds.values())
