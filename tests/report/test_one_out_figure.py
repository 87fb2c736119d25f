"""Does F12 put each mishap left out where its numbers say, ring the right one, and keep its letters apart?"""

from __future__ import annotations

import re
from dataclasses import asdict, replace

import pytest
from samples import t
from test_calibration_figure import both, lines
from test_figures import collisions

from survstats.report.content import plain
from survstats.report.one_out_figure import (
    LeftOut,
    OneOutFigure,
    draw_one_out,
    figure_rows,
    in_order,
    nearest,
    plan_one_out,
)
from survstats.report.style import PALETTES, SIZES


def one_out(*left_out: LeftOut, main: float = 7.9, words: str = "") -> OneOutFigure:
    return OneOutFigure(
        left_out=left_out,
        main=main,
        marks_text=t("without one mishap" + words),
        main_text=t("with every mishap"),
        zero_text=t("none"),
        nearest_text=t("nearest to none: without" + words),
        x_title=t("mishaps" + words),
        y_title=t("points"),
        alt=t("Marks."),
    )


def some(many: int, *, every: int = 1) -> list[LeftOut]:
    """Mishaps in no order; limits for every so many of them."""
    return [
        LeftOut(
            f"M{at}", value, value - 11 if at % every == 0 else None, value + 13 if at % every == 0 else None
        )
        for at in range(many)
        for value in (7.9 + ((at * 37) % 101 - 50) / 25,)
    ]


LONG = " and a good deal more that could be said of it, if anybody were to ask for it"
CASES = [
    one_out(*some(55)),
    one_out(*some(55), words=LONG),
    one_out(*some(120, every=4)),
    one_out(*some(3)),
    one_out(*(replace(each, points=-each.points, low=None, high=None) for each in some(9)), main=-7.9),
    one_out(LeftOut("ein sehr langer Name eines Unfalls vor der Küste", 60.0, 20.0, 95.0), *some(2)),
]


@both
@pytest.mark.parametrize("case", range(len(CASES)))
def test_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_one_out(CASES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


def test_the_ringed_mishap_is_the_one_that_brings_the_difference_nearest_to_none() -> None:
    figure = CASES[0]
    assert nearest(figure).points == min(each.points for each in figure.left_out)
    harm = CASES[4]
    assert nearest(harm).points == max(each.points for each in harm.left_out)
    told = [plain(line.text) for line in plan_one_out(figure).letters]
    assert f"nearest to none: without {nearest(figure).mishap}" in told


@both
def test_whiskers_end_at_their_limits_in_the_order_of_what_is_left(narrow: bool) -> None:
    figure = CASES[3]
    svg, palette = draw_one_out(figure, narrow=narrow), PALETTES["white"]
    level = next(
        line[0][1]
        for line in lines(svg, palette.ink)
        if len(line) == 2 and line[0][1] == line[1][1] and line[0][0] > 10
    )
    main = lines(svg, palette.clay)[1][0][1]
    per_point = (level - main) / figure.main
    whiskers = [line for line in lines(svg, palette.sea) if len(line) == 2 and line[0][0] == line[1][0]][1:]
    assert len(whiskers) == 3
    for line, each in zip(sorted(whiskers), in_order(figure), strict=True):
        assert sorted(y for _, y in line) == pytest.approx(
            [level - per_point * each.high, level - per_point * each.low], abs=0.1
        )


def test_data_beside_the_figure_are_its_numbers() -> None:
    header, rows = figure_rows(CASES[3])
    assert header == ("kind", "mishap", "value_points", "low_points", "high_points")
    assert rows[0] == ("main", None, 7.9, None, None)
    assert [row[2] for row in rows[1:]] == sorted(each.points for each in CASES[3].left_out)


@both
@pytest.mark.parametrize("paper", ["white", "tone"])
def test_only_our_colours_faces_and_sizes(narrow: bool, paper: str) -> None:
    svg = draw_one_out(CASES[0], narrow=narrow, paper=paper)
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
    assert colours <= set(asdict(PALETTES[paper]).values())
    assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans"}
    assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note
