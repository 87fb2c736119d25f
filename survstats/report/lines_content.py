"""What do panels of lines over one axis hold, before they are drawn?"""

from __future__ import annotations

from dataclasses import dataclass

from survstats.report.content import Text


@dataclass(frozen=True)
class DrawnLine:
    """One line: its points rising in x, limits where it has any, and its name."""

    name: Text
    x: tuple[float, ...]
    y: tuple[float, ...]
    low: tuple[float, ...] = ()
    high: tuple[float, ...] = ()


@dataclass(frozen=True)
class LinesPanel:
    """One field of lines; ``form`` is the rounding form of its numbers, ``zero`` whether zero is a line of its own."""

    title: Text
    lines: tuple[DrawnLine, ...]
    form: str
    zero: bool = False


@dataclass(frozen=True)
class LinesFigure:
    """Panels over one axis.

    Attributes
    ----------
    key : str
        Name of the drawing.
    panels : tuple of LinesPanel
    x_form : str
        Rounding form of the numbers along the axis.
    x_title : Text
    reference : float or None
        Where the line to measure against stands on the axis, and ``reference_text`` what it is.
    strip : (float, float) or None
        From where to where on the axis a ground is laid, and ``strip_text`` what it means.
    study : (float, float, float) or None
        Low, value and high of what the records show, drawn under the axis, and ``study_text`` what it is.
    limits_text, zero_text : Text
        What thin dashed lines and the line at zero are.
    alt : Text
    """

    key: str
    panels: tuple[LinesPanel, ...]
    x_form: str
    x_title: Text
    alt: Text
    reference: float | None = None
    reference_text: Text = ()
    strip: tuple[float, float] | None = None
    strip_text: Text = ()
    study: tuple[float, float, float] | None = None
    study_text: Text = ()
    limits_text: Text = ()
    zero_text: Text = ()
