"""Which round numbers stand along an axis, whatever its size, and how are they written?"""

from __future__ import annotations

import math

from survstats.report.content import Piece, Text
from survstats.report.rounding import FORMS

STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)


def even_ticks(low: float, high: float, *, about: int) -> tuple[float, ...]:
    """Round numbers inside [low, high] at even steps, of any size; zero is among them where it lies inside."""
    rough = max((high - low) / about, 1e-12)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * unit for unit in STEPS if power * unit >= 0.79 * rough)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return tuple(step * at for at in range(first, last + 1))


def tick_words(value: float, form: str) -> Text:
    """A tick's number in a form of the rounding table, noughts behind the point left off."""
    shown = FORMS[form](value)
    if "." in shown and not shown.endswith(("%", "n")):
        shown = shown.rstrip("0").rstrip(".")
    return (Piece(shown),)
