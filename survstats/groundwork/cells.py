"""What may stand in a cell of a table that other programs open?

A text from the records must never act: not as a formula of a spreadsheet, not by turning the direction in which a line
is read, not by breaking the file it stands in. It stays as it is where it is harmless, and what is changed is visible.
"""

from __future__ import annotations

import re

CELL_LETTERS = 32_767
"""The longest text that a cell of a workbook holds, in UTF-16 units; a longer one spills over when a CSV is opened."""
_ROOM = CELL_LETTERS - 1  # one is kept for an apostrophe

_FORMULA = re.compile(r"[\s'\"\u200b-\u200f\u2060\ufeff]*[=+\-@\uff1d\uff0b\uff0d\uff20|]|[\t\n]")
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029]")
_DIRECTION = re.compile(r"[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_NO_LETTER = re.compile(r"[\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")
_PICTURES = 0x2400
_DELETE = "\u2421"
_LOST = "\ufffd"


def clean_text(text: str) -> str:
    """A text that breaks no file and no line: nothing invisible acts in it, and it fits a cell.

    Control letters become their pictures, marks of reading direction become their numbers (``[U+202E]``), what is
    no letter becomes the replacement mark, and a text that does not fit a cell is cut with a note of its length.
    Line ends become line feeds.
    """
    kept = text[:CELL_LETTERS].replace("\r\n", "\n").replace("\r", "\n")
    kept = _CONTROL.sub(lambda found: _picture(found[0]), kept)
    kept = _DIRECTION.sub(lambda found: f"[U+{ord(found[0]):04X}]", kept)
    kept = _NO_LETTER.sub(_LOST, kept)
    if len(text) <= CELL_LETTERS and _units(kept) <= _ROOM:
        return kept
    note = f" [cut: {len(text)} letters]"
    room = _ROOM - len(note)
    return kept.encode("utf-16-le")[: 2 * room].decode("utf-16-le", errors="ignore") + note


def acts_as_formula(text: str) -> bool:
    """Whether a spreadsheet may take the text for a formula; a plain number, signed or not, is none."""
    return _FORMULA.match(text) is not None and _NUMBER.fullmatch(text) is None


def csv_cell(text: str) -> str:
    """A text for a cell of a CSV file: clean, and led by an apostrophe where it would act as a formula."""
    clean = clean_text(text)
    return f"'{clean}" if acts_as_formula(clean) else clean


def inert_json(text: str) -> str:
    """The same JSON with letters that act in an editor or a terminal written as escapes; its values do not change."""
    for letters in (_CONTROL, _DIRECTION):
        text = letters.sub(lambda found: f"\\u{ord(found[0]):04x}", text)
    return text


def _picture(letter: str) -> str:
    """The visible sign of a control letter."""
    if ord(letter) < 0x20:
        return chr(_PICTURES + ord(letter))
    return _DELETE if letter == "\x7f" else _LOST


def _units(text: str) -> int:
    return len(text.encode("utf-16-le")) // 2
