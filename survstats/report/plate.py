"""How do lines, dots and lettering get onto a figure drawn with matplotlib, in points from its top left corner?"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import matplotlib as mpl
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Rectangle

from survstats.report.content import Piece, Text, plain
from survstats.report.lettering import Lettered
from survstats.report.style import FAMILIES, PALETTES, Palette, Paper, figure_settings, register_fonts
from survstats.report.svg import clean, wrap

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in points."""


@dataclass
class Plate:
    """An empty figure of ``width`` by ``height`` points and what has been put on it."""

    width: float
    height: float
    palette: Palette
    axes: Axes
    letters: list[Lettered] = field(default_factory=list)

    def ground(self, box: Box, colour: str) -> None:
        """A plain surface without an edge."""
        left, top, right, bottom = box
        self._put(
            Rectangle(
                (left, top), right - left, bottom - top, facecolor=colour, edgecolor="none", linewidth=0
            )
        )

    def frame(self, box: Box, colour: str, width: float) -> None:
        """A surface in the colour of the paper with an edge."""
        left, top, right, bottom = box
        inside = self.palette.paper
        self._put(
            Rectangle(
                (left, top), right - left, bottom - top, facecolor=inside, edgecolor=colour, linewidth=width
            )
        )

    def hatch(self, box: Box, colour: str, step: float, *, start: float | None = None) -> None:
        """A framed bar, hatched from ``start`` (its left end without one) to its right end: what cannot be seen."""
        left, top, right, bottom = box
        begin, height = left if start is None else start, bottom - top
        self.frame(box, colour, 0.9)
        foot = begin - height + step
        while foot < right:
            low, high = max(foot, begin), min(foot + height, right)
            self.line([low, high], [bottom - (low - foot), bottom - (high - foot)], colour, 0.6)
            foot += step

    def line(
        self,
        x: Sequence[float],
        y: Sequence[float],
        colour: str,
        width: float,
        *,
        dashes: tuple[float, float] | None = None,
    ) -> None:
        """A line through points; ``width`` and ``dashes`` in points."""
        drawn = Line2D(x, y, color=colour, linewidth=width, solid_capstyle="butt", dash_capstyle="butt")
        if dashes:
            drawn.set_linestyle((0, (dashes[0] / width, dashes[1] / width)))
        self._put(drawn)

    def dot(self, x: float, y: float, size: float, *, fill: str, edge: str, width: float = 1.2) -> None:
        """A round mark of ``size`` points across."""
        self._put(Circle((x, y), size / 2, facecolor=fill, edgecolor=edge, linewidth=width))

    def _put(self, drawn: Artist) -> None:
        drawn.set_clip_on(False)
        drawn.set_zorder(len(self.axes.get_children()))
        self.axes.add_artist(drawn)

    def write(self, letters: Lettered) -> None:
        """One line of text."""
        words = self.axes.text(
            letters.x,
            letters.y,
            plain(letters.text),
            family=FAMILIES[letters.face],
            fontsize=letters.size,
            fontweight=letters.weight,
            color=getattr(self.palette, letters.colour),
            ha={"start": "left", "middle": "center", "end": "right"}[letters.anchor],
            va="baseline",
            parse_math=False,
        )
        words.set_zorder(len(self.axes.get_children()))
        words.set_gid(f"text-{len(self.letters)}")
        self.letters.append(letters)

    def svg(self, *, key: str, title: str, description: str) -> str:
        """The figure as an SVG fit for a page."""
        drawn = io.StringIO()
        figure = self.axes.get_figure()
        assert isinstance(figure, Figure)  # noqa: S101  (the axes were put on a figure when the plate was laid)
        with mpl.rc_context(figure_settings(self.palette)):
            figure.savefig(drawn, format="svg", metadata={"Date": None, "Creator": None})
        inside = clean(drawn.getvalue(), [line.text for line in self.letters])
        return wrap(inside, self.width, self.height, key=key, title=title, description=description)


def lay(width: float, height: float, paper: Paper) -> Plate:
    """An empty plate."""
    register_fonts()
    palette = PALETTES[paper]
    with mpl.rc_context(figure_settings(palette)):
        axes = Figure(figsize=(width / 72, height / 72)).add_axes((0.0, 0.0, 1.0, 1.0))
    axes.set_axis_off()
    axes.figure.patch.set_visible(False)
    axes.set_xlim(0, width)
    axes.set_ylim(height, 0)
    return Plate(width, height, palette, axes)


def nice_ticks(low: float, high: float, *, about: int) -> tuple[float, ...]:
    """Round numbers inside [low, high], some ``about`` of them, always with 0 where it lies inside."""
    rough = (high - low) / about
    power = 10.0 ** len(str(int(rough))) / 10 if rough >= 1 else 1.0
    step = next(power * unit for unit in (1, 2, 5, 10) if power * unit >= rough)
    return tuple(step * index for index in range(math.ceil(low / step), math.floor(high / step) + 1))


def tick_text(value: float, unit: str = "") -> Text:
    """A tick's number with a true minus."""
    return (Piece(f"{value:.0f}".replace("-", "\u2212") + unit),)
