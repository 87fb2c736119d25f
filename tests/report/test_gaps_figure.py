"""Does F5 draw the shares that are told beside it, keep its letters apart, and use hatching for the unknown alone?"""

from __future__ import annotations

import itertools
import re
import xml.etree.ElementTree as ET
from dataclasses import asdict

import pytest
from records_samples import LONG_TEXTS, WHOLE, gap, gaps
from test_figures import collisions

from survstats.report.figures import draw, figure_data
from survstats.report.gaps_figure import BAR, NAMES, NARROW, WIDE, plan_gaps
from survstats.report.records_content import GapsFigure
from survstats.report.style import PALETTES, SIZES

COUNTS = [(0, 1), (1, 1), (12, 39), (39, 39), (99999, 123456), (0, 123456), None]
FIGURES = [
    gaps(gap("Papers", one, other), gap("Light", (1, 2), (3, 4)))
    for one, other in itertools.product(COUNTS, COUNTS)
    if one or other
]
FIGURES += [WHOLE.gaps, LONG_TEXTS.gaps]


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("case", range(len(FIGURES)))
def test_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_gaps(FIGURES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


def bars(figure: GapsFigure, *, narrow: bool = False) -> list[tuple[float, float]]:
    """Left and right end of each filled surface as high as a bar, the key's first left out."""
    root = ET.fromstring(draw(figure, narrow=narrow))  # noqa: S314
    found = []
    for path in root.iter("{http://www.w3.org/2000/svg}path"):
        if path.get("fill") == PALETTES["white"].sea:
            points = [float(number) for number in re.findall(r"-?[\d.]+", path.get("d"))]
            xs, ys = points[::2], points[1::2]
            if abs(max(ys) - min(ys) - BAR) < 0.1:
                found.append((min(xs), max(xs)))
    return found[1:]


@pytest.mark.parametrize("narrow", [False, True])
def test_a_bar_is_filled_as_far_as_the_field_is_known(narrow: bool) -> None:
    figure = gaps(gap("Papers", (12, 39), (69, 92)), gap("Exit", (0, 39), (92, 92)))
    (dead, living, whole) = bars(figure, narrow=narrow)
    left = 0.0 if narrow else NAMES
    assert all(bar[0] == pytest.approx(left, abs=0.02) for bar in (dead, living, whole))
    length = whole[1] - left
    assert whole[1] < (NARROW if narrow else WIDE)
    assert (dead[1] - left) / length == pytest.approx(12 / 39, abs=1e-3)
    assert (living[1] - left) / length == pytest.approx(69 / 92, abs=1e-3)


def test_what_is_wholly_known_is_not_hatched() -> None:
    def strokes(known: tuple[int, int]) -> int:
        return draw(gaps(gap("Light", known, None))).count('stroke-width="0.6"')

    assert strokes((39, 39)) < strokes((20, 39)) < strokes((0, 39))
    key_alone = draw(gaps(gap("Light", (39, 39), None))).count('stroke-width="0.6"')
    assert key_alone > 0  # the key shows what hatching means


def test_data_beside_the_figure_are_its_counts() -> None:
    header, rows = figure_data(WHOLE.gaps)
    assert header == ("field", "died_known_people", "died_people", "survived_known_people", "survived_people")
    assert rows[0] == ("Papers of the training", 12, 39, 88, 92)
    assert rows[2] == ("Cause of death", 30, 39, None, None)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("paper", ["white", "tone"])
def test_only_our_colours_faces_and_sizes(narrow: bool, paper: str) -> None:
    svg = draw(WHOLE.gaps, narrow=narrow, paper=paper)
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
    assert colours <= set(asdict(PALETTES[paper]).values())
    assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans"}
    assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note
    assert 'data-number="gaps.training_papers.known_died"' in svg
    assert "<desc" in svg
