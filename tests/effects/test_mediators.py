"""Is the pair of fits asked for exactly where seats or breathing sets may follow from training?"""

from __future__ import annotations

import pandas as pd
import pytest

from survstats.effects.mediators import mediators, moved_by_training


def aboard(*mishaps):
    """Two people for each (seat_choice, sets regardless of training, anybody had a set)."""
    rows = [
        (f"m{at}", choice, rule, had if person == 0 else "no")
        for at, (choice, rule, had) in enumerate(mishaps)
        for person in range(2)
    ]
    columns = ["mishap_id", "seat_choice", "ebs_issued_regardless_of_training", "ebs_issued"]
    return pd.DataFrame(rows, columns=columns)


def test_assigned_seats_and_sets_for_all_need_no_pair():
    assert mediators(aboard(("assigned", "yes", "yes"), ("assigned", "unknown", "no"))) == ()


def test_free_seats_are_counted():
    (seat,) = mediators(aboard(("free", "yes", "yes"), ("assigned", "yes", "yes"), ("free", "yes", "no")))
    assert (seat.node, seat.why, seat.people, seat.mishaps, seat.unknown_people) == (
        "SEAT",
        "free_seats",
        4,
        2,
        0,
    )
    assert "far_seat" in seat.fields
    assert "suit_worn" not in seat.fields


def test_sets_for_the_trained_alone_are_counted():
    (equipment,) = mediators(aboard(("assigned", "no", "yes"), ("assigned", "yes", "yes")))
    assert (equipment.node, equipment.why) == ("PPE", "sets_for_trained")
    assert (equipment.fields, equipment.people, equipment.mishaps) == (("ebs_issued",), 2, 1)


@pytest.mark.parametrize("nothing", ["unknown", None])
def test_unknown_is_not_no(nothing):
    seat, equipment = mediators(aboard((nothing, nothing, "yes"), (nothing, nothing, "no")))
    assert (seat.people, seat.unknown_people) == (0, 4)
    assert (equipment.people, equipment.unknown_people) == (0, 2)  # in the second mishap nobody had a set


def test_a_seat_as_modifier_is_moved_by_training_where_seats_were_or_may_have_been_free():
    free = aboard(("free", "yes", "yes"), ("assigned", "yes", "yes"))
    assert moved_by_training(free, "far_seat").people == 2
    assert moved_by_training(free, "seats_to_exit").why == "free_seats"
    assert moved_by_training(free, "ebs_issued") is None
    assigned = aboard(("assigned", "no", "yes"), ("assigned", "yes", "yes"))
    assert moved_by_training(assigned, "far_seat") is None
    assert moved_by_training(assigned, "ebs_issued").why == "sets_for_trained"
    assert moved_by_training(assigned, "suit_worn") is None
    for frame in (free, assigned):
        assert moved_by_training(frame, "role") is moved_by_training(frame, "capsized") is None


def test_without_any_word_on_seats_a_seat_may_have_been_moved():
    unsaid = moved_by_training(aboard(("free", "yes", "yes")).drop(columns="seat_choice"), "far_seat")
    assert (unsaid.people, unsaid.unknown_people) == (0, 2)
