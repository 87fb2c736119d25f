"""Do lines and swings stand where their numbers say, keep their letters apart, and stay in our colours and sizes?"""

from __future__ import annotations

import re
from dataclasses import asdict, replace

import pytest
from samples import t
from test_calibration_figure import lines
from test_figures import collisions

from survstats.report.content import plain
from survstats.report.even_ticks import even_ticks, tick_words
from survstats.report.lines_content import DrawnLine, LinesFigure, LinesPanel
from survstats.report.lines_figure import draw_lines, lines_data, plan_lines
from survstats.report.style import PALETTES, SIZES
from survstats.report.swings_figure import SwingRow, SwingsFigure, draw_swings, plan_swings, swings_data

LONG = "crew only, with rafts nearer the doors and a course in the dark"
MONTHS = tuple(float(month) for month in range(6, 61, 6))


def track(*values: float, name: str = "", spread: float = 0.0) -> DrawnLine:
    across = MONTHS[: len(values)]
    low, high = (tuple(v + side * spread for v in values) if spread else () for side in (-1, 1))
    return DrawnLine(t(name) if name else (), across, values, low, high)


def months(*panels: LinesPanel, **more) -> LinesFigure:
    return LinesFigure(
        "months", panels, "months_bare", t("months between courses"), t("Lives over months."), **more
    )


INTERVAL = months(
    LinesPanel(t("lives a year"), (track(0.03, 0.01, -0.02, -0.05, spread=0.02),), "lives", zero=True),
    LinesPanel(t("cost a year"), (track(2.9e6, 1.5e6, 1.1e6, 0.8e6),), "money"),
    reference=24.0,
    reference_text=t("longest allowed by the contract that runs until further notice"),
    strip=(10.0, 20.0),
    strip_text=t("nearly as good"),
    limits_text=t("limits of plausible worlds"),
)
NAMED = months(
    LinesPanel(
        t("of a hundred plausible worlds, so many in which it is best"),
        tuple(
            track(
                0.1 * at,
                0.2,
                0.3 + 0.001 * at,
                0.4 + 0.001 * at,
                name=f"[policy.{at}.name|{LONG[: 12 * at + 9]}]",
            )
            for at in range(6)
        ),
        "whole_percent",
    ),
    study=(2.0, 30.0, 59.0),
    study_text=t("what the records show, with their interval"),
    zero_text=t("as under today's policy"),
)
TINY = months(
    LinesPanel(t("lives"), (track(1e-5, 2e-5, name="one"), track(0, 0, name="two")), "lives", zero=True)
)
FLAT = months(LinesPanel(t("money"), (track(0, 0, 0),), "money"))
CASES = [INTERVAL, NAMED, TINY, FLAT]
SWINGS = SwingsFigure(
    rows=(
        SwingRow(t("mishaps a year"), -0.014, -0.057),
        SwingRow(
            t("how fast the skill fades and everything else that could be told of it here"), -0.05, 0.02
        ),
        SwingRow(t("cover while away"), -0.03, -0.03),
    ),
    middle=None,
    low_text=t("at its low value"),
    high_text=t("at its high value"),
    zero_text=t("as today"),
    x_title=t(f"lives a year against today's policy: [policy.1.name|{LONG}]"),
    alt=t("How far lives move."),
)
both = pytest.mark.parametrize("narrow", [False, True])


@both
@pytest.mark.parametrize("case", range(len(CASES)))
def test_letters_of_lines_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_lines(CASES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


@both
@pytest.mark.parametrize("far", [1.0, 100.0, 0.001])
def test_letters_of_swings_stand_clear(narrow: bool, far: float) -> None:
    rows = tuple(SwingRow(row.name, far * row.low, far * row.high) for row in SWINGS.rows)
    plate = plan_swings(replace(SWINGS, rows=rows), narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


@both
def test_a_line_goes_through_its_points(narrow: bool) -> None:
    """The cost curve is drawn in proportion, and the longest interval stands where the curve's fourth point is."""
    svg = draw_lines(INTERVAL, narrow=narrow)
    palette = PALETTES["white"]
    cost = [points for points in lines(svg, palette.sea) if len(points) == 4][-1]
    shares = [(y - cost[0][1]) / (cost[3][1] - cost[0][1]) for _, y in cost]
    assert shares == pytest.approx([0, 1.4 / 2.1, 1.8 / 2.1, 1], abs=0.01)
    longest = [points for points in lines(svg, palette.clay) if points[0][0] == points[1][0]][-1]
    assert longest[0][0] == pytest.approx(cost[3][0], abs=0.05)


@both
def test_limits_lie_on_both_sides_of_their_line(narrow: bool) -> None:
    svg = draw_lines(INTERVAL, narrow=narrow)
    low, high, line = [points for points in lines(svg, PALETTES["white"].sea) if len(points) == 4][:3]
    for (_, below), (_, above), (_, middle) in zip(low, high, line, strict=True):
        assert above < middle < below
        assert middle - above == pytest.approx(below - middle, abs=0.05)


@both
def test_the_strip_ends_where_it_is_told(narrow: bool) -> None:
    wider = replace(INTERVAL, strip=(6.0, 24.0))
    ground = re.compile(r'<path[^>]*fill="#efe4cf"[^>]*>')
    grounds = [ground.findall(draw_lines(one, narrow=narrow)) for one in (INTERVAL, wider)]
    assert len(grounds[0]) == len(grounds[1]) == 3  # two panels and the key
    assert grounds[0] != grounds[1]


@both
def test_swings_stand_in_proportion(narrow: bool) -> None:
    svg = draw_swings(SWINGS, narrow=narrow)
    bars = [p for p in lines(svg, PALETTES["white"].sea) if len(p) == 2 and p[0][1] == p[1][1]]
    (low, high), (other_low, other_high) = ([x for x, _ in bar] for bar in bars[:2])
    assert (high - low) / (other_high - other_low) == pytest.approx(-0.043 / 0.07, abs=0.01)
    zero = next(p for p in lines(svg, PALETTES["white"].ink) if p[0][0] == p[1][0])[0][0]
    assert (zero - other_low) / (other_high - other_low) == pytest.approx(0.05 / 0.07, abs=0.01)


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0, 1, (0, 0.2, 0.4, 0.6, 0.8, 1)),
        (-0.031, 0.012, (-0.03, -0.02, -0.01, 0, 0.01)),
        (0, 3.1e6, (0, 1e6, 2e6, 3e6)),
        (2e-6, 9e-6, (2e-6, 4e-6, 6e-6, 8e-6)),
    ],
)
def test_ticks_are_round_at_any_size(low: float, high: float, ticks: tuple[float, ...]) -> None:
    assert even_ticks(low, high, about=4) == pytest.approx(ticks)


def test_no_two_ticks_read_the_same() -> None:
    for scale in (1e-5, 3e-3, 0.7, 12, 4.4e4, 2.7e6):
        for form in ("lives", "money") if scale > 10 else ("lives",):
            shown = [plain(tick_words(tick, form)) for tick in even_ticks(-scale, scale, about=4)]
            assert len(set(shown)) == len(shown)


def test_data_beside_the_figures_are_their_numbers() -> None:
    header, rows = lines_data(INTERVAL)
    assert header == ("panel", "line", "across", "value", "low", "high")
    assert rows[0] == ("lives a year", "", 6.0, 0.03, pytest.approx(0.01), pytest.approx(0.05))
    assert rows[-1] == ("nearly as good", None, None, None, 10.0, 20.0)
    assert swings_data(SWINGS)[1][0] == ("mishaps a year", -0.014, -0.057)


@both
@pytest.mark.parametrize("paper", ["white", "tone"])
def test_only_our_colours_faces_and_sizes(narrow: bool, paper: str) -> None:
    for svg in (
        draw_lines(NAMED, narrow=narrow, paper=paper),
        draw_swings(SWINGS, narrow=narrow, paper=paper),
    ):
        colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
        assert colours <= set(asdict(PALETTES[paper]).values())
        assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans"}
        assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note
        assert "<desc" in svg
