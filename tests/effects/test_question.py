"""Is a covariate that training itself moves refused, and is every allowed one a field that exists?"""

from __future__ import annotations

import pytest

from survstats.effects.question import (
    AFTER_TRAINING,
    ASKED_GROUPS,
    COVARIATES,
    groups_adjusted,
    refuse_bad_covariates,
)
from survstats.groundwork.errors import StudyFileError
from survstats.records.codebook import load_codebook

#: Made by the records floor from other fields.
DERIVED = {"era", "far_seat", "months_since"}


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


def test_every_name_is_a_field_of_the_codebook_or_derived():
    fields = {field.name for table in ("mishap", "occupant") for field in load_codebook().table(table)}
    assert set(COVARIATES) - fields - DERIVED == set()
    assert set(AFTER_TRAINING) - fields - DERIVED == set()
    assert set(COVARIATES.values()) == set(ASKED_GROUPS)


def test_groups_used_and_left_out_make_all_that_is_asked_for():
    used, left = groups_adjusted(("role", "far_seat", "seat_side"))
    assert used == ("role", "seat")
    assert sorted(used + left) == sorted(ASKED_GROUPS)
