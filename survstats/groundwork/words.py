"""Which known word was meant, how are the months called, and what does a text show of itself?"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable

LIKENESS = 0.6
"""How alike (0 to 1, `difflib`) a word must be to be offered; codes, which are short and alike, ask for more."""
MONTHS = (
    "january", "february", "march", "april", "may", "june",
    "july", "august", "september", "october", "november", "december",
)  # fmt: skip


def nearest(word: str, known: Iterable[str], *, likeness: float = LIKENESS) -> str | None:
    """The known word that is most like this one; None where none is like it."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=likeness)
    return near[0] if near else None


def did_you_mean(word: str, known: Iterable[str], *, otherwise: str = "") -> str:
    """``Did you mean 'x'?``, or what is said where no known word is like this one."""
    near = nearest(word, known)
    return otherwise if near is None else f"Did you mean '{near}'?"


def visible(text: str, *, instead: str | Callable[[str], str] = "\N{REPLACEMENT CHARACTER}") -> str:
    """The text with every letter that cannot be seen (control letters, marks of direction) put in other words."""
    return "".join(
        letter if letter.isprintable() else instead if isinstance(instead, str) else instead(letter)
        for letter in text
    )


def code_point(letter: str) -> str:
    """The number of a letter that cannot be seen: ``[U+202E]``."""
    return f"[U+{ord(letter):04X}]"
