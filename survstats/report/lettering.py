"""How wide is this text, where does it break into lines, and how is a line set in a figure?"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache

from matplotlib.ft2font import FT2Font

from survstats.report.content import Piece, Text, plain
from survstats.report.style import FAMILIES, FONT_FILES, FONTS, SIZES, Face, Palette, Weight
from survstats.report.svg import spans, tag


@cache
def _font(face: Face, weight: Weight) -> FT2Font:
    font = FT2Font(str(FONTS / f"{FONT_FILES[face, weight]}.ttf"))
    font.set_size(100, 72)
    return font


@cache
def _advance(character: str, face: Face, weight: Weight) -> float:
    font = _font(face, weight)
    if not font.get_char_index(ord(character)):
        return 1.0
    return float(font.load_char(ord(character)).linearHoriAdvance) / 65536 / 100


@cache
def legible(text: str) -> str:
    """A text from the records as the fonts can set it: marks without a shape go, a letter they lack becomes "?"."""
    kept = (letter for letter in text if unicodedata.category(letter) not in ("Cf", "Cc"))
    faces = [_font("label", weight) for weight in (400, 700)]
    return "".join(
        letter if all(face.get_char_index(ord(letter)) for face in faces) else "?" for letter in kept
    )


def text_width(text: str, size: float, *, face: Face = "label", weight: Weight = 400) -> float:
    """Width of a line of text in points.

    Parameters
    ----------
    text : str
        One line; a character the face does not have counts as one em wide.
    size : float
        Type size in points.
    face, weight : str, int
        As in `style.FONT_FILES`.
    """
    return size * sum(_advance(character, face, weight) for character in text)


def join(*texts: Text, by: str = " ") -> Text:
    """Several texts as one, with ``by`` between those that are not empty."""
    joined: list[Piece] = []
    for text in texts:
        if plain(text):
            joined += [Piece(by), *text] if joined else [*text]
    return tuple(joined)


def break_lines(
    text: Text,
    width: float,
    size: float,
    *,
    face: Face = "label",
    weight: Weight = 400,
    anywhere: bool = False,
) -> tuple[Text, ...]:
    """Break a text into lines no wider than ``width`` points; pieces keep their ids.

    Breaks at spaces only (a no-break space holds), so a single word wider than the line stands out of it, unless it
    may be broken ``anywhere``: a name in a drawing would be cut off otherwise. An empty text has no lines.
    """
    lines: list[list[Piece]] = [[]]
    used = 0.0
    words = _words(text)
    if anywhere:
        words = [part for word in words for part in _parted(word, width, size, face, weight)]
    for word in words:
        own = "".join(piece.text for piece in word)
        bare = text_width(own.rstrip(" "), size, face=face, weight=weight)
        if lines[-1] and used + bare > width:
            lines.append([])
            used = 0.0
        lines[-1] += word
        used += text_width(own, size, face=face, weight=weight)
    return tuple(_trim(line) for line in lines if line)


def balance_lines(
    text: Text, width: float, size: float, *, face: Face = "label", weight: Weight = 400
) -> tuple[Text, ...]:
    """As `break_lines`, with lines of much the same length: as narrow as the number of lines allows."""
    lines = break_lines(text, width, size, face=face, weight=weight)
    for share in (0.9, 0.8, 0.7, 0.6, 0.5):
        tighter = break_lines(text, width * share, size, face=face, weight=weight)
        if len(tighter) > len(lines):
            break
        lines = tighter
    return lines


def _words(text: Text) -> list[list[Piece]]:
    """The text as words, each a run of pieces, a space belonging to the word before it."""
    words: list[list[Piece]] = [[]]
    for piece in text:
        for part in re.findall(r"[^ ]*(?: +|$)", piece.text):
            if not part:
                continue
            words[-1].append(Piece(part, piece.id, piece.strong))
            if part.endswith(" "):
                words.append([])
    return [word for word in words if word]


def _parted(word: list[Piece], width: float, size: float, face: Face, weight: Weight) -> list[list[Piece]]:
    """A word as parts no wider than a line: itself where it is no wider."""
    parts: list[list[Piece]] = [[]]
    used = 0.0
    for piece in word:
        for letter in piece.text:
            own = text_width(letter, size, face=face, weight=weight)
            if parts[-1] and letter != " " and used + own > width:
                parts.append([])
                used = 0.0
            parts[-1].append(Piece(letter, piece.id, piece.strong))
            used += own
    return [list(_merged(part)) for part in parts]


def _trim(line: list[Piece]) -> Text:
    merged = _merged(line)
    merged[-1] = Piece(merged[-1].text.rstrip(" "), merged[-1].id, merged[-1].strong)
    return tuple(merged)


def _merged(line: list[Piece]) -> list[Piece]:
    """Neighbours of the same id and weight as one piece."""
    merged: list[Piece] = []
    for piece in line:
        if merged and (merged[-1].id, merged[-1].strong) == (piece.id, piece.strong):
            merged[-1] = Piece(merged[-1].text + piece.text, piece.id, piece.strong)
        else:
            merged.append(piece)
    return merged


@dataclass(frozen=True)
class Lettered:
    """A line of text and where it stands, in points; ``x`` is its left, middle or right end by ``anchor``."""

    text: Text
    x: float
    y: float
    size: float = SIZES.label
    face: Face = "label"
    weight: Weight = 400
    colour: str = "ink"
    anchor: str = "start"

    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right and bottom of the letters (figures do not reach below the line)."""
        width = text_width(plain(self.text), self.size, face=self.face, weight=self.weight)
        left = self.x - {"start": 0.0, "middle": width / 2, "end": width}[self.anchor]
        below = 0.02 if plain(self.text).isdecimal() else 0.22
        return left, self.y - 0.74 * self.size, left + width, self.y + below * self.size

    def svg(self, palette: Palette) -> str:
        """The line as an element."""
        attributes = {
            "x": float(self.x),
            "y": float(self.y),
            "font_family": FAMILIES[self.face],
            "font_size": float(self.size),
            "font_weight": self.weight,
            "fill": getattr(palette, self.colour),
            "text_anchor": self.anchor,
        }
        return tag("text", attributes, spans(self.text))
