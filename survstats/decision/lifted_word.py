"""By how much may other people's results lift the word that the own records earned? By one step at most, or not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Word = Literal["cannot_tell", "suggests", "supports"]
Direction = Literal["benefit", "harm", "none"]
Lift = Literal[
    "lifted",
    "already_strongest",
    "seen_not_met",
    "too_few_studies",
    "high_risk_of_bias",
    "not_beyond_chance",
    "no_own_direction",
    "inside",
    "other_direction",
]

_NEXT: dict[Word, Word] = {"cannot_tell": "suggests", "suggests": "supports", "supports": "supports"}


@dataclass(frozen=True)
class Own:
    """What the own records said.

    Attributes
    ----------
    word : {"cannot_tell", "suggests", "supports"}
    seen : {"met", "partly_met", "not_met", "not_assessed"}
        Gate 1: whether it is known of the dead who was trained.
    direction : {"benefit", "harm", "none"}
        The sign of the own estimate, whether or not it is more than chance; ``none`` where there is no estimate.
    inside : bool
        Whether the whole own interval is smaller than what is worth having.
    """

    word: Word
    seen: str
    direction: Direction
    inside: bool = False


@dataclass(frozen=True)
class Others:
    """What the publications said together.

    Attributes
    ----------
    pooled : int
        How many whole tables stand behind it.
    any_high : bool
        Whether one of them is at high risk of bias.
    direction : {"benefit", "harm", "none"}
        On which side of no difference the interval of their average lies; ``none`` where it covers it.
    """

    pooled: int
    any_high: bool
    direction: Direction


def lift(own: Own, others: Others, *, fewest: int = 3) -> tuple[Word, Lift]:
    """The word with other evidence beside it, and why it is, or is not, another than the own one.

    Parameters
    ----------
    own : Own
    others : Others
    fewest : int, optional
        With fewer tables nothing is lifted.

    Returns
    -------
    word : {"cannot_tell", "suggests", "supports"}
        Never weaker than the own word, and never more than one step stronger.
    why : str
        ``lifted``, or the first of the conditions that is not met.

    Notes
    -----
    Lifted where all hold: the training of the dead is known well enough here (gate 1 is at least partly met); the own
    interval does not show that any difference is too small to matter; enough tables are pooled; none of them is at high
    risk of bias; their average is more than chance; and it points where the own estimate points. What a word is worth
    rests on the own records; this stands beside it. Monotone: a better state never gives a weaker word.
    """
    if own.word == "supports":
        return own.word, "already_strongest"
    refused: tuple[tuple[bool, Lift], ...] = (
        (own.seen not in ("met", "partly_met"), "seen_not_met"),
        (own.inside, "inside"),
        (own.direction == "none", "no_own_direction"),
        (others.pooled < fewest, "too_few_studies"),
        (others.any_high, "high_risk_of_bias"),
        (others.direction == "none", "not_beyond_chance"),
        (others.direction != own.direction, "other_direction"),
    )
    for holds_back, why in refused:
        if holds_back:
            return own.word, why
    return _NEXT[own.word], "lifted"
