"""F11: how much longer do people take in the pool, so many months after their last course, than beginners?

Drawn as the fading of the difference in survival is (F6), with its own scale: per cent of the time on a first course.
"""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import Text, plain
from survstats.report.fading_figure import FadingFigure, fading_data, plan_fading
from survstats.report.style import Paper
from survstats.study.results import Cell


@dataclass(frozen=True)
class RunsFigure:
    """F11: the curve over the observed months, a mark for each band, a rug of courses.

    Attributes
    ----------
    drawing : FadingFigure
        Its ``points`` are per cent more (or, below 0, less) time than people on their first course take.
    """

    drawing: FadingFigure

    @property
    def alt(self) -> Text:
        """What the figure shows, in words."""
        return self.drawing.alt


def draw_runs(figure: RunsFigure, *, narrow: bool = False, paper: Paper = "white") -> str:
    """F11 as an SVG.

    Parameters
    ----------
    figure : RunsFigure
    narrow : bool
        For phones: larger lettering, the key one line below the other.
    paper : {"white", "tone"}
    """
    drawing = figure.drawing
    plate = plan_fading(drawing, narrow=narrow, paper=paper)
    return plate.svg(
        key="runs-narrow" if narrow else "runs",
        title=plain(drawing.curve_text or drawing.limits_text),
        description=plain(drawing.alt),
    )


def runs_data(figure: RunsFigure) -> tuple[tuple[str, ...], list[tuple[Cell, ...]]]:
    """What F11 shows, as a table: names of the columns and rows; a row of ``courses`` counts those in its months."""
    _, rows = fading_data(figure.drawing)
    header = ("kind", "from_months", "to_months", "people", "time_percent", "low_percent", "high_percent")
    return header, [("courses", *row[1:]) if row[0] == "people" else row for row in rows]
