"""What does a publication tell of who lived and who died, and what must be known to weigh it?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Bias = Literal["low", "some", "high"]


@dataclass(frozen=True)
class Counts:
    """A published table: how many trained and untrained people lived and died.

    Attributes
    ----------
    trained_lived, trained_died, untrained_lived, untrained_died : float
        Each >= 0; whole numbers, but for a table to which halves were added (`plus_half`).
    """

    trained_lived: float
    trained_died: float
    untrained_lived: float
    untrained_died: float

    @property
    def trained(self) -> float:
        """How many were trained."""
        return self.trained_lived + self.trained_died

    @property
    def untrained(self) -> float:
        """How many never were."""
        return self.untrained_lived + self.untrained_died

    @property
    def people(self) -> float:
        """Everybody in the table."""
        return self.trained + self.untrained

    @property
    def died(self) -> float:
        """All the dead of the table."""
        return self.trained_died + self.untrained_died

    def plus_half(self) -> Counts:
        """The same table with half a person more in each of its four cells."""
        return Counts(
            self.trained_lived + 0.5,
            self.trained_died + 0.5,
            self.untrained_lived + 0.5,
            self.untrained_died + 0.5,
        )


@dataclass(frozen=True)
class Publication:
    """One publication's counts, and what must be known to weigh them.

    Attributes
    ----------
    name : str
    strata : tuple of Counts
        One table, or one for each circumstance the publication tells apart; empty where the training of the dead is
        not told.
    risk_of_bias : {"low", "some", "high"}
        As whoever entered it judges.
    overlap : str
        Publications of the same mishaps share this name; empty where there is no other.
    same_mishaps : bool
        Whether its mishaps stand in the study's own records too.
    """

    name: str
    strata: tuple[Counts, ...]
    risk_of_bias: Bias
    overlap: str = ""
    same_mishaps: bool = False

    @property
    def people(self) -> float:
        """How many people its tables hold."""
        return sum(one.people for one in self.strata)
