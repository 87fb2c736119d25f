"""Is a covariate that training itself moves refused, and is every allowed one a field that exists?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from survstats.effects.causal_graph import adjustment_set, node_of
from survstats.effects.question import (
    AFTER_TRAINING,
    ASKED_GROUPS,
    COVARIATES,
    Estimand,
    for_passengers_only,
    groups_adjusted,
    refuse_bad_covariates,
    refuse_bad_modifiers,
)
from survstats.groundwork.errors import StudyFileError
from survstats.records.codebook import load_codebook
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.study.plan import read_study
from survstats.study.steps import read_records


@pytest.mark.parametrize("name", sorted(AFTER_TRAINING))
def test_what_follows_training_is_refused_with_the_reason(name):
    with pytest.raises(StudyFileError) as caught:
        refuse_bad_covariates(("role", name))
    assert caught.value.reason == "forbidden_covariate"
    assert AFTER_TRAINING[name] in str(caught.value)


@pytest.mark.parametrize(
    "name",
    # what the design forbids for the total effect
    [
        "egress_hi_s",
        "exit_used",
        "ebs_used",
        "brace_adopted",
        "injury_class_icao",
        "raft_boarded",
        "t_rescue_min",
        "body_location",
        "cause_of_death",
    ],
)
def test_the_mediators_of_the_design_are_among_them(name):
    assert name in AFTER_TRAINING
    assert name not in COVARIATES


def test_an_unknown_field_is_refused_with_what_may_be_used():
    with pytest.raises(StudyFileError, match="no field") as caught:
        refuse_bad_covariates(("shoe_size",))
    assert caught.value.reason == "unknown_covariate"


#: Made by the records floor from other fields; a test holds the list against what it makes.
DERIVED = [
    "file_row",
    "mishap_file_row",
    "trained_status",
    "trained",
    "documented",
    "months_since",
    "recency_ambiguous",
    "order_ambiguous",
    "survived",
    "died_on_impact",
    "out",
    "era",
    "left_out",
    "is_passenger",
    "second_source",
    "in_p1",
    "in_p2",
    "far_seat",
    "cold",
    "capsized",
    "coverage_others",
    "n_rows",
]


def every_field():
    """All fields of the mishap and occupant tables, and those derived from them."""
    book = [field.name for table in ("mishap", "occupant") for field in load_codebook().table(table)]
    return sorted({*book, *DERIVED})


@pytest.mark.parametrize("name", every_field())
def test_every_field_is_allowed_or_refused_with_a_reason(name):
    if name in COVARIATES:
        refuse_bad_covariates((name,))
        return
    with pytest.raises(StudyFileError) as caught:
        refuse_bad_covariates((name,))
    before = {"forbidden_covariate": "cannot be adjusted for: ", "unknown_covariate": "adjusted for: "}
    _, reason = caught.value.plain.split(before[caught.value.reason])
    assert len(reason) > 10


def test_the_derived_fields_are_all_named():
    records = read_records(read_study(demo_folder("demo_small")))
    assert set(derive(records, currency_months=24).columns) <= set(every_field())


def test_egress_time_as_a_covariate_is_refused():
    with pytest.raises(StudyFileError, match="time out lies between training and survival"):
        refuse_bad_covariates(("role", "egress_lo_s"))


def test_what_may_be_adjusted_for_is_what_the_graph_asks_for():
    asked = adjustment_set("P1", passengers_only=True)
    nodes = {}
    for field, group in COVARIATES.items():
        nodes.setdefault(group, set()).add(node_of(field))
    assert all(len(found) == 1 for found in nodes.values())
    assert {node for found in nodes.values() for node in found} == set(asked)
    assert set(nodes) == set(ASKED_GROUPS)


# -- the question --------------------------------------------------------------------------------------------------


def test_equal_questions_have_one_code_and_others_another():
    plain = Estimand("P1", passengers_only=False, target="all", currency_months=24)
    assert plain.code == "p1 all_roles current_against_never all people 24_months"
    changes = [
        {"population": "P2"},
        {"passengers_only": True},
        {"target": "untrained"},
        {"weighting": "mishaps"},
        {"currency_months": 24.5},
    ]
    codes = {replace(plain, **change).code for change in changes}
    assert len(codes | {plain.code}) == 6
    assert replace(plain, currency_months=24.0).code == plain.code


def test_the_parts_are_codes_of_the_catalogue():
    asked = Estimand("P2", passengers_only=True, target="trained", currency_months=12, weighting="mishaps")
    assert asked.parts == (
        "population.p2",
        "who.passengers",
        "contrast.current_against_never",
        "target.trained",
        "weighting.mishaps",
    )


# -- modifiers -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "names", [(), ("capsized", "far_seat", "cold_water", "role"), ("sex", "operator_code")]
)
def test_levels_known_before_or_told_by_the_mishap_are_taken(names):
    refuse_bad_modifiers(names, ("role",))


@pytest.mark.parametrize(
    ("names", "reason", "told"),
    [
        (("capsized", "far_seat", "cold_water", "role", "sex"), "too_many_modifiers", "5 modifiers"),
        (("role", "role"), "modifier_twice", "twice"),
        (("egress_outcome",), "forbidden_modifier", "getting out lies between training and survival"),
        (("trained_status",), "forbidden_modifier", "the question itself"),
        (("sig_wave_height_m",), "modifier_not_in_levels", "is a number"),
        (("impact_severity",), "modifier_not_in_levels", "is a number"),
        (("coder_id",), "unknown_modifier", "how the record was made"),
        (("shoe_size",), "unknown_modifier", "no field"),
    ],
)
def test_other_modifiers_are_refused_with_the_reason(names, reason, told):
    with pytest.raises(StudyFileError) as caught:
        refuse_bad_modifiers(names, ("light", "sig_wave_height_m"))
    assert caught.value.reason == reason
    assert told in caught.value.plain
    if reason == "unknown_modifier":
        assert "Use any of: light, capsized" in caught.value.remedy


def test_what_flight_crew_move_is_compared_among_passengers():
    assert for_passengers_only("capsized")
    assert for_passengers_only("event_type")
    assert not for_passengers_only("far_seat")
    assert not for_passengers_only("cold_water")


def test_groups_used_and_left_out_make_all_that_is_asked_for():
    used, left = groups_adjusted(("role", "far_seat", "seat_side"))
    assert used == ("role", "seat")
    assert sorted(used + left) == sorted(ASKED_GROUPS)
