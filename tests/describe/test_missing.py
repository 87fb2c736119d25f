"""Are gaps counted cell by cell, and never for people the study is not about?"""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.describe.missing import known_of, lacking, missing_by_outcome, worst_first
from survstats.records.demo import demo_folder
from survstats.records.deriving import derive
from survstats.records.loading import read_records

COVARIATES = ("role", "operator_code", "far_seat", "sig_wave_height_m", "water_temp_c", "light", "era")


@pytest.fixture(scope="module", params=["demo_small", "demo_main"])
def demo(request):
    folder = demo_folder(request.param)  # demo_main holds a mishap from a second source
    records = read_records(folder / "mishap.csv", folder / "occupant.csv")
    return records, derive(records, currency_months=24)


def test_every_cell_counted_the_slow_way(demo):
    records, derived = demo
    table = missing_by_outcome(records, derived).set_index(["table", "field"])
    mishaps = {row["mishap_id"]: row for row in records.raw["mishap"].to_dict("records")}
    rows = zip(records.raw["occupant"].to_dict("records"), derived["survived"], derived["in_p2"], strict=True)
    people = [(person, alive) for person, alive, inside in rows if inside]
    for (name, field), row in table.iterrows():
        for token, text in (("empty", ""), ("unknown", "unknown"), ("na", "na")):
            for fate, lived in (("died", 0), ("survived", 1)):
                slow = sum(
                    (mishaps[person["mishap_id"]] if name == "mishap" else person)[field] == text
                    for person, alive in people
                    if alive == lived
                )
                assert row[f"{token}_{fate}"] == slow, (name, field, token, fate)
    assert table.loc[("occupant", "training_ever"), "unknown_died"] > 0
    assert (table["died"] + table["survived"] == derived["in_p2"].sum()).all()


def answers(person, home, status):
    """What is known of a person, read off the texts as a person would."""

    def has(name, row=person):
        return row[name] not in ("", "unknown")

    out = person["egress_outcome"] != "not_egressed"
    return {
        "trained_status": status != "unknown",
        "training_papers": person["training_evidence"] in ("certificate", "roster") and status != "unknown",
        "alive_at_immersion": has("alive_at_immersion"),
        "seat_place": has("seat_row") and has("seat_side"),
        "time_out": not out or (has("egress_lo_s") and has("egress_hi_s")),
        "cause_of_death": person["outcome"] == "survived"
        or person["cause_of_death"] not in ("", "unknown", "undetermined"),
        "role": has("role"),
        "sig_wave_height_m": has("sig_wave_height_m", home),
        "light": has("light", home),
    }


def test_what_is_known_of_each_person_the_slow_way(demo):
    records, derived = demo
    known = known_of(records, derived, COVARIATES)
    mishaps = {row["mishap_id"]: row for row in records.raw["mishap"].to_dict("records")}
    people = records.raw["occupant"].to_dict("records")
    for at, person in enumerate(people):
        slow = answers(person, mishaps[person["mishap_id"]], derived["trained_status"].iat[at])
        for name, value in slow.items():
            assert known[name].iat[at] == value, (at, name, person)
    assert known["era"].all()
    assert not known["exit_used"].any()  # never asked in the invented studies
    assert "exit_place" not in known  # far_seat asks that
    assert "exit_place" in known_of(records, derived, ("role",))


bits = st.lists(st.lists(st.booleans(), min_size=4, max_size=4), min_size=1, max_size=40)


@settings(max_examples=80, deadline=None, derandomize=True, database=None)
@given(bits, st.integers(0, 2**32 - 1), st.integers(1, 4))
def test_order_and_combinations_of_any_gaps(rows, seed, most):
    known = pd.DataFrame(rows, columns=list("abcd"))
    lived = np.random.default_rng(seed).random(len(rows)) < 0.5
    order = worst_first(known, lived, most=most)
    assert len(order) == most == len(set(order))
    dead = known[~lived].mean() if (~lived).any() else pd.Series(1.0, index=known.columns)
    alive = known[lived].mean() if lived.any() else pd.Series(1.0, index=known.columns)
    differences = [alive[name] - dead[name] for name in order]
    assert differences == sorted(differences, reverse=True)
    gaps = {name: max(1 - alive[name], 1 - dead[name]) for name in known}
    dropped = [gaps[name] for name in known if name not in order]
    assert max(dropped, default=0) <= min(gaps[name] for name in order)
    slow = [" ".join(name for name in known if not row[name]) for _, row in known.iterrows()]
    assert lacking(known).tolist() == slow


def test_the_largest_gap_between_the_dead_and_the_living_comes_first():
    known = pd.DataFrame({"even": [1, 0, 1, 0], "none": [0] * 4, "worst": [0, 0, 1, 1], "all": [1] * 4}) == 1
    lived = np.array([False, False, True, True])
    assert worst_first(known, lived, most=4) == ["worst", "none", "even", "all"]
    assert worst_first(known, lived, most=2) == ["worst", "none"]
    assert worst_first(known, lived, most=4, asked_of_dead=["worst"])[0] == "none"
