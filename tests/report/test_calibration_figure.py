"""Does F7 put each group where its numbers say, keep its letters apart, and stay within our colours and sizes?"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from dataclasses import asdict

import pytest
from samples import t
from test_figures import collisions

from survstats.report.calibration_figure import (
    CalibrationBin,
    CalibrationFigure,
    draw_calibration,
    figure_rows,
    plan_calibration,
)
from survstats.report.style import PALETTES, SIZES

Group = tuple[float, float, float, float, int]


def calibration(*groups: Group, long: bool = False) -> CalibrationFigure:
    words = " and of everything else that could be told at such a place" if long else ""
    return CalibrationFigure(
        bins=tuple(
            CalibrationBin(*group[:4], people_text=t(f"[calibration.{index}.occupants|{group[4]}]"))
            for index, group in enumerate(groups)
        ),
        diagonal_text=t("told and seen agree" + words),
        marks_text=t("per cent who survived, with limits" + words),
        people_text=t("people in each group" + words),
        x_title=t("chance of surviving, told without the own mishap" + words),
        y_title=t("Per cent of each group who survived" + words),
        alt=t("Predicted chance of surviving beside the share that survived."),
    )


NORMAL: tuple[Group, ...] = (
    (47, 79, 44, 95, 19),
    (54, 59, 22, 88, 17),
    (61, 67, 41, 87, 18),
    (64, 78, 42, 94, 18),
    (69, 17, 4, 48, 18),
)
CASES = [
    calibration(*NORMAL),
    calibration(*NORMAL, long=True),
    calibration((0.4, 0, 0, 30, 12)),
    calibration((99.8, 100, 70, 100, 12)),
    calibration(*((50 + index / 10, 50, 0, 100, 123456) for index in range(5))),
    calibration(*((98 + index / 10, 50, 0, 100, 12345) for index in range(5))),
    calibration(*((index / 10, 50, 0, 100, 12345) for index in range(5))),
    calibration(
        (1, 2, 0, 9, 5), (25, 30, 10, 50, 5), (50, 40, 20, 70, 5), (75, 80, 60, 90, 5), (99, 97, 80, 100, 5)
    ),
]
both = pytest.mark.parametrize("narrow", [False, True])


@both
@pytest.mark.parametrize("case", range(len(CASES)))
def test_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_calibration(CASES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


def lines(svg: str, colour: str) -> list[list[tuple[float, float]]]:
    """The points of every line of a colour, in order of drawing."""
    found = []
    for path in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}path"):  # noqa: S314
        if path.get("stroke") == colour:
            numbers = [float(number) for number in re.findall(r"-?[\d.]+", path.get("d"))]
            found.append(list(zip(numbers[::2], numbers[1::2], strict=True)))
    return found


@both
def test_marks_stand_where_the_numbers_say(narrow: bool) -> None:
    svg = draw_calibration(CASES[0], narrow=narrow)
    palette = PALETTES["white"]
    diagonal = lines(svg, palette.clay)[-1]
    (left, low_end), (right, high_end) = diagonal
    per_percent = (low_end - high_end) / (80 - 40)  # this figure spans 40 to 80 %
    for predicted, _, low, high, _ in NORMAL:
        x = left + (predicted - 40) / 40 * (right - left)
        whisker = next(
            points
            for points in lines(svg, palette.sea)
            if len(points) == 2 and points[0][0] == pytest.approx(points[1][0]) == pytest.approx(x, abs=0.05)
        )
        ends = sorted(low_end - (y - 40) * per_percent for y in (low, high))
        assert sorted(y for _, y in whisker) == pytest.approx(ends, abs=0.05)


@both
def test_a_group_told_right_stands_on_the_line(narrow: bool) -> None:
    svg = draw_calibration(calibration((50, 50, 50, 50, 9), (70, 70, 70, 70, 9)), narrow=narrow)
    (x0, y0), (x1, y1) = lines(svg, PALETTES["white"].clay)[-1]
    caps = [
        points
        for points in lines(svg, PALETTES["white"].sea)
        if len(points) == 2 and points[0][1] == points[1][1]
    ]
    for cap in caps[-4:]:
        middle = (cap[0][0] + cap[1][0]) / 2
        assert cap[0][1] == pytest.approx(y0 + (middle - x0) / (x1 - x0) * (y1 - y0), abs=0.05)


def test_data_beside_the_figure_are_its_numbers() -> None:
    header, rows = figure_rows(CASES[0])
    assert header == ("people", "predicted_percent", "survived_percent", "low_percent", "high_percent")
    assert rows[0] == ("19", 47, 79, 44, 95)


@both
@pytest.mark.parametrize("paper", ["white", "tone"])
def test_only_our_colours_faces_and_sizes(narrow: bool, paper: str) -> None:
    svg = draw_calibration(CASES[0], narrow=narrow, paper=paper)
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
    assert colours <= set(asdict(PALETTES[paper]).values())
    assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans"}
    assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note
    assert 'data-number="calibration.0.occupants"' in svg
    assert "<desc" in svg
