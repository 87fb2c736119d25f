"""Are colours, faces and sizes ours, decided in one place, and readable?"""

from __future__ import annotations

import re
from dataclasses import asdict
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from samples import SAMPLES

from survstats.report import style
from survstats.report.content import Piece, plain
from survstats.report.figures import draw
from survstats.report.lettering import balance_lines, break_lines, text_width
from survstats.report.publish import figures_of
from survstats.report.style import FONT_FILES, FONTS, PALETTES, SIZES, TEMPLATES

REPORT = Path(style.__file__).parent


def test_colours_are_written_in_one_place_only() -> None:
    sources = [*REPORT.glob("*.py"), *TEMPLATES.glob("*.*")]
    assert len(sources) > 10
    for source in sources:
        if source.name != "style.py":
            found = re.findall(
                r"#[0-9a-fA-F]{6}\b|#[0-9a-fA-F]{3}\b(?!-)|\brgba?\(\d", source.read_text(encoding="utf-8")
            )
            assert not [colour for colour in found if colour != "#fff"], (source.name, found)


@pytest.mark.parametrize("name", SAMPLES)
@pytest.mark.parametrize("narrow", [False, True])
def test_figures_use_no_colour_face_or_size_but_ours(name: str, narrow: bool) -> None:
    for paper, palette in PALETTES.items():
        for figure in figures_of(SAMPLES[name]).values():
            svg = draw(figure, narrow=narrow, paper=paper)
            colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', svg)) - {"none"}
            assert colours <= set(asdict(palette).values())
            assert set(re.findall(r'font-family="([^"]+)"', svg)) <= {"Clear Sans", "Vollkorn"}
            assert min(float(size) for size in re.findall(r'font-size="([^"]+)"', svg)) >= SIZES.note


def _luminance(colour: str) -> float:
    """Relative luminance of WCAG 2.2."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    low, high = sorted((_luminance(one), _luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_text_has_the_contrast_of_wcag_aaa_and_marks_that_of_graphics() -> None:
    for palette in PALETTES.values():
        for text in (palette.ink, palette.soft, palette.sea, palette.clay):
            assert _contrast(text, palette.paper) >= 7
        for text in (palette.ink, palette.soft, palette.sea):
            assert _contrast(text, palette.haze) >= 7
        assert _contrast(palette.line, palette.paper) >= 3
        assert _contrast(palette.line, palette.haze) >= 3


def test_fonts_hold_what_the_papers_may_need() -> None:
    needed = "AZaz09 ,.;:!?()%–—−‘’“”…→←×±≤≥\u00a0\u202f\u2011\u2009ŁżěőșÅßñΕλΣСахй"
    for stem in FONT_FILES.values():
        cmap = TTFont(FONTS / f"{stem}.ttf").getBestCmap()
        assert not [character for character in needed if ord(character) not in cmap], stem
    assert (FONTS / "OFL-Vollkorn.txt").read_text(encoding="utf-8").count("SIL OPEN FONT LICENSE") >= 1
    assert "Apache License" in (FONTS / "Apache-2.0-ClearSans.txt").read_text(encoding="utf-8")


def test_figures_of_the_reading_face_are_lining() -> None:
    """All ten stand on the line and reach the same height (old-style figures would not)."""
    font = TTFont(FONTS / "Vollkorn-SemiBold.ttf")
    shapes = [font["glyf"][font.getBestCmap()[ord(digit)]] for digit in "0123456789"]
    assert max(shape.yMax for shape in shapes) - min(shape.yMax for shape in shapes) < 80
    assert min(shape.yMin for shape in shapes) > -60


def test_width_agrees_with_the_font_tables() -> None:
    font = TTFont(FONTS / "ClearSans-Medium.ttf")
    cmap, advances = font.getBestCmap(), font["hmtx"]
    text = "Held back by missing papers, −13 to 38 %"
    expected = 9.5 * sum(advances[cmap[ord(c)]][0] for c in text) / font["head"].unitsPerEm
    assert text_width(text, 9.5, weight=500) == pytest.approx(expected, rel=1e-4)


def test_lines_keep_text_and_ids_and_fit() -> None:
    text = (
        Piece("papers for "),
        Piece("106 of 147", "unknown.dead"),
        Piece(" dead, 232\u00a0of\u00a0241 survivors"),
    )
    lines = break_lines(text, 70, 9)
    assert len(lines) > 2
    assert " ".join(plain(line) for line in lines) == plain(text)
    assert all(text_width(plain(line), 9) <= 70 for line in lines)
    assert any("232\u00a0of\u00a0241" in plain(line) for line in lines)
    assert {piece.id for line in lines for piece in line if piece.text[0] in "1o"} == {"unknown.dead"}
    even = balance_lines((Piece("what the unknown dead allow"),), 100, 9)
    assert [plain(line) for line in even] == ["what the unknown", "dead allow"]
    assert break_lines((), 70, 9) == ()
