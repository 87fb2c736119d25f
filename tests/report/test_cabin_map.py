"""Does the cabin map stand clear, fill seats as far as the share and hatch the unseen, and does the annex say so?"""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from samples import t
from test_figures import collisions

from survstats.report.annex.cabin import cabin, cabin_picture
from survstats.report.cabin import SEAT
from survstats.report.cabin_floor import floor_of
from survstats.report.cabin_map import NARROW, WIDE, CabinMapFigure, MapCabin, MapCell
from survstats.report.cabin_map_figure import draw_cabin_map, figure_rows, map_letters
from survstats.report.content import plain
from survstats.report.wording import Wording, facts_of
from survstats.study.results import MASKED, Number, StudyResults, Table

SIDES = {"L": "left", "C": "centre", "R": "right"}


def one_cabin(seats="L R", zones=((1, 1), (2, 3), (4, 5)), exits=((1, "L"),), share=0.7, name="A twin"):
    """An invented cabin: every third place is hatched."""
    cells = []
    for at, (first, last) in enumerate(zones):
        for side in dict.fromkeys(seats.replace(" ", "")):
            thin = len(cells) % 3 == 2
            cells.append(
                MapCell(
                    side=side,
                    zone=f"zone {at}",
                    first=first,
                    last=last,
                    people=3 if thin else 34,
                    out=None if thin else 21,
                    share=None if thin else share,
                    name_text=t(f"zone {at}, {SIDES[side]}"),
                    count_text=t("3 people" if thin else "21 of 34 out"),
                    share_text=() if thin else t(f"{100 * share:.0f} %"),
                )
            )
    return MapCabin(t(name), t("142 of 206 got out"), seats, zones[-1][1], tuple(exits), tuple(cells))


def drawn_map(*cabins: MapCabin) -> CabinMapFigure:
    return CabinMapFigure(
        cabins=cabins,
        title=t("The cabin by zone and side"),
        key_filled=t("filled, and per cent: shrunken share who got out"),
        key_hatched=t("fewer than 5 people, or too few mishaps"),
        key_exit=t("exit"),
        alt=t("A cabin for each class."),
    )


LONG = tuple((row, row + 1) for row in range(1, 16, 2))
FIGURES = [
    drawn_map(one_cabin()),
    drawn_map(one_cabin("LL RR"), one_cabin("L", ((1, 3),)), one_cabin("L CR", ((1, 4), (5, 10)))),
    drawn_map(one_cabin("LLL RRR", LONG), one_cabin("LCR", LONG)),
    drawn_map(one_cabin(zones=((1, 1),))),
    drawn_map(one_cabin("L CR", ((1, 1), (2, 2), (3, 3), (4, 4)))),
    drawn_map(*(one_cabin(name=f"class {at} with a rather long name of its own") for at in range(5))),
    drawn_map(one_cabin("R", ((1, 2), (3, 3)))),
    drawn_map(one_cabin(name="M" * 60), one_cabin("LLL RRR", ((1, 40),))),
]
_UNBROKEN = replace(FIGURES[3].cabins[0].cells[0], name_text=t("m" * 24 + ", left"))
FIGURES.append(drawn_map(replace(FIGURES[3].cabins[0], cells=(_UNBROKEN,))))


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("case", range(len(FIGURES)))
def test_letters_stand_clear(case, narrow):
    letters, height = map_letters(FIGURES[case], narrow=narrow)
    assert not collisions(letters, NARROW if narrow else WIDE, height)
    assert min(line.size for line in letters) >= 8.5


def filled(svg: str) -> float:
    """How many seats' length is filled, the seat of the key left out."""
    colour = re.search(r'<tspan|fill="(#12505e)"', svg)
    assert colour
    heights = [float(one) for one in re.findall(r'<rect[^>]*?height="([\d.]+)"[^>]*?fill="#12505e"', svg)]
    return sum(heights) / SEAT - 0.6


@pytest.mark.parametrize("share", [0.0, 0.04, 0.5, 0.76, 1.0])
@pytest.mark.parametrize("seats", ["L R", "LL RR"])
def test_seats_are_filled_as_far_as_the_share(seats, share):
    figure = drawn_map(one_cabin(seats, share=share))
    places = [cell for cell in figure.cabins[0].cells if cell.share is not None]
    wide = len(seats.replace(" ", "")) // 2
    wanted = sum(share * wide * (cell.last - cell.first + 1) for cell in places)
    for narrow in (False, True):
        assert filled(draw_cabin_map(figure, narrow=narrow)) == pytest.approx(wanted, abs=0.02)


def test_a_place_is_hatched_and_has_no_seats_exactly_where_it_has_no_share():
    figure = drawn_map(one_cabin())
    cells = figure.cabins[0].cells
    svg = draw_cabin_map(figure)
    hatched = len(re.findall(r'<path d="M[^"]*" stroke="#12505e" stroke-width="0.6"', svg))
    assert hatched == 1 + sum(cell.share is None for cell in cells)
    frames = len(re.findall(r'<rect [^>]*stroke="#(?:12505e|84796a)"', svg))
    seats = sum(cell.last - cell.first + 1 for cell in cells if cell.share is not None)
    assert frames == 2 + seats + sum(cell.share is None for cell in cells)


def test_each_exit_is_a_gap_in_the_hull_at_its_row_and_side():
    exits = ((1, "L"), (1, "R"), (4, "R"))
    svg = draw_cabin_map(drawn_map(one_cabin(exits=exits)))
    gaps = re.findall(r'<path d="M([\d.]+) ([\d.]+)V([\d.]+)" stroke="#ffffff" stroke-width="2.2"', svg)
    assert len(gaps) == len(exits) + 1  # one in the key
    (left, top, _), (right, same, _), (other, lower, _) = ([float(one) for one in gap] for gap in gaps[:3])
    assert left < right == other
    assert top == same
    assert lower - top == pytest.approx(
        3 * (floor_of("L R", 5).seat_top(2) - floor_of("L R", 5).seat_top(1)), abs=0.02
    )


def test_cabins_are_drawn_to_one_scale():
    short, long = floor_of("L R", 3), floor_of("LL RR", 10)
    assert short.seat_top(2) - short.seat_top(1) == long.seat_top(2) - long.seat_top(1)
    assert long.along > 3 * short.along
    assert long.across > short.across


def test_the_data_beside_the_map_are_those_drawn():
    figure = drawn_map(one_cabin(share=0.7))
    heads, data = figure_rows(figure)
    assert heads == ("class", "zone", "side", "first_row", "last_row", "people", "out", "shrunken_share")
    assert data[0] == ("A twin", "zone 0", "L", 1, 1, 34, 21, 0.7)
    assert data[2] == ("A twin", "zone 1", "L", 2, 3, 3, None, None)
    assert len(data) == len(figure.cabins[0].cells)


def test_open_seats_follow_the_paper():
    figure = drawn_map(one_cabin(share=0.0))
    assert "#fbf6ea" in draw_cabin_map(figure, paper="tone")
    assert "#fbf6ea" not in draw_cabin_map(figure, paper="white")


# ---- the section of the annex ------------------------------------------------------------------


@pytest.fixture
def results() -> StudyResults:
    """Results that hold a cabin and seats, and nothing else; invented."""

    def count(value: int) -> Number:
        return Number(value, "count", "counted")

    zones = [
        ("twin_a", "front", "L", 20, 15, 0.75, 0.72, 0.51, 0.9),
        ("twin_a", "front", "R", 4, None, None, None, None, None),
        ("twin_a", "rear", "L", 21, 14, 0.66, 0.69, 0.4, 0.86),
        ("twin_a", "rear", "R", 9, 9, 1.0, 0.74, 0.66, 1.0),
    ]
    position = [
        ("far_seat", "no", "no", 30, 24, 0.8, None, None, None),
        ("far_seat", "yes", "no", 24, 17, 0.71, -0.11, -0.31, 0.09),
        ("seats_to_exit", "0", "0", 30, 24, 0.8, None, None, None),
        ("seats_to_exit", "2+", "0", 4, None, None, None, None, None),
    ]
    return StudyResults(
        numbers={
            "cabin.placed": count(54),
            "cabin.seat_unknown": count(3),
            "cabin.outside": count(0),
            "cabin.no_layout": count(0),
            "cabin.fate_unknown": count(0),
            "cabin.fewest": Number(5, "count", "rule"),
            "position.out_known": count(54),
            "position.out_unknown": count(2),
        },
        codes={"cabin.spread": "some", "paper.audience": "board"},
        texts={},
        absent={"position/3/difference": "few_people"},
        lists={"position.held_equal": ["role", "light"]},
        tables={
            "cabin_classes": Table(
                ("class", "occupants", "out", "share", "low", "high"), (("twin_a", 54, 41, 0.76, 0.6, 0.9),)
            ),
            "cabin_layout": Table(
                ("cabin", "seats", "rows", "side", "first_row", "last_row"),
                tuple((1, "L R", 4, side, low, low + 1) for low in (1, 3) for side in "LR"),
            ),
            "cabin_exits": Table(("cabin", "row", "side"), ((1, 1, "L"),)),
            "cabin_zones": Table(
                ("class", "zone", "side", "occupants", "out", "share", "shrunken", "low", "high"),
                tuple(zones),
            ),
            "position": Table(
                ("name", "level", "reference", "occupants", "out", "share", "difference", "low", "high"),
                tuple(position),
            ),
        },
        rows={},
        notices=[],
        provenance={},
    )


def section_of(results: StudyResults):
    return cabin(results, Wording(facts_of(results)))


def words(section) -> str:
    parts = [section.title, section.lead]
    for block in section.blocks:
        parts += [block.title, block.lead, *block.items]
        if block.table:
            parts += [cell for row in block.table.rows for cell in row]
    return " | ".join(plain(part) for part in parts if plain(part)).replace("\u00a0", " ")


def table(section, title: str) -> list[list[str]]:
    found = next(block.table for block in section.blocks if block.table and plain(block.title) == title)
    return [[plain(cell).replace("\u00a0", " ") for cell in row] for row in found.rows]


def test_the_map_shows_what_is_stored(results):
    picture = cabin_picture(results, Wording(facts_of(results)))
    (drawn,) = picture.figure.cabins
    assert (plain(drawn.name_text), plain(drawn.whole_text)) == ("twin a", "41 of 54 got out")
    assert (drawn.seats, drawn.rows, drawn.exits) == ("L R", 4, ((1, "L"),))
    first, thin, _, _ = drawn.cells
    told = [
        plain(text).replace("\u00a0", " ") for text in (first.name_text, first.count_text, first.share_text)
    ]
    assert told == ["front, left", "15 of 20 out", "72 %"]
    assert first.share == 0.72
    assert (plain(thin.count_text), thin.share_text, thin.share) == ("4\u00a0people", (), None)
    assert thin.out is None
    assert {piece.id for piece in first.count_text if piece.id} == {
        "cabin_zones.0.out",
        "cabin_zones.0.occupants",
    }


def test_a_small_place_gives_no_share_in_the_table_either(results):
    rows = table(section_of(results), "The places of the map")
    assert rows[0] == ["twin a", "whole cabin", "54", "41", "76 (60 to 90)", ""]
    assert rows[1] == ["twin a", "front, left", "20", "15", "75 (51 to 90)", "72"]
    assert rows[2] == ["twin a", "front, right", "4", "", "not estimated", ""]


def test_a_class_that_is_laid_out_and_nobody_was_aboard_is_named(results):
    assert "spelt otherwise" not in words(section_of(results))
    other = replace(results, lists={**results.lists, "cabin.unused": ["B_lihgt"]})
    assert "spelt otherwise in the records: B_lihgt." in words(section_of(other))


def test_seats_are_held_against_the_first_of_their_kind(results):
    section = section_of(results)
    rows = table(section, "Seats held against each other")
    assert rows[0] == ["beside an exit", "30", "24", "80", "held against"]
    assert rows[1] == ["away from an exit", "24", "17", "71", "\u221211 (\u221231 to 9)"]
    assert rows[3] == ["more seats between", "4", "", "", "not estimated"]
    told = words(section)
    assert "more seats between: There are too few people for it." in told
    assert "Held equal between seats: role and light." in told
    assert "Training is not held equal" in told


def test_who_is_not_in_the_map_is_counted_and_told(results):
    told = words(section_of(results))
    assert "The map shows 54 people." in told
    assert "Of 3 people the seat is not recorded" in told
    assert "outside the cabin" not in told
    assert "Of 2 people nobody knows whether they got out" in told


def test_the_map_says_that_nothing_is_held_equal_and_seats_are_not_given_by_lot(results):
    told = words(section_of(results))
    assert "The map holds nothing equal" in told
    assert "not given out by lot" in told
    assert "operators may put some people beside exits" in told
    assert "Where seats were free" in told


@pytest.mark.parametrize(
    ("spread", "said"), [("some", "the shrunken shares differ"), ("none_seen", "is that of its class")]
)
def test_whether_places_spread_is_said(results, spread, said):
    assert said in words(section_of(replace(results, codes={"cabin.spread": spread})))


def test_no_per_cent_stands_beside_places_that_all_have_the_share_of_their_class(results):
    alike = replace(results, codes={"cabin.spread": "none_seen"})
    drawn, same = (cabin_picture(each, Wording(facts_of(each))).figure for each in (results, alike))
    assert [plain(cell.share_text).replace("\u00a0", " ") for cell in drawn.cabins[0].cells][::2] == [
        "72 %",
        "69 %",
    ]
    assert not any(cell.share_text for cell in same.cabins[0].cells)
    assert [cell.share for cell in same.cabins[0].cells] == [cell.share for cell in drawn.cabins[0].cells]
    assert "per cent" in plain(drawn.key_filled)
    assert "per cent" not in plain(same.key_filled)


def test_without_a_layout_the_reason_stands_and_seats_remain(results):
    tables = {name: one for name, one in results.tables.items() if name == "position"}
    absent = {**results.absent, "cabin_zones": "no_layout"}
    section = section_of(replace(results, tables=tables, absent=absent))
    told = words(section)
    assert "The study file describes no cabin" in told
    assert "Seats held against each other" in told
    assert all(block.picture is None for block in section.blocks)


def test_what_is_shared_says_that_it_is_withheld_and_nothing_else(results):
    absent = dict.fromkeys(("cabin_zones", "position"), MASKED)
    section = section_of(replace(results, tables={}, numbers={}, absent=absent))
    assert words(section) == "Where people sat, and who got out | It rests on counts that are withheld."


def test_a_zone_named_in_other_letters_is_set_legibly(results):
    table = results.tables["cabin_zones"]
    named = tuple((row[0], row[1].replace("front", "前\u202e"), *row[2:]) for row in table.rows)
    tables = {**results.tables, "cabin_zones": Table(table.columns, named)}
    assert "?, left" in words(section_of(replace(results, tables=tables)))
