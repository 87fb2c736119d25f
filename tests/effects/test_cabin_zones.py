"""Does the map count everybody once, allow for mishaps, and draw small places towards their class as the rule says?"""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from cabin_world import BENCH, TWIN, seated

from survstats.effects.cabin_layout import Layout, Zone, places
from survstats.effects.cabin_zones import cabin_zones, spread_beyond_chance
from survstats.effects.exact_table import clopper_pearson

NAMES = {"outcome": "out", "cluster": "mishap"}


def near(value, rel=1e-10):
    return pytest.approx(value, rel=rel, abs=1e-12)


@pytest.fixture(scope="module")
def two_classes():
    return seated(12, np.random.default_rng(5), spread=0.15, shared=0.1, layouts=(TWIN, BENCH))[0]


def of(found, zone, side, kind="twin"):
    return next(
        cell for cell in found.cells if (cell.aircraft_class, cell.zone, cell.side) == (kind, zone, side)
    )


def test_everybody_stands_in_one_group_and_each_place_is_as_counted(two_classes):
    frame = pd.concat(
        [
            two_classes,
            pd.DataFrame(
                [
                    ("twin", "000", np.nan, "L", 1.0),
                    ("twin", "000", 2, "unknown", 1.0),
                    ("twin", "000", 2, None, 1.0),
                    ("twin", "001", 7, "L", 1.0),
                    ("twin", "001", 0, "L", 1.0),
                    ("twin", "001", 2, "C", 1.0),
                    ("other", "099", 1, "L", 1.0),
                    (None, "099", 1, "L", 1.0),
                    ("twin", "002", 1, "L", np.nan),
                ],
                columns=two_classes.columns,
            ),
        ],
        ignore_index=True,
    )
    found = cabin_zones(frame, (TWIN, BENCH), **NAMES)
    groups = [found.placed, found.seat_unknown, found.outside, found.no_layout, found.fate_unknown]
    assert (np.sum(groups, axis=0) == 1).all()
    assert [group.sum() for group in groups] == [len(two_classes), 3, 3, 2, 1]
    assert sum(cell.occupants for cell in found.cells) == len(two_classes)
    for layout in (TWIN, BENCH):
        for zone in layout.zones:
            for side in layout.sides:
                there = two_classes[
                    (two_classes["aircraft_class"] == layout.aircraft_class)
                    & two_classes["seat_row"].between(zone.first, zone.last)
                    & (two_classes["seat_side"] == side)
                ]
                cell = of(found, zone.name, side, layout.aircraft_class)
                assert (cell.occupants, cell.out) == (len(there), there["out"].sum())
                assert cell.mishaps == there["mishap"].nunique()
    assert [(one.occupants, one.out) for one in found.classes] == [
        (len(part), part["out"].sum()) for _, part in two_classes.groupby("aircraft_class", sort=False)
    ]


def test_seats_of_one_side_are_one_place_whatever_their_number_abreast():
    assert BENCH.sides == ("L", "C", "R")
    frame = pd.DataFrame(
        {"aircraft_class": "bench", "seat_row": [1, 1, 2, 3], "seat_side": ["L", "C", "L", "R"]}
    )
    place, gone = places(frame, (TWIN, BENCH))
    assert list(place - 6) == [0, 1, 3, 5]
    assert not any(mask.any() for mask in gone.values())


def slow(frame, rows):
    """A share, and with each mishap of its people left out."""
    people = frame[rows]
    return people["out"].mean(), {
        g: people.loc[people["mishap"] != g, "out"].mean() for g in people["mishap"].unique()
    }


def spread_of(share, without):
    """Jackknife error on the logit, or on the share where a logit has no end."""
    values = np.array([share, *without.values()])
    if values[1:].min() > 0 and values[1:].max() < 1:
        values = np.log(values / (1 - values))
    return math.sqrt((len(without) - 1) / len(without) * np.sum((values[1:] - values[0]) ** 2))


def test_errors_and_shrinkage_are_those_of_a_slow_road(two_classes):
    frame = two_classes
    found = cabin_zones(frame, (TWIN, BENCH), **NAMES)
    errors, deviations = [], []
    for cell in found.cells:
        rows, of_class = cell.rows, frame["aircraft_class"].eq(cell.aircraft_class).to_numpy()
        share, without = slow(frame, rows)
        whole, whole_without = slow(frame, of_class)
        g = len(whole_without)
        moved = [without.get(name, share) - whole_without[name] for name in whole_without]
        jackknife = math.sqrt((g - 1) / g * sum((one - (share - whole)) ** 2 for one in moved))
        errors.append(max(jackknife, math.sqrt(whole * (1 - whole) / rows.sum())))
        deviations.append(share - whole)
        assert cell.share.value == near(share)
        assert cell.deviation == near(share - whole)
        assert cell.deviation_se == near(errors[-1])
        assert cell.share.se == near(spread_of(share, without))
        assert cell.share.df == len(without) - 1
    people = np.array([cell.occupants for cell in found.cells])
    excess = np.array(deviations) ** 2 - np.array(errors) ** 2
    spread = max(0.0, float(people @ excess / people.sum()))
    assert spread > 0
    assert found.spread == near(spread)
    shares = {one.layout.aircraft_class: one.share.value for one in found.classes}
    for cell, error, deviation in zip(found.cells, errors, deviations, strict=True):
        wanted = shares[cell.aircraft_class] + spread / (spread + error**2) * deviation
        assert cell.shrunken == near(wanted)
        assert abs(cell.shrunken - shares[cell.aircraft_class]) < abs(deviation)


def test_where_places_do_not_differ_each_is_its_class():
    frame, _ = seated(20, np.random.default_rng(2), spread=0.0, shared=0.25)
    found = cabin_zones(frame, (TWIN,), **NAMES)
    assert found.spread == 0
    assert {cell.shrunken for cell in found.cells} == {found.classes[0].share.value}


def test_a_place_from_which_everybody_got_out_is_not_certain():
    frame, _ = seated(12, np.random.default_rng(3), spread=0.1)
    front = (frame["seat_row"] <= 2) & (frame["seat_side"] == "L")
    found = cabin_zones(frame.assign(out=frame["out"].where(~front, 1.0)), (TWIN,), **NAMES)
    cell = of(found, "front", "L")
    assert cell.share.value == 1
    assert (cell.share.low, cell.share.high) == clopper_pearson(cell.out, cell.occupants)
    whole = found.classes[0].share.value
    assert cell.deviation_se >= math.sqrt(whole * (1 - whole) / cell.occupants)
    assert whole < cell.shrunken < 1


def test_where_all_who_stayed_inside_come_from_one_mishap_the_limits_still_allow_for_it():
    frame, _ = seated(10, np.random.default_rng(4), filled=1.0)
    left = frame["seat_side"] == "L"
    frame["out"] = (~(left & frame["mishap"].eq("003"))).astype(float)
    cell = of(cabin_zones(frame, (TWIN,), **NAMES), "front", "L")
    assert (cell.out, cell.occupants) == (18, 20)
    assert cell.share.scale == "identity"
    assert cell.share.se == near(math.sqrt(9 / 10 * (0.1**2 + 9 * (16 / 18 - 0.9) ** 2)))
    assert cell.share.low == near(
        min(0.9 - 2.2621571627 * cell.share.se, clopper_pearson(18, 20)[0]), rel=1e-8
    )


def test_limits_are_never_narrower_than_those_of_independent_people(two_classes):
    for cell in cabin_zones(two_classes, (TWIN, BENCH), **NAMES).cells:
        low, high = clopper_pearson(cell.out, cell.occupants)
        assert cell.share.low <= low
        assert cell.share.high >= high


def test_people_of_one_mishap_who_share_a_fate_widen_the_limits():
    frame, _ = seated(15, np.random.default_rng(8), shared=0.6)
    cells = cabin_zones(frame, (TWIN,), **NAMES).cells
    alone = cabin_zones(
        frame.assign(mishap=[f"{at:04d}" for at in range(len(frame))]), (TWIN,), **NAMES
    ).cells
    together = np.mean([one.share.high - one.share.low for one in cells])
    assert together > 1.1 * np.mean([one.share.high - one.share.low for one in alone])


@pytest.mark.parametrize(("people", "told"), [(4, False), (5, True)])
def test_fewer_than_five_people_have_no_share(people, told):
    frame, _ = seated(12, np.random.default_rng(1), filled=1.0)
    place = ((frame["seat_row"] >= 5) & (frame["seat_side"] == "R")).to_numpy()
    keep = ~place
    keep[np.flatnonzero(place)[:people]] = True
    cell = of(cabin_zones(frame[keep].reset_index(drop=True), (TWIN,), **NAMES), "rear", "R")
    assert (cell.occupants, cell.share is not None) == (people, told)
    assert math.isfinite(cell.shrunken) == told


@pytest.mark.parametrize(("mishaps", "told"), [(1, False), (2, True)])
def test_one_mishap_alone_has_no_share(mishaps, told):
    frame, _ = seated(12, np.random.default_rng(1), filled=1.0)
    rear = (frame["seat_row"] >= 5) & (frame["seat_side"] == "R")
    more = pd.concat([frame[rear & frame["mishap"].eq(f"{g:03d}")] for g in range(mishaps)] * 5)
    frame = pd.concat([frame[~rear], more], ignore_index=True)
    assert (of(cabin_zones(frame, (TWIN,), **NAMES), "rear", "R").share is not None) == told


@pytest.mark.parametrize(("mishaps", "told"), [(4, False), (5, True)])
def test_a_class_from_too_few_mishaps_has_counts_alone(mishaps, told):
    frame, _ = seated(mishaps, np.random.default_rng(1), filled=1.0)
    found = cabin_zones(frame, (TWIN,), **NAMES)
    assert (found.classes[0].share is not None) == told
    assert [cell.share is not None for cell in found.cells] == [told] * 6
    assert sum(cell.out for cell in found.cells) == frame["out"].sum()
    if not told:
        assert found.spread == 0


def test_an_empty_place_and_nobody_at_all_are_told_as_such():
    frame, _ = seated(6, np.random.default_rng(1))
    found = cabin_zones(frame[frame["seat_row"] <= 4], (TWIN,), **NAMES)
    assert of(found, "rear", "L").occupants == 0
    assert of(found, "rear", "L").share is None
    nobody = cabin_zones(frame.iloc[:0], (TWIN,), **NAMES)
    assert [cell.occupants for cell in nobody.cells] == [0] * 6
    assert nobody.classes[0].share is None
    assert spread_beyond_chance(nobody.cells) == 0


def test_order_of_rows_and_names_of_zones_move_nothing(two_classes):
    found = cabin_zones(two_classes, (TWIN, BENCH), **NAMES)
    shuffled = two_classes.sample(frac=1, random_state=4).reset_index(drop=True)
    again = cabin_zones(shuffled, (TWIN, BENCH), **NAMES)
    for one, other in zip(found.cells, again.cells, strict=True):
        assert (one.out, one.occupants) == (other.out, other.occupants)
        assert (one.shrunken, one.deviation_se) == (near(other.shrunken), near(other.deviation_se))
    named = Layout(
        "twin", 6, "L R", (), tuple(Zone(f"z{at}", z.first, z.last) for at, z in enumerate(TWIN.zones))
    )
    renamed = cabin_zones(two_classes, (named, BENCH), **NAMES)
    assert [cell.shrunken for cell in renamed.cells] == [cell.shrunken for cell in found.cells]


@pytest.mark.slow
def test_limits_cover_and_shrunken_shares_lie_nearer_than_counted_ones():
    """240 invented studies of 40 mishaps: places spread by 10 points, mishaps by 20."""
    rng, covered, raw, drawn = np.random.default_rng(20261126), [], [], []
    for _ in range(240):
        frame, chance = seated(40, rng, spread=0.1, shared=0.2, filled=0.35)
        found = cabin_zones(frame, (TWIN,), **NAMES)
        draws = np.random.default_rng(0).standard_normal(4000) * 0.2
        truth = [np.clip(one + draws, 0, 1).mean() for one in chance]
        for cell, true in zip(found.cells, truth, strict=True):
            covered.append(cell.share.low <= true <= cell.share.high)
            raw.append(cell.share.value - true)
            drawn.append(cell.shrunken - true)
    assert 0.93 <= np.mean(covered) <= 0.99
    assert np.mean(np.square(drawn)) < 0.97 * np.mean(np.square(raw))
