"""Is a cabin that does not agree with itself refused with its line and what to write, and rows alone still enough?"""

from __future__ import annotations

import pytest

from survstats.effects.cabin_layout import Layout, Zone
from survstats.groundwork.errors import StudyFileError
from survstats.records.demo import DEMO_NAMES, demo_folder
from survstats.study.cabin_plan import layouts
from survstats.study.plan import parse_plan, read_study

HEAD = """\
title = "x"
[question]
currency_months = 24
smallest_worthwhile_points = 5
"""
CABIN = """\
[cabin.twin]
rows = 5
seats = "L R"
exits = ["1L", "4R"]
zones = {front = [1, 2], rear = [3, 5]}
"""


def cabins(text: str):
    return parse_plan((HEAD + text).encode()).cabin


def test_a_whole_cabin_is_read():
    assert layouts(cabins(CABIN)) == (
        Layout("twin", 5, "L R", ((1, "L"), (4, "R")), (Zone("front", 1, 2), Zone("rear", 3, 5))),
    )


def test_zones_stand_from_the_nose_whatever_their_order_and_form():
    text = CABIN.replace("zones = {front = [1, 2], rear = [3, 5]}\n", "")
    text += "[cabin.twin.zones]\nrear = [3, 5]\nfront = [1, 2]\n"
    assert layouts(cabins(text)) == layouts(cabins(CABIN))


def test_rows_alone_are_enough_and_draw_nothing():
    plan = cabins("[cabin.twin]\nrows = 5\n")
    assert plan["twin"].rows == 5
    assert layouts(plan) == ()


@pytest.mark.parametrize("seats", ["L", "LR", "LL RR", "L CR", "LCR", "L  R"])
def test_seats_across_may_be_written_so(seats):
    (layout,) = layouts(cabins(CABIN.replace('"L R"', f'"{seats}"')))
    assert layout.seats == " ".join(seats.split())
    assert layout.sides == tuple(side for side in "LCR" if side in seats)


FAULTS = {
    "letters that are none": ('"L R"', '"A D"', 7, "bad_seats", ["'A D'", "L, C and R"]),
    "right before left": ('"L R"', '"R L"', 7, "bad_seats", ["'R L'", "from left to right"]),
    "too many abreast": ('"L R"', '"LLLL RRR"', 7, "bad_seats", ["at most 6"]),
    "seats as a number": ('"L R"', "4", 7, "string_type", ["cabin.twin.seats", "text"]),
    "no zones": ("zones =", "# zones =", 7, "no_zones", ["no zones", "front = [1, 1]"]),
    "exits without seats": ("seats =", "# seats =", 8, "no_seats", ["exits", 'seats = "L R"']),
    "no such exit": ('"4R"', '"6R"', 8, "bad_exit", ["'6R'", "5 rows", '"1L"']),
    "exit of row nought": ('"4R"', '"0R"', 8, "bad_exit", ["'0R'"]),
    "exit in the middle": ('"4R"', '"4C"', 8, "bad_exit", ["'4C'", "L or R"]),
    "exit twice": ('"4R"', '"1 L"', 8, "exit_twice", ["'1 L'"]),
    "zone backwards": ("[1, 2]", "[2, 1]", 9, "zone_backwards", ["'front'", "front = [1, 2]"]),
    "zone outside": ("[3, 5]", "[3, 6]", 9, "zone_outside", ["'rear'", "row 6", "row 5"]),
    "row in two zones": ("[3, 5]", "[2, 5]", 9, "row_twice", ["row 2", "'front'", "'rear'"]),
    "row in no zone": ("[3, 5]", "[4, 5]", 9, "row_without_zone", ["row 3"]),
    "last rows in no zone": ("[3, 5]", "[3, 4]", 9, "row_without_zone", ["row 5"]),
    "one row for a zone": ("[3, 5]", "[3]", 9, "too_short", ["cabin.twin.zones.rear", "at least 2 entries"]),
    "three rows for a zone": ("[3, 5]", "[3, 4, 5]", 9, "too_long", ["at most 2 entries"]),
    "a zone without a name": (
        "front =",
        '"" =',
        9,
        "string_too_short",
        ["the name '' in 'cabin.twin.zones'"],
    ),
    "one name twice but for a space": ("front =", '" rear" =', 9, "zone_spaced", ["' rear'", "Write 'rear'"]),
    "seats of blanks": ('"L R"', '"   "', 7, "string_too_short", ["cabin.twin.seats"]),
    "an exit alone": ('["1L", "4R"]', '"1L"', 8, "list_type", ['["1L"]']),
    "rows as text": ("[3, 5]", '["3", "5"]', 9, "int_type", ["a whole number"]),
    "row nought": ("[1, 2]", "[0, 2]", 9, "greater_than_equal", ["at least 1"]),
    "unknown key": ("exits =", "doors =", 8, "extra_forbidden", ["cabin.twin.doors", "exits"]),
}


@pytest.mark.parametrize("name", FAULTS)
def test_a_faulty_cabin_is_refused_with_its_line_and_a_remedy(name):
    old, new, line, reason, told = FAULTS[name]
    assert CABIN.count(old) == 1
    with pytest.raises(StudyFileError) as caught:
        cabins(CABIN.replace(old, new))
    fault = caught.value
    assert (fault.reason, fault.line) == (reason, line)
    assert f"line {line}" in fault.plain
    assert fault.remedy
    for part in told:
        assert part in str(fault)


def test_zones_without_seats_are_refused():
    text = CABIN.replace('seats = "L R"\nexits = ["1L", "4R"]\n', "")
    with pytest.raises(StudyFileError, match="zones are named, but not which seats"):
        cabins(text)


def test_too_many_zones_are_refused():
    zones = ", ".join(f"z{row} = [{row}, {row}]" for row in range(1, 10))
    text = CABIN.replace("rows = 5", "rows = 9").replace("front = [1, 2], rear = [3, 5]", zones)
    with pytest.raises(StudyFileError, match="9 zones are named; at most 8"):
        cabins(text)


@pytest.mark.parametrize(
    ("old", "new"),
    [("[1, 2], rear = [3, 5]", "[1, 1], rear = [2, 5]"), ('"L R"', '"LL R"'), ("rows = 5", "rows = 5 ")],
)
def test_the_layout_is_part_of_what_is_agreed(tmp_path, old, new):
    hashes = []
    for text in (CABIN, CABIN.replace(old, new)):
        (tmp_path / "study.toml").write_text(HEAD + text, encoding="utf-8")
        hashes.append(read_study(tmp_path).analysis_hash)
    assert (hashes[0] == hashes[1]) == (new == "rows = 5 ")


@pytest.mark.parametrize("name", DEMO_NAMES)
def test_every_demo_lays_out_its_three_classes(name):
    study = read_study(demo_folder(name))
    assert [(one.aircraft_class, one.rows) for one in layouts(study.plan.cabin)] == [
        ("A_twin_2c8p", 5),
        ("B_light_1c4p", 3),
        ("C_heavy_3c16p", 10),
    ]
