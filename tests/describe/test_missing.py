"""Are gaps counted cell by cell, and never for people the study is not about?"""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from survstats.describe.missing import Known, complete, known_of, lacking, missing_by_outcome, worst_first
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
    """What is known of a person, read off the texts as a person would; None where there is nothing to know."""

    def has(name, row=person):
        return row[name] not in ("", "unknown", "na")

    stayed = person["egress_outcome"] == "not_egressed"
    if person["outcome"] != "survived" and person["rescued_inside"] != "yes":
        stayed |= person["alive_at_immersion"] == "no"
        stayed |= person["body_location"] == "inside" and person["re_entered"] == "no"
    died = person["outcome"] != "survived"
    return {
        "trained_status": status != "unknown",
        "training_papers": person["training_evidence"] in ("certificate", "roster") and status != "unknown",
        "alive_at_immersion": has("alive_at_immersion"),
        "impact_survivability": has("impact_survivability", home),
        "seat_place": has("seat_row") and has("seat_side"),
        "time_out": None if stayed else has("egress_lo_s") and has("egress_hi_s"),
        "exit_used": None if stayed else has("exit_used"),
        "cause_of_death": has("cause_of_death") and person["cause_of_death"] != "undetermined"
        if died
        else None,
        "role": has("role"),
        "sig_wave_height_m": has("sig_wave_height_m", home),
        "light": has("light", home),
    }


def test_what_is_known_of_each_person_the_slow_way(demo):
    records, derived = demo
    found = known_of(records, derived, COVARIATES)
    mishaps = {row["mishap_id"]: row for row in records.raw["mishap"].to_dict("records")}
    people = records.raw["occupant"].to_dict("records")
    for at, person in enumerate(people):
        slow = answers(person, mishaps[person["mishap_id"]], derived["trained_status"].iat[at])
        for name, value in slow.items():
            assert found.applies[name].iat[at] == (value is not None), (at, name, person)
            if value is not None:
                assert found.known[name].iat[at] == value, (at, name, person)
    assert found.known["era"].all()
    assert not found.known["exit_used"].any()  # never asked in the invented studies
    assert "exit_place" not in found.known  # far_seat asks that
    assert "exit_place" in known_of(records, derived, ("role",)).known


def test_not_applicable_is_no_answer_but_where_there_can_be_nothing_to_know(demo):
    records, derived = demo
    fields = [
        "alive_at_immersion",
        "seat_row",
        "seat_side",
        "exit_used",
        "egress_lo_s",
        "egress_hi_s",
        "harness",
    ]
    raw = {**records.raw, "occupant": records.raw["occupant"].assign(**dict.fromkeys(fields, "na"))}
    gone = dict.fromkeys(["seat_row", "egress_lo_s", "egress_hi_s"], np.nan)
    texts = dict.fromkeys(["alive_at_immersion", "seat_side", "exit_used", "harness"], "na")
    role = np.where(np.arange(len(derived)) % 7 == 0, "technical_crew", "passenger")
    changed = derived.assign(**gone, **texts, role=role)
    found = known_of(replace(records, raw=raw), changed, ("harness", "role"))
    standing = role == "technical_crew"
    for name in ("alive_at_immersion", "seat_place", "exit_used", "time_out", "harness"):
        assert not found.known[name].any(), name
        assert found.applies.loc[~standing & derived["survived"].eq(1).to_numpy(), name].all(), name
    assert found.applies["alive_at_immersion"].all()
    for name in ("seat_place", "harness"):
        assert not found.applies.loc[standing, name].any(), name


def test_everything_the_comparison_needs_by_hand(demo):
    records, derived = demo
    whole = complete(known_of(records, derived, ("role", "light")), derived, ("role", "light"))
    mishaps = {row["mishap_id"]: row for row in records.raw["mishap"].to_dict("records")}
    for at, person in enumerate(records.raw["occupant"].to_dict("records")):
        home = mishaps[person["mishap_id"]]
        cells = [home["impact_survivability"], home["light"], person["role"]]
        if person["outcome"] != "survived":
            cells.append(person["alive_at_immersion"])
        known = not {"", "unknown"} & set(cells) and derived["trained_status"].iat[at] != "unknown"
        assert whole[at] == known, (person, home)


bits = st.lists(st.lists(st.booleans(), min_size=4, max_size=4), min_size=1, max_size=40)


@settings(max_examples=80, deadline=None, derandomize=True, database=None)
@given(bits, bits, st.integers(0, 2**32 - 1), st.integers(1, 4))
def test_order_and_combinations_of_any_gaps(rows, concerned, seed, most):
    columns = list("abcd")
    known = pd.DataFrame(rows, columns=columns)
    applies = pd.DataFrame([concerned[at % len(concerned)] for at in range(len(rows))], columns=columns)
    lived = np.random.default_rng(seed).random(len(rows)) < 0.5
    order = worst_first(Known(known, applies), lived, most=most)
    assert len(order) == most == len(set(order))

    def share(name, group):
        asked = known.loc[group & applies[name].to_numpy(), name]
        return asked.mean() if len(asked) else None

    def difference(name):
        dead, alive = share(name, ~lived), share(name, lived)
        return 0.0 if dead is None or alive is None else alive - dead

    def gap(name):
        return max(
            (1 - known for group in (lived, ~lived) if (known := share(name, group)) is not None), default=0
        )

    differences = [difference(name) for name in order]
    assert differences == pytest.approx(sorted(differences, reverse=True))
    dropped = [gap(name) for name in columns if name not in order]
    assert max(dropped, default=0) <= min(gap(name) for name in order) + 1e-12
    slow = [
        " ".join(name for name in columns if asked[name] and not row[name])
        for (_, row), (_, asked) in zip(known.iterrows(), applies.iterrows(), strict=True)
    ]
    assert lacking(Known(known, applies), columns).tolist() == slow


def test_the_largest_gap_between_the_dead_and_the_living_comes_first():
    known = pd.DataFrame({"even": [1, 0, 1, 0], "none": [0] * 4, "worst": [0, 0, 1, 1], "all": [1] * 4}) == 1
    lived = np.array([False, False, True, True])
    asked = known | True
    assert worst_first(Known(known, asked), lived, most=4) == ["worst", "none", "even", "all"]
    assert worst_first(Known(known, asked), lived, most=2) == ["worst", "none"]
    of_dead = asked.assign(worst=~lived)  # nobody asks it of survivors: there is no difference
    assert worst_first(Known(known, of_dead), lived, most=4)[:2] == ["none", "worst"]
