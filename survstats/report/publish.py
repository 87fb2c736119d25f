"""How does the content of a paper become HTML, PDF and figure files?

One content, two settings: jinja2 for the screen (one file, fonts and figures inside, no script, a content policy that
allows nothing but its own style sheet and fonts), typst for print (tagged, PDF/UA-1). Text is never read as markup.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import asdict
from functools import cache

import typst
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from survstats.groundwork.errors import PublishError
from survstats.report.annex.content import AnnexContent, pictures_of
from survstats.report.claim_paper import ClaimContent
from survstats.report.content import BriefContent, GateState, Text, plain
from survstats.report.figures import Figure, draw
from survstats.report.folder import write_folder
from survstats.report.lettering import break_lines
from survstats.report.marks import planks, window
from survstats.report.records_content import RecordsContent
from survstats.report.style import FAMILIES, FONT_FILES, FONTS, MM, PALETTES, SIZES, TEMPLATES, Palette, Paper

__all__ = ["figures_of", "figures_svg", "render_html", "render_pdf", "write_folder"]

Content = BriefContent | RecordsContent | AnnexContent
Page = Content | ClaimContent
"""What can be set for the screen."""

STATES: tuple[GateState, ...] = ("met", "partly_met", "not_met", "not_assessed")
PAGES = 2
_TEXT_WIDTH = 170 * MM
_LONG_WORD = re.compile(r"\S{21,}")
AIRS = (1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.2, 0.0)
"""Shares of the space between blocks, tried page by page until the paper fits; type is never shrunk."""

_EASY = 0.4
"""The share of the space on page 2 below which its parts are put in other places first."""


def figures_of(content: Page) -> dict[str, Figure]:
    """The figures this paper has, by name."""
    if isinstance(content, AnnexContent):
        return pictures_of(content)
    every: dict[str, Figure | None]
    if isinstance(content, ClaimContent):
        every = {"claim": content.figure}
    elif isinstance(content, RecordsContent):
        every = {"gaps": content.gaps}
    else:
        every = {"seats": content.seats, "axis": content.axis, "break_even": content.break_even}
    return {name: figure for name, figure in every.items() if figure is not None}


def figures_svg(content: Content, *, paper: Paper = "white") -> dict[str, str]:
    """The figures as SVG files, by name."""
    return {name: draw(figure, paper=paper) for name, figure in figures_of(content).items()}


def render_html(content: Page) -> str:
    """The paper as one HTML file.

    Each figure is there twice, wide and drawn anew for phones; the style sheet shows one of them. On white paper
    (print) the open seats follow the page.
    """
    environment = templates()
    style = style_sheet()
    figures = {
        name: {
            "wide": _inline(wide),
            "narrow": _inline(draw(figure, narrow=True, paper="tone")),
            "kind": "half" if _width(wide) < _TEXT_WIDTH / 2 + MM * 10 else "whole",
        }
        for name, figure in figures_of(content).items()
        for wide in (draw(figure, paper="tone"),)
    }
    return environment.get_template(f"{_name(content)}.html.jinja").render(
        c=content,
        style=Markup(style),  # noqa: S704  (our own template)
        style_hash=policy_hash(style),
        figures=figures,
        marks={name: Markup(svg) for name, svg in _marks(content, PALETTES["tone"]).items()},  # noqa: S704
    )


def templates() -> Environment:
    """Where the pages' templates are found; what they are filled with is never read as markup."""
    found = Environment(
        loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined, trim_blocks=False
    )
    found.tests["holding_a_long_word"] = holds_a_long_word
    return found


def holds_a_long_word(text: Text) -> bool:
    """Whether a cell holds a word so long that it must be let break, or it would push its table off the page."""
    return _LONG_WORD.search(plain(text)) is not None


def style_sheet() -> str:
    """The style sheet of every page, fonts inside."""
    sheet = templates().get_template("paper.css.jinja")
    return sheet.render(faces=_faces(), palette=asdict(PALETTES["tone"]), sizes=SIZES)


def policy_hash(text: str) -> str:
    """A style sheet or script as the page's content policy names it."""
    return f"sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}"


def render_pdf(content: Content, *, paper: Paper = "white", drawn: Mapping[str, str] | None = None) -> bytes:
    """The paper as a tagged PDF (PDF/UA-1): two A4 pages, the annex as many as it needs.

    Where texts of the study are too long for two pages even with little space between the parts, it runs on: type is
    never shrunk and nothing is cut.

    Parameters
    ----------
    content : Content
    paper : {"white", "tone"}
    drawn : mapping of str to str, optional
        The figures as `figures_svg` draws them on this paper, where that is done already.

    Raises
    ------
    PublishError
        ``pdf``: typst refuses or warns (for example a character that the fonts do not have); ``figure_font``: a
        figure asks for a font that is not in the package.
    """
    drawn = figures_svg(content, paper=paper) if drawn is None else drawn
    fonts = typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[FONTS])
    for name, svg in drawn.items():
        unknown = set(re.findall(r'font-family="([^"]+)"', svg)) - set(fonts.families())
        if unknown:
            raise PublishError("figure_font", f"The figure {name} asks for the font {unknown.pop()}.")
    data = {
        "content": _parts(content),
        "palette": asdict(PALETTES[paper]),
        "sizes": asdict(SIZES),
        "figures": {
            name: {"svg": drawn[name], "alt": plain(figure.alt), "width": _width(drawn[name])}
            for name, figure in figures_of(content).items()
        },
        "marks": _marks(content, PALETTES[paper]),
        "note_lines": sum(len(break_lines(note, _TEXT_WIDTH, SIZES.note)) for note in content.head.notes),
    }
    template = f"{_name(content)}.typ"
    if isinstance(content, AnnexContent):
        return _compile(template, {**data, "air": [AIRS[0]]}, fonts)
    least = min(AIRS)
    for share, first in ((_EASY, True), (_EASY, False), (_EASY / 2, False), (least, True), (least, False)):
        # some parts have another place where their first one has no room, or leaves none to breathe
        data["ledger_first"] = data["beside"] = first
        air = [least] * (PAGES - 1) + [share]
        pdf = _compile(template, {**data, "air": air}, fonts)
        if count_pages(pdf) == PAGES:
            break
    else:
        return pdf
    for page in range(PAGES):
        for share in AIRS:
            roomy = _compile(template, {**data, "air": [*air[:page], share, *air[page + 1 :]]}, fonts)
            if count_pages(roomy) == PAGES:
                air[page], pdf = share, roomy
                break
    return pdf


def count_pages(pdf: bytes) -> int:
    """How many pages the PDF has."""
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


def _parts(content: Content) -> dict[str, object]:
    """The content as plain data; of a figure only its name, since it stands there drawn."""
    data = asdict(content)
    if isinstance(content, AnnexContent):
        for blocks in (data["opening"], *(section["blocks"] for section in data["sections"])):
            for block in blocks:
                block["picture"] = block["picture"]["name"] if block["picture"] else ""
    return data


def _width(svg: str) -> float:
    """How wide a figure was drawn, in points."""
    found = re.search(r'width="([\d.]+)pt"', svg)
    return float(found[1]) if found else _TEXT_WIDTH


def _name(content: Page) -> str:
    """Name of the paper's templates."""
    if isinstance(content, AnnexContent):
        return "annex"
    if isinstance(content, ClaimContent):
        return "claim"
    return "records" if isinstance(content, RecordsContent) else "brief"


def _compile(template: str, data: Mapping[str, object], fonts: typst.Fonts) -> bytes:
    try:
        pdf, warned = typst.compile_with_warnings(
            TEMPLATES / template,
            root=TEMPLATES,
            font_paths=fonts,
            format="pdf",
            sys_inputs={"data": json.dumps(data)},
            pdf_standards=["ua-1"],
            timestamp=0,
        )
    except typst.TypstError as fault:
        lacking = re.search(r'the text `"(.+?)"` could not be displayed', fault.message)
        if lacking:
            raise PublishError(
                "pdf",
                f"The fonts of the paper lack the letter '{lacking[1]}'.",
                "Write the texts of the study file in Latin, Greek or Cyrillic letters.",
            ) from fault
        raise PublishError(
            "pdf", f"The PDF could not be set: {fault.message}.", " ".join(fault.hints)
        ) from fault
    if warned:
        raise PublishError("pdf", f"The PDF could not be set without a warning: {warned[0].message}.")
    return bytes(pdf)


def _marks(content: Page, palette: Palette) -> dict[str, str]:
    if isinstance(content, RecordsContent | ClaimContent):
        return {}
    laid: dict[str, str] = {state: planks(state, palette) for state in STATES}
    if isinstance(content, AnnexContent):
        return laid
    return {
        "window": window(content.word.hidden, palette),
        **{
            f"word_{at}": window(line.hidden, palette, width=5.2 * MM)
            for at, line in enumerate(content.words)
        },
        **laid,
    }


def _inline(svg: str) -> Markup:
    """A figure for a page whose paper changes between screen and print."""
    return Markup(svg.replace(f'fill="{PALETTES["tone"].paper}"', 'fill="var(--paper)"'))  # noqa: S704


@cache
def _faces() -> dict[str, tuple[str, int, str]]:
    """Family, weight and base64 of each face for the style sheet."""
    return {
        stem: (FAMILIES[face], weight, base64.b64encode((FONTS / f"{stem}.woff2").read_bytes()).decode())
        for (face, weight), stem in FONT_FILES.items()
    }
