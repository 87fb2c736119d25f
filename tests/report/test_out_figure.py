"""Does F4 draw what is known of getting out, hatch what is not, and never climb above those who never got out?"""

from __future__ import annotations

import re
from dataclasses import asdict, replace
from functools import cache

import pytest
from samples import t
from test_figures import collisions

from survstats.report.out_figure import OutFigure, draw_out, out_data, plan_out
from survstats.report.out_panel import HATCH, OutPanel, OutStep
from survstats.report.style import PALETTES, SIZES

#: Invented: seconds, least, most (per cent).
TRAINED = ((0, 0, 0), (5, 4, 31), (10, 20, 47), (15, 39, 62), (20, 52, 71), (30, 67, 79), (60, 82, 85))
UNTRAINED = ((0, 0, 0), (8, 0, 19), (10, 6, 28), (20, 26, 44), (30, 39, 55), (45, 56, 63), (60, 64, 66))


def panel(name: str, told: tuple, ever: float, people: int, *, reach: float = 9.0) -> OutPanel:
    """An invented group: no number in it is real."""
    row = 0 if name == "Trained" else 1
    steps = tuple(
        OutStep(
            float(second), float(least), float(most), max(0.0, least - reach), min(ever + reach, most + reach)
        )
        for second, least, most in told
    )
    return OutPanel(
        name=t(f"{name}: [egress_people.{row}.occupants|{people}] people"),
        steps=steps,
        ever=ever,
        model=tuple((float(s), ever * (1 - 0.955**s) ** 2) for s in range(121)),
        inside=tuple(
            (float(s), t(f"[egress_at.{4 * row + at}.known_inside|{round(people * (1 - s / 90))}]"))
            for at, s in enumerate((10, 20, 40, 60))
        ),
        never_text=t(f"[egress_people.{row}.inside|{round(people * (100 - ever) / 100)}] never out"),
        out_text=t(f"[egress_people.{row}.out|{round(people * ever / 100)}] out"),
        unknown_text=t(f"[egress_people.{row}.not_known|3] not known"),
    )


def out(**changes) -> OutFigure:
    figure = OutFigure(
        panels=(panel("Trained", TRAINED, 88.0, 97), panel("Never trained", UNTRAINED, 71.0, 139)),
        last=60.0,
        step_text=t("share out"),
        hatch_text=t("out or still inside: the records do not say"),
        limits_text=t("how far both may be off, mishap by mishap"),
        model_text=t("the model"),
        inside_text=t("people known to be still inside"),
        never_text=t("never got out"),
        x_title=t("seconds after the fuselage met the water"),
        y_title=t("Per cent of each group out of the cabin"),
        alt=t("The share out by second, for trained people and for others."),
    )
    return replace(figure, **changes)


def alone(**changes) -> OutFigure:
    return out(panels=(replace(panel("Trained", TRAINED, 88.0, 97), **changes),))


EXACT = tuple((second, least, least) for second, least, _ in TRAINED)
NOBODY = OutPanel(t("Trained: 4 people"), (), 0.0, (), (), t("4 never out"), t("0 out"), ())
FIGURES = [
    out(),
    out(last=120.0),
    out(panels=()),
    out(panels=(panel("Trained", EXACT, 88.0, 97, reach=0.0),)),
    out(panels=(panel("Trained", TRAINED, 100.0, 1234), panel("Never trained", UNTRAINED, 99.0, 12345))),
    out(panels=(panel("Trained", ((0, 0, 90), (60, 2, 95)), 97.0, 97, reach=40.0), NOBODY)),
    alone(model=(), unknown_text=(), steps=tuple(OutStep(s, a, b, None, None) for s, a, b in TRAINED)),
    alone(inside=tuple((float(s), t("12345")) for s in (10, 11, 58, 60))),
    out(limits_text=(), model_text=(), hatch_text=t("the records do not say " * 6)),
]
narrows = pytest.mark.parametrize("narrow", [False, True])


@narrows
@pytest.mark.parametrize("case", range(len(FIGURES)))
def test_letters_stand_clear(case: int, narrow: bool) -> None:
    plate = plan_out(FIGURES[case], narrow=narrow)
    assert not collisions(plate.letters, plate.width, plate.height)


@cache
def drawn(figure: OutFigure, narrow: bool = False, paper: str = "white") -> str:
    return draw_out(figure, narrow=narrow, paper=paper)


def strokes(svg: str, width: str) -> list[list[tuple[float, float]]]:
    """The corners of every path of this stroke width."""
    paths = re.findall(r"<path[^>]*>", svg)
    found = [re.search(r' d="([^"]+)"', path) for path in paths if f'stroke-width="{width}"' in path]
    return [
        [(float(x), float(y)) for x, y in re.findall(r"[ML] ?(-?[\d.]+) (-?[\d.]+)", one[1])]
        for one in found
        if one
    ]


def bottom_and_scale(svg: str) -> tuple[float, float]:
    """Where 0 % stands, and points for a per cent."""
    ys = {
        int(share): float(y)
        for y, share in re.findall(r'<text x="[\d.]+" y="([\d.]+)"[^>]*>(?:<[^>]+>)?(\d+) %', svg)
    }
    return ys[0], (ys[0] - ys[100]) / 100


@narrows
def test_both_edges_stand_at_what_the_records_say_and_stay_below_who_never_got_out(narrow: bool) -> None:
    svg = drawn(alone(), narrow)
    edges = [stroke for stroke in strokes(svg, "1.8") if len(stroke) > 2]
    assert len(edges) == 2
    _, scale = bottom_and_scale(svg)
    floor = max(y for stroke in edges for _, y in stroke)
    for stroke, told in zip(edges, zip(*[row[1:] for row in TRAINED], strict=True), strict=True):
        heights = [round((floor - y) / scale, 1) for _, y in stroke]
        assert heights[0] == told[0]
        assert heights[-1] == pytest.approx(told[-1], abs=0.2)
        assert max(heights) < 88
        assert [round(height) for height in heights[2::2]] == list(told[1:])


def test_a_step_keeps_its_height_until_the_next_second_that_is_told() -> None:
    edge = next(stroke for stroke in strokes(drawn(alone()), "1.8") if len(stroke) > 2)
    for (x0, y0), (x1, y1) in zip(edge[::2], edge[1::2], strict=False):
        assert y0 == y1
        assert x1 >= x0


def test_only_what_is_not_known_is_hatched() -> None:
    known = drawn(out(panels=(panel("Trained", EXACT, 88.0, 97),), hatch_text=()))
    assert not strokes(known, "0.6")
    assert sum(map(len, strokes(drawn(alone()), "0.6"))) > 80


def test_strokes_stay_between_least_and_most() -> None:
    svg = drawn(alone(steps=(OutStep(0.0, 20.0, 60.0, None, None),)))
    _, scale = bottom_and_scale(svg)
    edges = sorted(stroke[0][1] for stroke in strokes(svg, "1.8") if stroke[-1][0] - stroke[0][0] > 40)
    assert edges[1] - edges[0] == pytest.approx(40 * scale, abs=0.3)
    inner = [y for stroke in strokes(svg, "0.6") for _, y in stroke if y > edges[0] - 30]
    assert min(inner) >= edges[0] - 0.1
    assert max(inner) <= edges[1] + 0.1
    assert HATCH > 3


def test_nothing_is_drawn_after_the_last_second() -> None:
    svg = drawn(alone(), True)
    right = max(x for stroke in strokes(svg, "1.8") for x, _ in stroke)
    assert max(x for stroke in strokes(svg, "1.1") for x, _ in stroke) <= right + 0.1
    longer = drawn(replace(alone(), last=120.0), True)
    assert len(max(strokes(longer, "1.1"), key=len)) > len(max(strokes(svg, "1.1"), key=len))


@narrows
def test_people_still_inside_and_the_fates_at_the_end_are_written_with_their_ids(narrow: bool) -> None:
    svg = drawn(out(), narrow)
    shown = set(re.findall(r'data-number="([^"]+)"', svg))
    people = {
        f"egress_people.{row}.{fate}"
        for row in (0, 1)
        for fate in ("occupants", "out", "inside", "not_known")
    }
    assert shown == people | {f"egress_at.{at}.known_inside" for at in range(8)}


def test_a_second_beyond_the_field_has_no_number() -> None:
    svg = drawn(replace(out(), last=30.0))
    assert "egress_at.1.known_inside" in svg
    assert "egress_at.2.known_inside" not in svg


def test_data_beside_the_figure_hold_every_step_and_the_end() -> None:
    header, rows = out_data(alone())
    assert header[2:5] == ("seconds", "least_percent", "most_percent")
    assert rows[1] == ("share_out", "Trained: 97 people", 5.0, 4.0, 31.0, 0.0, 40.0, None)
    assert {row[0] for row in rows} == {"share_out", "model", "known_inside", "out_in_the_end"}
    assert rows[-1] == ("out_in_the_end", "Trained: 97 people", None, 88.0, 88.0, None, None, "85 out")
    assert all(len(row) == len(header) for row in rows)


@narrows
@pytest.mark.parametrize("paper", ["white", "tone"])
def test_only_our_colours_faces_and_sizes(narrow: bool, paper: str) -> None:
    svg = drawn(out(), narrow, paper)
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
    assert colours <= set(asdict(PALETTES[paper]).values())
    assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans"}
    assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note
    assert "<desc" in svg
