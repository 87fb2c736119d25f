"""What does every notebook do with words and pictures?

Used by the notebooks alone; needs the notebook extra (IPython) once something is shown.
"""

from __future__ import annotations

import contextlib
import textwrap
from collections.abc import Iterator, Mapping
from pathlib import Path

import matplotlib.pyplot as plt
import pandas as pd
import typst
from cycler import cycler
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from survstats.groundwork.errors import PublishError, SurvstatsError
from survstats.groundwork.estimate import Estimate
from survstats.report.figures import Figure as Drawing
from survstats.report.figures import draw
from survstats.report.style import FONTS, PALETTES, figure_settings, register_fonts
from survstats.study.results import Number

PALETTE = PALETTES["tone"]


def set_up() -> None:
    """Figures in the look of the papers, tables with whole texts."""
    pd.set_option("display.max_colwidth", None)
    register_fonts()
    plt.rcParams.update(figure_settings(PALETTE))
    plt.rcParams.update({"figure.facecolor": PALETTE.paper, "figure.dpi": 110, "ytick.left": False})
    plt.rcParams.update({"axes.spines.top": False, "axes.spines.right": False, "axes.spines.left": False})
    plt.rcParams["axes.prop_cycle"] = cycler(color=[PALETTE.sea])


def tell(text: str) -> None:
    """Print a sentence in lines of a readable length."""
    print(textwrap.fill(text.replace("\u00a0", " "), 96))


def show(figure: Figure, alt: str) -> None:
    """Show a figure once, with a text for those who cannot see it."""
    from IPython.display import display

    display(figure, metadata={"image/png": {"alt": alt}})  # type: ignore[no-untyped-call]
    plt.close(figure)


def picture(papers: str | Path, name: str, alt: str, *, width: str = "210mm", page: int = 1) -> None:
    """Show a page or a figure from a folder of papers, as it will be printed."""
    source = (
        f'#set page(width: auto, height: auto, margin: 2mm)\n#image("/{name}", page: {page}, width: {width})'
    )
    _show_set(source, str(papers), alt)


def show_drawing(figure: Drawing, alt: str) -> None:
    """Show a figure of the papers that is not in a folder yet."""
    import tempfile

    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "figure.svg").write_text(draw(figure), encoding="utf-8")
        _show_set('#set page(width: auto, height: auto, margin: 3mm)\n#image("/figure.svg")', place, alt)


def _show_set(source: str, root: str, alt: str) -> None:
    from IPython.display import Image, display

    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[FONTS])
    png, warned = typst.compile_with_warnings(  # type: ignore[call-overload]
        source.encode(), root=root, font_paths=fonts, format="png", ppi=100
    )
    if warned:
        raise PublishError("pdf", f"The picture could not be set without a warning: {warned[0].message}.")
    display(Image(png), metadata={"image/png": {"alt": alt}})  # type: ignore[no-untyped-call]


@contextlib.contextmanager
def or_in_words() -> Iterator[None]:
    """Say why, where the records cannot carry a step."""
    try:
        yield
    except SurvstatsError as fault:
        tell(f"Not possible here. {fault}")


def in_points(named: Mapping[str, Estimate | Number]) -> pd.DataFrame:
    """Estimates as one table, in points of a hundred, with their limits."""
    rows = {
        name: [100 * end if end is not None else None for end in (found.value, found.low, found.high)]
        for name, found in named.items()
    }
    return pd.DataFrame.from_dict(rows, orient="index", columns=["points", "low", "high"])


def draw_points(axes: Axes, table: pd.DataFrame) -> None:
    """Each row of a table as a dot with its interval, the first row on top, and a line at no difference."""
    places = range(len(table), 0, -1)
    axes.hlines(places, table["low"], table["high"], color=PALETTE.sea, linewidth=1.5)
    axes.plot(table["points"], places, "o", color=PALETTE.sea, markersize=6)
    axes.axvline(0, color=PALETTE.ink, linewidth=1)
    axes.set_yticks(places, table.index)
    axes.set_ylim(0.4, len(table) + 0.6)
    axes.set_xlabel("points: survival of the trained minus survival of the never trained")
