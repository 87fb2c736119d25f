"""Which colours, faces and sizes do the papers and figures have?

The only place where a colour or a type size is decided. Sea says "people and estimates", clay says "a line to measure
against"; shape and word carry every state, so that nothing is lost in grey.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

Face = Literal["read", "label"]
Weight = Literal[400, 500, 600, 700]
Paper = Literal["tone", "white"]

TEMPLATES = Path(__file__).parent / "templates"
FONTS = TEMPLATES / "fonts"
FAMILIES: dict[Face, str] = {"read": "Vollkorn", "label": "Clear Sans"}
FONT_FILES: dict[tuple[Face, Weight], str] = {
    ("read", 400): "Vollkorn-Regular",
    ("read", 600): "Vollkorn-SemiBold",
    ("label", 400): "ClearSans-Regular",
    ("label", 500): "ClearSans-Medium",
    ("label", 700): "ClearSans-Bold",
}
MM = 72 / 25.4
"""Points in a millimetre: figures are drawn in points and planned in millimetres."""


@dataclass(frozen=True)
class Palette:
    """The colours of a paper, as ``#rrggbb``.

    Attributes
    ----------
    ink, soft : str
        Text, the zero line; secondary text, axis numbers.
    sea, clay : str
        People, estimates, the word; reference marks and the stamp.
    line, haze, hair : str
        Hull, open seats, axes; grounds that carry no text in clay; row separators.
    paper : str
        The page itself.
    """

    ink: str = "#231f1a"
    soft: str = "#4b4339"
    sea: str = "#12505e"
    clay: str = "#823a0a"
    line: str = "#84796a"
    haze: str = "#efe4cf"
    hair: str = "#d3c5aa"
    paper: str = "#fbf6ea"


PALETTES: dict[Paper, Palette] = {"tone": Palette(), "white": Palette(paper="#ffffff")}


@dataclass(frozen=True)
class Sizes:
    """The type sizes of the page and of figures, in points; nothing is smaller than ``note``."""

    question: float = 23
    title: float = 20
    answer: float = 17
    word: float = 25
    sentence: float = 15
    reading: float = 14.5
    numeral: float = 42
    difference: float = 15.5
    head: float = 14
    lead: float = 13.5
    body: float = 10.5
    block: float = 10
    name: float = 9.5
    label: float = 9
    note: float = 8.5
    narrow: float = 11
    narrow_note: float = 10.5


SIZES = Sizes()


def figure_settings(palette: Palette) -> dict[Any, Any]:
    """Settings under which matplotlib draws our figures: our faces, no frame, no grid, no colour of its own."""
    return {
        "svg.fonttype": "none",
        "svg.hashsalt": "survstats",
        "svg.id": None,
        "font.family": [FAMILIES["label"]],
        "font.size": SIZES.label,
        "text.parse_math": False,
        "text.usetex": False,
        "text.color": palette.ink,
        "figure.facecolor": "none",
        "figure.edgecolor": "none",
        "figure.dpi": 72,
        "axes.facecolor": "none",
        "axes.edgecolor": palette.line,
        "axes.labelcolor": palette.soft,
        "axes.grid": False,
        "axes.unicode_minus": True,
        "patch.facecolor": palette.sea,
        "patch.edgecolor": palette.sea,
        "lines.color": palette.sea,
        "lines.solid_capstyle": "butt",
        "lines.solid_joinstyle": "miter",
    }


@cache
def register_fonts() -> None:
    """Make the two faces known to matplotlib (once in a process)."""
    from matplotlib.font_manager import fontManager

    for stem in FONT_FILES.values():
        fontManager.addfont(FONTS / f"{stem}.ttf")
