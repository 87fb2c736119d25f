"""Does F11 put the line, its limits and the crossings where their numbers say, and keep its letters apart?"""

from __future__ import annotations

import re
from dataclasses import asdict, replace

import pytest
from samples import t
from test_calibration_figure import both, lines
from test_figures import collisions

from survstats.report.content import plain
from survstats.report.style import PALETTES, SIZES
from survstats.report.tipping_figure import (
    TippingFigure,
    TippingMark,
    TippingPoint,
    draw_tipping,
    figure_rows,
    plan_tipping,
)


def mark(people: float, points: float, words: str) -> TippingMark:
    return TippingMark(people, points, t(words), t(f"[tipping.{words}|{people:.0f}]"))


def tipping(
    *, chance: float | None = 16.0, none: float | None = 28.0, unknown: float = 41.0, words: str = ""
) -> TippingFigure:
    """A line that falls from 14 points by half a point for each of the unknown dead."""
    points = tuple(
        TippingPoint(
            share * unknown, 14 - share * unknown / 2, 8 - share * unknown / 2, 22 - share * unknown / 3
        )
        for share in (0.0, 0.1, 0.25, 0.5, 0.75, 1.0)
    )
    return TippingFigure(
        points=points,
        unknown_dead=unknown,
        expected=mark(unknown / 4, 14 - unknown / 8, "expected" + words),
        not_beyond_chance=None if chance is None else mark(chance, 0.0, "not_beyond_chance" + words),
        no_difference=None if none is None else mark(none, 0.0, "no_difference" + words),
        line_text=t("the difference" + words),
        limits_text=t("its interval"),
        x_title=t("how many had been trained" + words),
        y_title=t("points, trained less never trained"),
        alt=t("A line that falls."),
    )


LONG = " and a good deal more that could be said of it, if anybody were to ask for it"
CASES = [
    tipping(),
    tipping(words=LONG),
    tipping(chance=None, none=None),
    tipping(chance=10.2, none=10.4),
    tipping(chance=41.0, none=41.0),
    tipping(chance=0.0, none=0.4, unknown=1.0),
    tipping(chance=0.2, none=None, unknown=2000.0),
]


@both
@pytest.mark.parametrize("case", range(len(CASES)))
def test_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_tipping(CASES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


@both
def test_the_line_runs_through_its_points_and_a_ring_stands_where_it_meets_zero(narrow: bool) -> None:
    figure = CASES[0]
    svg = draw_tipping(figure, narrow=narrow)
    palette = PALETTES["white"]
    zero = next(
        line for line in lines(svg, palette.ink) if len(line) == 2 and line[0][1] == pytest.approx(line[1][1])
    )
    (left, level), (right, _) = zero
    low, high, value = [line for line in lines(svg, palette.sea) if len(line) == len(figure.points)]
    for line, name in ((low, "low"), (high, "high"), (value, "points")):
        per_point = (level - value[0][1]) / figure.points[0].points
        for (x, y), point in zip(line, figure.points, strict=True):
            assert x == pytest.approx(left + point.trained_died / 41 * (right - left), abs=0.05)
            assert y == pytest.approx(level - per_point * getattr(point, name), abs=0.05)
    rings = re.findall(r'<path d="M([\d.]+) ([\d.]+)[^>]*fill="none"[^>]*stroke="' + palette.clay, svg)
    rings += [
        (found[0], found[1])
        for found in re.findall(r'd="M ?([\d.]+) ([\d.]+)[^"]*"[^>]*stroke="' + palette.clay, svg)
    ]
    wanted = [left + people / 41 * (right - left) for people in (16, 28)]
    assert all(any(abs(float(x) - place) < 5 for x, _ in rings) for place in wanted)


@both
def test_a_crossing_that_is_not_there_has_no_ring_and_no_entry(narrow: bool) -> None:
    plate = plan_tipping(CASES[2], narrow=narrow)
    told = " ".join(plain(line.text) for line in plate.letters)
    assert "not_beyond_chance" not in told
    assert PALETTES["white"].clay not in draw_tipping(CASES[2], narrow=narrow)


def test_data_beside_the_figure_are_its_numbers() -> None:
    header, rows = figure_rows(CASES[0])
    assert header == ("kind", "trained_dead_people", "value_points", "low_points", "high_points")
    assert rows[0] == ("line", 0.0, 14.0, 8.0, 22.0)
    assert [row[:2] for row in rows[-2:]] == [("not_beyond_chance", 16.0), ("no_difference", 28.0)]
    assert len(figure_rows(replace(CASES[0], no_difference=None))[1]) == len(rows) - 1


@both
@pytest.mark.parametrize("paper", ["white", "tone"])
def test_only_our_colours_faces_and_sizes(narrow: bool, paper: str) -> None:
    svg = draw_tipping(CASES[0], narrow=narrow, paper=paper)
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
    assert colours <= set(asdict(PALETTES[paper]).values())
    assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans"}
    assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note
    assert 'data-number="tipping.expected"' in svg
