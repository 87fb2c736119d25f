"""Where does a value stand in the drawing field of a figure?"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Field:
    """A drawing field in points, what it spans across (``first`` to ``last``) and upward (``low`` to ``high``)."""

    left: float
    top: float
    right: float
    bottom: float
    first: float
    last: float
    low: float
    high: float

    def x(self, value: float) -> float:
        """Where a value across stands; in the middle where the field spans no more than one."""
        share = (value - self.first) / (self.last - self.first) if self.last > self.first else 0.5
        return self.left + share * (self.right - self.left)

    def y(self, value: float) -> float:
        """Where a value upward stands."""
        return self.bottom - (value - self.low) / (self.high - self.low) * (self.bottom - self.top)


def spread(wanted: list[float], widths: list[float], gap: float, end: float) -> list[float]:
    """Middles of texts as near to where they are wanted as stands clear, all between 0 and ``end``."""
    places, taken = list[float](), -gap
    for x, width in zip(wanted, widths, strict=True):
        places.append(max(x, taken + gap + width / 2))
        taken = places[-1] + width / 2
    limit = end + gap
    for index in reversed(range(len(places))):
        places[index] = min(places[index], limit - gap - widths[index] / 2)
        limit = places[index] - widths[index] / 2
    return places
