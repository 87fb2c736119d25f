"""Does F10 put each choice where its number says, count families right, and keep its letters apart?"""

from __future__ import annotations

import re
from dataclasses import asdict, replace

import pytest
from samples import t
from test_calibration_figure import both
from test_figures import collisions

from survstats.report.choices_figure import (
    DOT,
    MAIN_DOT,
    ChoiceDot,
    ChoicesFigure,
    ChoiceStrip,
    draw_choices,
    figure_rows,
    plan_choices,
    stacked,
)
from survstats.report.content import plain
from survstats.report.drawing_field import Field
from survstats.report.style import PALETTES, SIZES

FAMILIES = {
    "main": [7.9],
    "population": [6.4, 7.7, 5.2],
    "exposure": [6.2, 6.4, 3.1],
    "covariates": [6.9, 6.0, 7.5, 8.2, 7.7],
    "missing": [9.0, 8.1],
    "estimator": [6.1, 6.0, 7.8, 7.4],
    "combined": [4.1, 3.7, 3.7, 4.5, 7.4],
}


def choices(
    families: dict[str, list[float]], *, main: float = 7.9, more: int = 0, words: str = ""
) -> ChoicesFigure:
    """Strips of these differences; ``more`` choices of each family could not be worked out."""
    strips, number = [], 0
    for family, points in families.items():
        dots = tuple(ChoiceDot(number + at, value) for at, value in enumerate(points, 1))
        number += len(points)
        strips.append(ChoiceStrip(family, t(family + words), len(points) + more, dots))
    return ChoicesFigure(
        strips=tuple(strips),
        main=main,
        worthwhile=5.0,
        zero_text=t("none"),
        main_text=t("main"),
        worthwhile_text=t("too small to matter" + words),
        fewer_text=t("← fewer"),
        more_text=t("more with training →"),
        counts_text=t("the same way, of those listed"),
        of_text=t("of"),
        alt=t("Dots."),
    )


LONG = " and a good deal more that could be said of it"
CASES = [
    choices(FAMILIES),
    choices(FAMILIES, words=LONG),
    choices({"main": [0.1], "combined": [0.1] * 20}, main=0.1),
    choices({"main": [-60.0], "exposure": [-90.0, 95.0], "missing": []}, main=-60.0, more=2),
]


@both
@pytest.mark.parametrize("case", range(len(CASES)))
def test_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_choices(CASES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


def test_dots_stand_at_their_values_and_none_covers_another() -> None:
    field = Field(10, 0, 400, 1, -10, 20, 0, 1)
    strip = ChoiceStrip("combined", t("x"), 24, tuple(ChoiceDot(at, 3 + at % 4 / 50) for at in range(24)))
    placed = stacked(strip, field, 100.0, 7.9)
    assert {dot.number for dot, _, _ in placed} == set(range(24))
    for dot, x, y in placed:
        assert x == pytest.approx(field.x(dot.points))
        assert y <= 100.0
    for at, (_, x, y) in enumerate(placed):
        for _, there, high in placed[:at]:
            assert abs(x - there) >= DOT or abs(y - high) >= DOT
    assert stacked(replace(strip, family="main"), field, 0.0, 7.9)[1][2] <= -MAIN_DOT


@both
def test_counts_are_of_all_listed_and_of_the_main_way_only(narrow: bool) -> None:
    told = {plain(line.text) for line in plan_choices(CASES[3], narrow=narrow).letters}
    assert {
        "1 of 3",
        "1 of 4",
        "0 of 2",
    } <= told  # the one at 95 points the other way; two more could not be had


@both
def test_a_dot_of_the_other_side_is_open(narrow: bool) -> None:
    palette = PALETTES["white"]

    def open_dots(figure: ChoicesFigure) -> int:
        svg = draw_choices(figure, narrow=narrow)
        return len(re.findall(rf'<path[^>]*fill="{palette.paper}"[^>]*stroke="{palette.sea}"', svg))

    assert open_dots(choices({"main": [4.0], "missing": [2.0, 3.0]}, main=4.0)) == 0
    assert open_dots(choices({"main": [4.0], "missing": [-2.0, 3.0, -1.0]}, main=4.0)) == 2


def test_data_beside_the_figure_are_its_numbers() -> None:
    header, rows = figure_rows(CASES[0])
    assert header == ("family", "number", "difference_points")
    assert rows[0] == ("main", 1, 7.9)
    assert len(rows) == sum(map(len, FAMILIES.values()))


@both
@pytest.mark.parametrize("paper", ["white", "tone"])
def test_only_our_colours_faces_and_sizes(narrow: bool, paper: str) -> None:
    svg = draw_choices(CASES[3], narrow=narrow, paper=paper)
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
    assert colours <= set(asdict(PALETTES[paper]).values())
    assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans"}
    assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note
    assert "<desc" in svg
