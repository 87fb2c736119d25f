# ruff: noqa: S314

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from samples import MAIN_ROWS, NORMAL, SAMPLES, axis, break_even, row, seats, t

from survstats.report.axis_figure import NARROW, WIDE, plan_axis
from survstats.report.break_even_figure import difference_at, plan_break_even
from survstats.report.content import AxisFigure, BreakEvenFigure, SeatsFigure, plain
from survstats.report.figures import draw, figure_data
from survstats.report.lettering import Lettered
from survstats.report.publish import figures_of
from survstats.report.seats_figure import narrow_letters, wide_letters

SLACK = 0.3


def collisions(letters: list[Lettered], width: float, height: float) -> list[str]:
    """What is clipped by the edge of the drawing, and which lines of text touch."""
    faults = []
    boxes = [(line, line.box()) for line in letters if plain(line.text)]
    for line, (left, top, right, bottom) in boxes:
        if left < -2.5 or top < -SLACK or right > width + SLACK or bottom > height + SLACK:
            faults.append(f"clipped: {plain(line.text)!r} at {left:.0f} {top:.0f} {right:.0f} {bottom:.0f}")
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        across, down = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
        if across > SLACK and down > 1.5:
            faults.append(f"touch: {plain(one.text)!r} and {plain(other.text)!r}")
    return faults


ARMS = [
    (62, 55, 69),
    (73, 67, 79),
    (0, 0, 100),
    (100, 0, 100),
    (50, 0, 100),
    (0, 0, 3),
    (100, 97, 100),
    (50, 50, 50),
]
ARMS += [(62, 62, 63), (2, 0, 40), (98, 60, 100)]


@pytest.mark.parametrize("none", ARMS)
@pytest.mark.parametrize("every", ARMS)
def test_seats_letters_stand_clear(none: tuple[int, int, int], every: tuple[int, int, int]) -> None:
    number = f"{every[0] - none[0]} points".replace("-", "\u2212")
    figure = seats(none, every, number, "\u2212100 to 100")
    wide, height = wide_letters(figure)
    assert not collisions(wide, WIDE, height)
    narrow, height = narrow_letters(figure)
    assert not collisions(narrow, NARROW, height)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("every", ARMS)
def test_seats_add_up_to_a_hundred(every: tuple[int, int, int], narrow: bool) -> None:
    svg = draw(seats((62, 55, 69), every, "x", "y"), narrow=narrow)
    uses = re.findall(r'<use href="#seats(?:-narrow)?-(full|half|open)"', svg)
    counts = {state: uses.count(state) - 1 for state in ("full", "half", "open")}  # one of each is in the key
    assert sum(counts.values()) == 200
    assert counts["full"] == 55 + every[1]
    assert counts["half"] == 14 + every[2] - every[1]


@pytest.mark.parametrize(("none", "every", "sign"), [(62, 73, 1), (73, 62, -1), (60, 60, 0)])
def test_the_step_runs_the_way_of_the_difference(none: int, every: int, sign: int) -> None:
    svg = draw(seats((none, none - 5, none + 5), (every, every - 5, every + 5), "x", "y"))
    start, end = re.search(
        r'd="M([\d.]+) [\d.]+L([\d.]+) [\d.]+" fill="none" stroke="#231f1a" stroke-width="2.6"', svg
    ).groups()
    assert (float(end) > float(start)) - (float(end) < float(start)) == sign


def shifted(by: float, stretch: float, worthwhile: float) -> AxisFigure:
    rows = [
        row(
            item.kind,
            item.family,
            plain(item.name),
            plain(item.note),
            None if item.value is None else item.value * stretch + by,
            item.low * stretch + by,
            item.high * stretch + by,
            None
            if item.outer_low is None
            else (item.outer_low * stretch + by, item.outer_high * stretch + by),
        )
        for item in MAIN_ROWS
    ]
    return axis(tuple(rows), worthwhile)


AXES = [shifted(*case) for case in itertools.product((0, -30, 40), (0.1, 2.4), (1, 5, 20))]
AXES += [axis((row("worst_case", "w", "Any possible status", "of the 44 dead", None, -39, 72),))]
AXES += [
    axis(
        (
            row("main", "m", "Main estimate", "", 0, -100, 100),
            row("worst_case", "w", "Any", "", None, -100, 100, (-100, 100)),
        )
    )
]
AXES += [
    axis(
        (
            row(
                "other",
                "m",
                "A name much longer than anyone would like it to be here",
                "and a note that is longer still, of people and of papers",
                1,
                0,
                2,
            ),
        )
    )
]
AXES += [figure.axis for figure in SAMPLES.values() if figure.axis]


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("case", range(len(AXES)))
def test_axis_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_axis(AXES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


CURVES = [
    break_even(*counts, known=known, unknown=unknown)
    for counts, (known, unknown) in itertools.product(
        [(131, 82, 138), (5, 90, 40), (60, 60, 3), (1, 1, 1), (400, 3, 900), (0, 30, 12)],
        [(0.46, (0.33, 0.62)), (None, (0.0, 1.0)), (0.99, (0.9, 1.0))],
    )
]


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("case", range(len(CURVES)))
def test_break_even_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_break_even(CURVES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)
    above = next(
        line for line in plate.letters if "more" in plain(line.text) or "trained lived" in plain(line.text)
    )
    below = next(line for line in plate.letters if plain(line.text) == "less often")
    assert above.box()[3] < below.box()[1], (
        "more often stands above the line of no difference, less often below it"
    )


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("case", range(len(CURVES)))
def test_break_even_letters_are_not_on_the_curve(case: int, narrow: bool) -> None:
    root = ET.fromstring(draw(CURVES[case], narrow=narrow))
    paths = [
        part.get("d", "")
        for part in root.iter()
        if part.tag.endswith("path") and part.get("stroke-width") == "1.1"
    ]
    numbers = [float(number) for number in re.findall(r"-?[\d.]+", paths[0])]
    xs, ys = numbers[::2], numbers[1::2]
    assert len(xs) == len(ys) > 1
    points = [(x, np.interp(x, xs, ys)) for x in np.linspace(xs[0], xs[-1], 500)]
    for line in plan_break_even(CURVES[case], narrow=narrow).letters:
        left, top, right, bottom = line.box()
        assert not [1 for x, y in points if left < x < right and top < y < bottom], plain(line.text)


def test_break_even_crosses_zero_where_it_says() -> None:
    figure = break_even()
    assert difference_at(figure, figure.break_even) == pytest.approx(0, abs=1e-9)
    assert difference_at(figure, 0.0) > 0 > difference_at(figure, 1.0)
    assert difference_at(replace(figure, survivors_trained=0), 0.0) is None


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", SAMPLES)
def test_svg_is_named_self_contained_and_the_same_every_time(name: str, narrow: bool) -> None:
    keys = set()
    for figure in figures_of(SAMPLES[name]).values():
        svg = draw(figure, narrow=narrow)
        assert svg == draw(figure, narrow=narrow)
        root = ET.fromstring(svg)
        assert root.get("role") == "img"
        first, second = root[0], root[1]
        assert first.tag.endswith("title")
        assert second.tag.endswith("desc")
        assert second.text == plain(figure.alt)
        assert root.get("aria-labelledby") == f"{first.get('id')} {second.get('id')}"
        assert not re.search(
            r"<style|style=|<script|<metadata|<image|url\(|xlink|http(?!://www.w3.org/2000/svg)", svg
        )
        ids = re.findall(r' id="([^"]+)"', svg)
        assert len(ids) == len(set(ids))
        assert not keys & set(ids), "ids must not meet in one page"
        keys |= set(ids)
        assert set(re.findall(r'href="#([^"]+)"', svg)) <= set(ids)
        assert len(svg) < 40_000


def test_every_number_in_a_figure_carries_its_id() -> None:
    svg = draw(NORMAL.seats)
    assert '<tspan data-number="effect.survival_if_all_trained">73</tspan>' in svg
    assert '<tspan data-number="effect.rd">11 points</tspan>' in svg
    assert '<tspan data-number="Main estimate">11</tspan> (3 to 19)' in draw(NORMAL.axis)
    assert '<tspan data-number="claim.known">46\u00a0%</tspan>' in draw(NORMAL.break_even)


def test_text_is_never_markup() -> None:
    nasty = t("$x^2$ <b>&amp;</b> \\frac{1}{2}")
    rows = (replace(MAIN_ROWS[0], name=nasty),)
    root = ET.fromstring(draw(axis(rows)))
    assert plain(nasty) in " ".join(
        "".join(part.itertext()) for part in root.iter() if part.tag.endswith("text")
    )


def test_open_seats_follow_the_paper() -> None:
    white, tone = draw(NORMAL.seats, paper="white"), draw(NORMAL.seats, paper="tone")
    assert "#ffffff" in white
    assert "#ffffff" not in tone
    assert white.replace("#ffffff", "#fbf6ea") == tone


def test_data_says_what_the_figure_shows() -> None:
    assert isinstance(NORMAL.seats, SeatsFigure)
    assert isinstance(NORMAL.break_even, BreakEvenFigure)
    header, rows = figure_data(NORMAL.seats)
    assert header[0] == "arm"
    assert rows == [("If none had been trained", 62, 55, 69), ("If all had been trained", 73, 67, 79)]
    header, rows = figure_data(NORMAL.axis)
    assert len(rows) == len(MAIN_ROWS)
    assert dict(zip(header, rows[-1], strict=True)) == {
        "kind": "worst_case",
        "family": "worst",
        "name": "Any possible status",
        "note": "of the 50 unknown, no adjustment",
        "value_points": None,
        "low_points": -3,
        "high_points": 29,
        "outer_low_points": -13,
        "outer_high_points": 38,
    }
    header, rows = figure_data(NORMAL.break_even)
    marked = {line[0]: line[2] for line in rows if line[0] != "curve"}
    assert marked["break_even"] == pytest.approx(0, abs=1e-9)
    assert len(rows) > 20
