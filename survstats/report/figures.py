"""Which figures does a paper have, as drawings and as data?"""

from __future__ import annotations

from collections.abc import Callable

from survstats.report.axis_figure import draw_axis
from survstats.report.break_even_figure import curve, difference_at, draw_break_even
from survstats.report.cabin_map import CabinMapFigure
from survstats.report.cabin_map_figure import draw_cabin_map
from survstats.report.cabin_map_figure import figure_rows as cabin_map_data
from survstats.report.calibration_figure import CalibrationFigure, draw_calibration
from survstats.report.calibration_figure import figure_rows as calibration_data
from survstats.report.chains_figure import ChainsFigure, draw_chains
from survstats.report.chains_figure import figure_rows as chains_data
from survstats.report.choices_figure import ChoicesFigure, draw_choices
from survstats.report.choices_figure import figure_rows as choices_data
from survstats.report.content import AxisFigure, AxisRow, BreakEvenFigure, SeatsFigure, plain
from survstats.report.fading_figure import FadingFigure, draw_fading, fading_data
from survstats.report.gaps_figure import draw_gaps
from survstats.report.graph_figure import GraphFigure, draw_graph
from survstats.report.lines_content import LinesFigure
from survstats.report.lines_figure import draw_lines, lines_data
from survstats.report.one_out_figure import OneOutFigure, draw_one_out
from survstats.report.one_out_figure import figure_rows as one_out_data
from survstats.report.out_figure import OutFigure, draw_out, out_data
from survstats.report.records_content import GapsFigure
from survstats.report.runs_figure import RunsFigure, draw_runs, runs_data
from survstats.report.seats_figure import draw_seats
from survstats.report.style import Paper
from survstats.report.swings_figure import SwingsFigure, draw_swings, swings_data
from survstats.report.tipping_figure import TippingFigure, draw_tipping
from survstats.report.tipping_figure import figure_rows as tipping_data
from survstats.study.results import Cell

Figure = (
    SeatsFigure
    | AxisFigure
    | BreakEvenFigure
    | GapsFigure
    | FadingFigure
    | GraphFigure
    | CalibrationFigure
    | ChainsFigure
    | ChoicesFigure
    | TippingFigure
    | OneOutFigure
    | CabinMapFigure
    | OutFigure
    | RunsFigure
    | LinesFigure
    | SwingsFigure
)
_DRAWN: dict[type, Callable[..., str]] = {
    SeatsFigure: draw_seats,
    AxisFigure: draw_axis,
    BreakEvenFigure: draw_break_even,
    GapsFigure: draw_gaps,
    FadingFigure: draw_fading,
    GraphFigure: draw_graph,
    CalibrationFigure: draw_calibration,
    ChainsFigure: draw_chains,
    ChoicesFigure: draw_choices,
    TippingFigure: draw_tipping,
    OneOutFigure: draw_one_out,
    CabinMapFigure: draw_cabin_map,
    OutFigure: draw_out,
    RunsFigure: draw_runs,
    LinesFigure: draw_lines,
    SwingsFigure: draw_swings,
}


def draw(figure: Figure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """The figure as an SVG: 170 or 88 mm wide, or (``narrow``) drawn anew for a phone.

    Parameters
    ----------
    figure : Figure
    narrow : bool
    paper : {"white", "tone"}
        Ground the figure will stand on.
    """
    return _DRAWN[type(figure)](figure, narrow=narrow, paper=paper)


def figure_data(figure: Figure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What the figure shows, as a table: names of the columns (ending in their unit) and rows."""
    if isinstance(figure, SeatsFigure):
        arms = (figure.upper, figure.lower)
        return (
            ("arm", "alive_of_100", "low_of_100", "high_of_100"),
            [(plain(arm.label), arm.alive, arm.low, arm.high) for arm in arms],
        )
    if isinstance(figure, AxisFigure):
        header = ("kind", "family", "name", "note", "value_points", "low_points", "high_points")
        return (*header, "outer_low_points", "outer_high_points"), [_axis_cells(row) for row in figure.rows]
    if isinstance(figure, GapsFigure):
        return (
            ("field", "died_known_people", "died_people", "survived_known_people", "survived_people"),
            [
                (plain(row.name), *(row.died or (None, None)), *(row.survived or (None, None)))
                for row in figure.rows
            ],
        )
    if isinstance(figure, FadingFigure):
        return fading_data(figure)
    if isinstance(figure, CalibrationFigure):
        return calibration_data(figure)
    if isinstance(figure, ChainsFigure):
        return chains_data(figure)
    if isinstance(figure, ChoicesFigure):
        return choices_data(figure)
    if isinstance(figure, TippingFigure):
        return tipping_data(figure)
    if isinstance(figure, OneOutFigure):
        return one_out_data(figure)
    if isinstance(figure, CabinMapFigure):
        return cabin_map_data(figure)
    if isinstance(figure, OutFigure):
        return out_data(figure)
    if isinstance(figure, RunsFigure):
        return runs_data(figure)
    if isinstance(figure, LinesFigure):
        return lines_data(figure)
    if isinstance(figure, SwingsFigure):
        return swings_data(figure)
    if isinstance(figure, GraphFigure):
        return (
            ("kind", "from", "to"),
            [
                *((node.state, node.code, None) for node in figure.nodes),
                *((arrow.kind, arrow.start, arrow.end) for arrow in figure.arrows),
            ],
        )
    shares, points = curve(figure)
    rows: list[tuple[Cell, ...]] = [("curve", *pair) for pair in zip(shares[::10], points[::10], strict=True)]
    marks = {
        "break_even": figure.break_even,
        "known_dead": figure.known,
        "unknown_dead_low": figure.unknown_low,
        "unknown_dead_high": figure.unknown_high,
    }
    rows += [
        (name, share, difference_at(figure, share)) for name, share in marks.items() if share is not None
    ]
    return ("kind", "share_of_dead_trained", "difference_points"), rows


def _axis_cells(row: AxisRow) -> tuple[Cell, ...]:
    words = (row.kind, row.family, plain(row.name), plain(row.note))
    return (*words, row.value, row.low, row.high, row.outer_low, row.outer_high)
