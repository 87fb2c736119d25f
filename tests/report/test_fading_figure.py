"""Does F6 stay inside the observed months, keep its letters apart, and say with marks what the data beside it say?"""

from __future__ import annotations

import re
from dataclasses import asdict, replace

import pytest
from samples import t
from test_figures import collisions

from survstats.report.fading_figure import (
    NARROW,
    WIDE,
    BandPoint,
    CurvePoint,
    FadingFigure,
    draw_fading,
    fading_data,
    plan_fading,
)
from survstats.report.style import PALETTES, SIZES


def fading(first: float = 0.4, last: float = 59.9, start: float = 18.0, reach: float = 9.0) -> FadingFigure:
    """An invented figure: no number in it is real."""
    months = [first + (last - first) * step / 24 for step in range(25)]
    curve = tuple(
        CurvePoint(month, value, value - reach, value + reach)
        for month in months
        for value in [start * 2 ** (-month / 22)]
    )
    spans = ((0.0, 12.0, "29"), (12.0, 24.0, "48"), (24.0, 48.0, "76"), (48.0, None, "35"))
    bands = tuple(
        BandPoint(
            low,
            high,
            start - 2 * k,
            start - 2 * k - reach,
            start - 2 * k + reach,
            t(f"[recency.{k}|{people}]"),
        )
        for k, (low, high, people) in enumerate(spans)
    )
    return FadingFigure(
        curve=curve,
        bands=bands,
        rug=tuple((6.0 * step, 10 + step) for step in range(10)),
        rug_step=6.0,
        curve_text=t("the difference, fitted as one effect that fades"),
        limits_text=t("its 95 % interval"),
        bands_text=t("each span by itself, 95 %"),
        zero_text=t("no difference"),
        rug_text=t("people, by the month of their last course"),
        people_text=t("people in each span"),
        x_title=t("months between the last hands-on course and the mishap"),
        y_title=t("points of survival: trained so long before, minus never trained"),
        alt=t("The difference by months since training."),
    )


UNESTIMATED = tuple(replace(band, points=None, low=None, high=None) for band in fading().bands)
FIGURES = [
    fading(),
    fading(first=13.0, last=30.0),
    fading(first=2.0, last=400.0),
    fading(start=-40.0, reach=60.0),
    fading(start=0.0, reach=0.2),
    replace(fading(), bands=()),
    replace(fading(), bands=UNESTIMATED, rug=()),
    fading(first=23.5, last=24.6),
]


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("case", range(len(FIGURES)))
def test_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_fading(FIGURES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


def strokes(svg: str, width: str) -> list[list[float]]:
    """The x of every path of this stroke width."""
    paths = re.findall(r"<path[^>]*>", svg)
    found = [re.search(r' d="([^"]+)"', path) for path in paths if f'stroke-width="{width}"' in path]
    return [[float(x) for x in re.findall(r"[ML] ?(-?[\d.]+)", one[1])] for one in found if one]


@pytest.mark.parametrize("narrow", [False, True])
def test_the_curve_runs_from_the_first_to_the_last_month_and_no_further(narrow: bool) -> None:
    svg = draw_fading(fading(first=13.0, last=30.0), narrow=narrow)
    curve = max(strokes(svg, "2.8"), key=len)
    assert len(curve) == 25
    field = plan_fading(fading(first=13.0, last=30.0), narrow=narrow)
    assert curve[-1] == pytest.approx((NARROW if narrow else WIDE) - 8.5, abs=0.1)
    assert field.width >= max(curve)
    ticks = {line.text[0].text for line in field.letters}
    assert {"15", "18", "21", "24", "27", "30"} <= ticks
    assert "12" not in ticks


def test_a_band_outside_the_observed_months_is_not_drawn() -> None:
    svg = draw_fading(fading(first=13.0, last=30.0))
    shown = set(re.findall(r'data-number="(recency\.\d)"', svg))
    assert shown == {"recency.1", "recency.2"}


def test_a_band_without_an_estimate_keeps_its_people_and_has_no_mark() -> None:
    marked, bare = draw_fading(fading()), draw_fading(replace(fading(), bands=UNESTIMATED))
    assert 'data-number="recency.2"' in bare
    assert len(strokes(marked, "1.2")) > len(strokes(bare, "1.2"))


def test_data_beside_the_figure_are_its_points_bands_and_people() -> None:
    header, rows = fading_data(fading())
    assert header[:4] == ("kind", "from_months", "to_months", "people")
    assert [row[0] for row in rows] == ["curve"] * 25 + ["band"] * 4 + ["people"] * 10
    assert rows[25] == ("band", 0.0, 12.0, "29", 18.0, 9.0, 27.0)
    assert rows[-1] == ("people", 54.0, 60.0, 19, None, None, None)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("paper", ["white", "tone"])
def test_only_our_colours_faces_and_sizes(narrow: bool, paper: str) -> None:
    svg = draw_fading(fading(), narrow=narrow, paper=paper)
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
    assert colours <= set(asdict(PALETTES[paper]).values())
    assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans"}
    assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note
    assert "<desc" in svg
