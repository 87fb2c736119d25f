"""Does F9 draw a line per draw where its values are, keep its letters apart, and use our colours and sizes alone?"""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest
from samples import t
from test_figures import collisions

from survstats.report.chains_figure import (
    THICK,
    THIN,
    ChainsFigure,
    ChainsPanel,
    _ticks,
    draw_chains,
    figure_rows,
    plan_chains,
)
from survstats.report.style import PALETTES, SIZES


def chains(*ranges: tuple[float, float], draws: int = 20, rounds: int = 10, long: bool = False):
    words = " as it stood at the end of each round" if long else ""
    rng = np.random.default_rng(1)
    return ChainsFigure(
        panels=tuple(
            ChainsPanel(
                t(f"unknown dead taken as trained, per cent{words}"),
                tuple(map(tuple, rng.uniform(low, high, (draws, rounds)))),
            )
            for low, high in ranges
        ),
        x_title=t("round" + words),
        draw_text=t("one draw"),
        mean_text=t("mean of all draws"),
        alt=t("How the filled-in values went, round by round."),
    )


CASES = [
    chains((10, 40), (0, 100), (1.2, 2.9)),
    chains((10, 40), (0, 100), (1.2, 2.9), (0.001, 0.004), long=True),
    chains((-12, 40), draws=2, rounds=2),
    chains((7, 7.0000001), draws=1, rounds=1),
    chains((0, 0), (5, 5)),
    chains((12000, 98000), (-3, -1)),
]


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("case", range(len(CASES)))
def test_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_chains(CASES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)
    assert all(letters.size >= SIZES.note for letters in plate.letters)


def lines(figure: ChainsFigure, colour: str, width: float) -> list[np.ndarray]:
    root = ET.fromstring(draw_chains(figure))  # noqa: S314
    found = []
    for path in root.iter("{http://www.w3.org/2000/svg}path"):
        if path.get("stroke") == colour and float(path.get("stroke-width", "1")) == width:
            points = [float(number) for number in re.findall(r"-?[\d.]+", path.get("d"))]
            found.append(np.array(points).reshape(-1, 2))
    return found[1:]  # the first is the key's


def test_one_thin_line_per_draw_and_their_mean_on_top() -> None:
    figure = chains((10, 40), draws=7, rounds=5)
    thin = lines(figure, PALETTES["white"].line, THIN)
    (thick,) = lines(figure, PALETTES["white"].sea, THICK)
    assert len(thin) == 7
    values = np.array(figure.panels[0].draws)
    drawn = np.array([line[:, 1] for line in thin])
    slope, offset = np.polyfit(values.ravel(), drawn.ravel(), 1)
    assert slope < 0  # higher values stand higher
    assert drawn == pytest.approx(offset + slope * values, abs=0.05)
    assert thick[:, 1] == pytest.approx(drawn.mean(axis=0), abs=0.05)


def test_only_our_colours_and_names_that_a_screen_reader_finds() -> None:
    palette = PALETTES["white"]
    for narrow in (False, True):
        drawn = draw_chains(CASES[0], narrow=narrow)
        seen = set(re.findall(r"#[0-9a-f]{6}", drawn))
        assert seen <= {palette.ink, palette.soft, palette.sea, palette.line, palette.hair, palette.paper}
        assert "How the filled-in values went" in drawn
        assert drawn == draw_chains(CASES[0], narrow=narrow)


@pytest.mark.parametrize(("low", "high"), [(0, 100), (1.1, 2.9), (-12, 40), (0.0008, 0.0042), (3.5, 10.5)])
def test_ticks_are_round_inside_and_few(low: float, high: float) -> None:
    ticks = _ticks(low, high)
    assert 2 <= len(ticks) <= 6
    assert all(low <= value <= high for value, _ in ticks)
    assert [float(text.replace("\u2212", "-")) for _, text in ticks] == pytest.approx([v for v, _ in ticks])


def test_the_table_beside_holds_every_value() -> None:
    figure = chains((10, 40), (1, 2), draws=3, rounds=4)
    names, rows = figure_rows(figure)
    assert len(rows) == 24
    assert len(names) == len(rows[0])
    assert rows[5][1:] == (2, 2, figure.panels[0].draws[1][1])
